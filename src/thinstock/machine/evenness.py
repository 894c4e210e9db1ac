"""Formation of the sheet on the wire of a machine: how even it is by theory, and what dilution a target asks for.

A statistical floor: wire marks, air, crepe and fines come on top. Until a sheet was measured, what the headbox does
to flocs (`suspension_variation`) is a band, not a number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.errors import Refused
from thinstock.sheet.dilution import consistency_for_formation
from thinstock.sheet.formation import Formation, formation
from thinstock.sheet.furnish import Furnish
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.parts import Parts

BAND = (0.06, 0.40)
"""suspension_variation from an excellent headbox to none at all (assumed)."""
FLOOR = "statistical floor: wire marks, air, crepe and fines come on top"
_TARGETS = {
    "cv": "CV at most {value:.3g} %",
    "formation_number": "formation number at most {value:.3g}",
    "holes_per_area": "at most {value:.3g} holes per m²",
}
REGIMES = ("dilute: fibres move freely", "below the gel point", "connected but mobile", "rigid flocs")


@dataclass(frozen=True, kw_only=True, eq=False)
class Evenness:
    """Formation at the machine's own consistency; `low` and `high` are the ends of the band (equal if calibrated)."""

    low: Formation
    high: Formation
    calibrated: bool
    target: str
    target_consistency: tuple[Num, Num] | None
    """Consistency that meets the target at the good and at the bad end of the band; None where refused or no target."""
    target_note: str
    label: str = FLOOR

    @property
    def regime(self) -> str:
        """What the crowding number means, in words."""
        return REGIMES[int(np.asarray(self.low.crowding_regime).ravel()[0])]

    def values(self) -> dict[str, Any]:
        """Named numbers for tables and JSON, SI."""
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = [f.holes_per_area / f.holes_per_area_random for f in (self.low, self.high)]
        return {
            "crowding_number": self.low.crowding_number,
            "coverage": self.low.coverage,
            "open_area": self.low.open_area,
            "cv_random": self.low.cv_random,
            "cv_low": self.low.cv,
            "cv_high": self.high.cv,
            "formation_number_low": self.low.formation_number,
            "formation_number_high": self.high.formation_number,
            "holes_ratio_low": ratio[0],
            "holes_ratio_high": ratio[1],
            "holes_per_area_low": self.low.holes_per_area,
            "holes_per_area_high": self.high.holes_per_area,
            "zone": self.low.zone,
            "hole_diameter": self.low.hole_diameter,
            "target_consistency_low": None if self.target_consistency is None else self.target_consistency[1],
            "target_consistency_high": None if self.target_consistency is None else self.target_consistency[0],
        }


def furnish_of(machine: Machine) -> Furnish:
    """The machine's furnish as the sheet knows it."""
    parts = machine.stock.furnish
    columns = {
        name: tuple(float(np.asarray(getattr(p, name))) for p in parts)
        for name in ("share", "fibre_length", "fibre_width", "coarseness")
    }
    return Furnish(name=", ".join(p.name for p in parts), **columns)


def evenness(machine: Machine, parts: Parts) -> Evenness:
    """Formation of the sheet on the wire for one case."""
    furnish = furnish_of(machine)
    given = machine.stock.suspension_variation
    ends = (given, given) if given is not None else BAND
    wanted = machine.grade.formation_target
    known, grammage = parts.loop.around, parts.loop.into.fibre
    fields: dict[str, Num] = {"retention": parts.loop.state.retention, "density": known.water.density}
    if wanted is not None:
        fields |= {"zone": wanted.zone, "hole_diameter": wanted.hole_diameter}
    low, high = (formation(furnish, grammage, machine.headbox.consistency, variation, **fields) for variation in ends)
    target, answer, note = "", None, ""
    if wanted is not None:
        name = next(n for n in ("cv", "formation_number", "holes_per_area") if getattr(wanted, n) is not None)
        aim = float(getattr(wanted, name))
        target = _TARGETS[name].format(value=100 * aim if name == "cv" else aim)
        try:
            found = [
                consistency_for_formation(furnish, grammage, variation, **{name: aim}, **fields) for variation in ends
            ]
            answer = (found[0].consistency, found[1].consistency)
            note = found[1].note if not found[1].limited else ""
        except (Refused, ValueError) as refused:
            note = str(refused)
    return Evenness(
        low=low,
        high=high,
        calibrated=given is not None,
        target=target,
        target_consistency=answer,
        target_note=note,
    )
