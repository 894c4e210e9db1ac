"""The reel: the width and the time that count as production."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from thinstock.words.quantity import ANY, Num, Part, Q, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Reel(Part):
    """What is wound up."""

    trim_width: Annotated[Num, Q("trim_width", possible=(0.05, 12), unit="m", status="required")] = 5.4
    efficiency: Annotated[
        Num,
        Q("efficiency", possible=(0.05, 1), usual=(0.8, 1.0), label="time efficiency × (1 − reel waste)"),
    ] = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Prices(Part):
    """Prices in the user's own currency; without them money is shown as not given."""

    currency: Annotated[str, Words("name of the currency and the year of the prices")] = ""
    electricity: Annotated[
        Num,
        Q("price_energy", possible=(0, 1e-5), unit="money/MWh", optional=True, label="electricity, per MWh", usual=ANY),
    ] = None
    steam: Annotated[
        Num,
        Q(
            "price_energy",
            possible=(0, 1e-5),
            unit="money/MWh",
            optional=True,
            label="heat in steam, per MWh",
            usual=ANY,
        ),
    ] = None
    gas: Annotated[
        Num,
        Q(
            "price_energy",
            possible=(0, 1e-5),
            unit="money/MWh",
            optional=True,
            label="gas, per MWh lower heating value",
            usual=ANY,
        ),
    ] = None
    fresh_water: Annotated[
        Num, Q("price_mass", possible=(0, 1), unit="money/t", optional=True, label="fresh water, per tonne", usual=ANY)
    ] = None
