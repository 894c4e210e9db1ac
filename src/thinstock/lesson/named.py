"""Names of the numbers that a scene can show: every number of a run, and those that only a lesson asks for."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Final

OWN: Final = (
    "bathtubs", "tissue_litres", "tissue_fibre", "forming_time", "former_share", "vacuum_share", "press_share",
    "dryer_share", "former_price", "vacuum_price", "press_price", "dryer_price", "price_ratio", "dryer_bill",
    "former_bill", "strongest_pulse", "pulses", "pulses_a_second", "kick", "kick_speed", "rim", "rim_speed", "throw",
    "throw_speed", "pond", "pond_speed", "pond_time", "wash", "transfers", "undrained", "forming_ends", "crowding",
    "cloudiness", "holes", "nip_time", "nip_peak", "nip_mean", "dryness_sure", "water_left", "water_into_press",
    "silo_time", "at_once", "settled", "goes_round", "white_water", "gram_in_tonne", "first_speed",
)  # fmt: skip
"""Numbers of lessons alone; `numbers.py` works them out, phrases under `lesson.number` say them."""


@lru_cache(maxsize=1)
def names() -> tuple[str, ...]:
    """All of them."""
    table = files("thinstock.machine").joinpath("numbers.toml").read_text(encoding="utf-8")
    return (*tomllib.loads(table), *OWN)


def known_number(name: str) -> bool:
    """Whether a scene can show it."""
    return name in names()
