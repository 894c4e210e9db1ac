"""What disturbs the sheet on a former, beside what drains there: indicators with a natural size, never limits.

All are taken where half of the sheet is laid down and the mat springs back. They refuse no machine and enter no
capacity. Speeds are ranked, not values: a kick grows with the fifth power of speed and more, throwing with the second.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from thinstock.case import formers as case_formers
from thinstock.formula.label import Num, worksheet
from thinstock.machine.disturbed import GRID, Half, Indicator, crossing, disturbed
from thinstock.machine.forming import Forming
from thinstock.machine.line import Machine
from thinstock.relations import disturbance
from thinstock.studies import trials
from thinstock.studies.subject import subject
from thinstock.words.phrase import phrase

OWN = "own"
"""Key of the former that a machine has."""


@dataclass(frozen=True, kw_only=True)
class Reasons:
    """What of a former's indicators comes first as speed rises."""

    first: Indicator | None
    """The lowest speed at a yardstick that is passed above; None where no such yardstick is met."""
    beyond: tuple[Indicator, ...]
    """All that are past their yardstick at the present speed."""
    sentence: str


def indicators(
    machine_or_grade: Machine | str, key: str, *, speed: float, consistency: float, resistance_factor: float
) -> tuple[Indicator, ...]:
    """What disturbs the sheet of a machine or grade on a former, at one speed and consistency.

    Parameters
    ----------
    machine_or_grade : Machine or str
        Whose sheet, stock and wire; a name of a grade or of a bundled machine.
    key : str
        A former of the library, or "own".
    speed, consistency, resistance_factor : float
        m/s, kg/kg, 1.

    Returns
    -------
    tuple of Indicator
        First those with a yardstick, then how the sheet is formed. Source: each indicator's own.
    """
    machine, *_ = subject(machine_or_grade)
    with worksheet(False):
        sheet = trials.sheet_of(machine)
        forming = machine.forming if key == OWN else trials.on_wire(sheet, case_formers.former(key))
        return indicators_of(sheet, forming, speed, consistency, resistance_factor)


def indicators_of(
    sheet: trials.Sheet, forming: Forming, speed: float, consistency: float, resistance_factor: float = 1.0
) -> tuple[Indicator, ...]:
    """The same for a sheet and a former at hand."""
    depth = sheet.grammage / (sheet.retention * consistency * sheet.density)
    mat = (0.5 * sheet.grammage, sheet.viscosity, sheet.density, resistance_factor * sheet.resistance,
           sheet.stock.resistance_exponent, *forming.wire.resistance())  # fmt: skip
    half = Half(
        sheet.headbox.jet_ratio, sheet.density, depth, 0.5 * depth, mat, forming.wire.fabric_tension,
        forming.wire.fabric_mass, sheet.stock.mat_pressure_floor,
    )  # fmt: skip
    return disturbed(forming, half, speed)


def reasons(indicators: Iterable[Indicator]) -> Reasons:
    """What comes first on a former as it runs faster, and what is past its yardstick now; ranked by speed."""
    known = tuple(indicators)
    rising = [(i.speed_at_yardstick or 0.0, i) for i in known if i.side == "highest"]
    met = [(at, i) for at, i in sorted(rising, key=lambda pair: pair[0]) if math.isfinite(at)]
    first = met[0][1] if met else None
    beyond = tuple(i for i in known if i.past)
    if first is not None:
        said = " ".join(
            phrase(f"studies.reasons.{when}", speed=f"{60.0 * at:.0f}", words=i.words, status=i.held)
            for when, (at, i) in zip(("first", "then"), met, strict=False)
        )
    elif any(i.name == "free_surface" and i.value == 0.0 for i in known):
        said = phrase("studies.reasons.no_free_surface")
    else:
        said = phrase("studies.reasons.none")
    return Reasons(first=first, beyond=beyond, sentence=said)


# -- the speeds alone ----------------------------------------------------------------------------------------------


def speed_kick_table_roll(
    roll_radius: Num, *, fabric_tension: Num, fabric_mass: Num, grammage: Num, consistency: Num, retention: Num,
    viscosity: Num, density: Num, resistance_coefficient: Num, resistance_exponent: Num, fabric_resistance: Num,
    fabric_inertia: Num,
) -> float:  # fmt: skip
    """Speed at which a table roll kicks the half-laid layer as high as it is deep, m/s; inf above 60 m/s."""
    half = _half(dict(locals()))
    with np.errstate(all="ignore"):
        return crossing(half.kick(GRID, half.rolls(GRID, roll_radius)[0])[2])


def speed_kick_foil(
    foil_angle: Num, foil_length: Num, suction_share: Num, *, fabric_tension: Num, fabric_mass: Num, grammage: Num,
    consistency: Num, retention: Num, viscosity: Num, density: Num, resistance_coefficient: Num,
    resistance_exponent: Num, fabric_resistance: Num, fabric_inertia: Num,
) -> float:  # fmt: skip
    """Speed at which a foil kicks the half-laid layer as high as it is deep, m/s; inf above 60 m/s."""
    half = _half(dict(locals()))
    with np.errstate(all="ignore"):
        load = disturbance.line_load_foil(half.foils(GRID, foil_angle), foil_length, suction_share)
        return crossing(half.kick(GRID, load)[2])


def _half(told: dict[str, Num]) -> Half:
    """The half-laid layer from plain numbers by their words."""
    depth = told["grammage"] / (told["retention"] * told["consistency"] * told["density"])
    mat = (
        "viscosity",
        "density",
        "resistance_coefficient",
        "resistance_exponent",
        "fabric_resistance",
        "fabric_inertia",
    )
    return Half(
        1.0, told["density"], depth, 0.5 * depth,
        (0.5 * told["grammage"], *(told[name] for name in mat)), told["fabric_tension"], told["fabric_mass"],
    )  # fmt: skip
