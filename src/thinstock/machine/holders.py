"""What may hold the dryness at the reel: its addresses, the number that tells where it stands, its words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, kw_only=True, slots=True)
class Holder:
    """One of the values a run may find so that the reel is as dry as wanted."""

    addresses: tuple[str, ...] = ()
    """Where it stands in a machine; a machine has at most one of them."""
    number: str = ""
    """The number of the run it becomes; empty where nothing is held."""
    phrase: str = ""
    """Key of its words in phrases/en/holders.toml, under each way of telling."""


HOLDERS: Final[Mapping[str, Holder]] = MappingProxyType(
    {
        "hood temperature": Holder(
            addresses=("hood.air_temperature",), number="air_temperature", phrase="hood_temperature"
        ),
        "steam pressure": Holder(
            addresses=("yankee.steam_pressure",), number="steam_pressure", phrase="steam_pressure"
        ),
        "speed": Holder(addresses=("yankee.speed", "dryer.speed"), number="speed", phrase="speed"),
        "nothing": Holder(),
    }
)
"""By the name that a machine file gives it."""


def holder(name: str) -> Holder:
    """The holder of a name; nothing where there is none of it."""
    return HOLDERS.get(name, HOLDERS["nothing"])
