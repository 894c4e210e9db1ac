"""Margins of a Yankee and its hood for the search of limits."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from thinstock.machine.duty import Asked, Duty
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.parts import Parts


def turndown(asked: Asked, least: Num) -> Duty:
    """A burner gives no less than it can be turned down to, or is off; no sheet, no complaint."""

    def gas(parts: Parts) -> Num:
        return parts.yankee.dried.gas_power * asked.width

    def margin(parts: Parts) -> Num:
        spare = np.asarray(gas(parts) - least)
        return np.where(np.isfinite(spare) & np.asarray(parts.forming.formed), spare, 1.0)

    return Duty(
        id="burner_turndown", word="machine_power", bound=least, value=gas, margin=margin, dryer="held", always=True,
        status=asked.status("burner_power_lowest", "computed"),
    )  # fmt: skip


def wetness(reel_dryness: Num) -> Callable[[Parts], Num]:
    """How far the sheet is from too wet, as a logarithm: a straight line for the search."""
    wanted = 1.0 / reel_dryness - 1.0

    def margin(parts: Parts) -> Num:
        return np.log(wanted / np.maximum(parts.dryer.moisture_ratio_out, 1e-12))

    return margin
