"""How a web gives up water under pressure: one law for slots and nips, anchored in one pressed sheet.

A permeability is never worked out from the fibre: one known nip gives it, and the furnish scales it. Which share of
the equilibrium moisture holds is not known (0 to 1); every share has its own permeability, so that all meet in the
anchor and differ away from it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import convention, from_library
from thinstock.relations import joints, pressing, swelling
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.quantity import ANY, Fields, Num, Q

if TYPE_CHECKING:
    from thinstock.machine.furnish import Furnish


class PressLaw(NamedTuple):
    """The law for one furnish."""

    specific_permeability: Num
    """kg/m."""
    permeability_exponent: Num
    equilibrium_share: Num
    reference_pressure: Num
    pressure_exponent: Num

    def equilibrium(self, water_retention_value: Num, pressure: Num) -> Num:
        """Moisture ratio of the fibre wall at a pressure, all of it; that of 1 Pa where there is none."""
        return pressing.equilibrium_moisture_power_law(
            water_retention_value, np.maximum(pressure, 1.0), self.reference_pressure, self.pressure_exponent
        )

    def held(self, equilibrium_moisture: Num) -> Num:
        """The share of it that is taken to hold."""
        return joints.equilibrium_moisture_at_share(self.equilibrium_share, equilibrium_moisture)


_KINDS = {
    "dryness_in": "fraction",
    "dryness_out": "fraction",
    "press_impulse": "impulse",
    "grammage": "grammage",
    "kinematic_viscosity": "kinematic viscosity",
    "rewet": "grammage",
    "pressure_ratio": "number",
    "water_retention_value": "mass ratio",
}


def anchor() -> dict[str, Num]:
    """The one pressed sheet behind the model, its numbers known by their name."""
    return {name: from_library(value, f"press anchor, {name}") for name, value in _read().items()}


@lru_cache(maxsize=1)
def _read() -> dict[str, np.float64]:
    from thinstock import library

    row = library.table("press_models")["anchor"]
    return {name: np.float64(units.parse(row[name]["value"], kind)) for name, kind in _KINDS.items()}


@dataclass(frozen=True, kw_only=True, eq=False)
class DecreasingPermeability(Fields):
    """The decreasing-permeability press model, anchored in one pressed sheet (uncalibrated: ±3 points)."""

    specific_permeability: Annotated[
        Num, Q("specific_permeability", possible=(1e-20, 1e-6), unit="kg/m", usual=ANY, optional=True)
    ] = None
    permeability_factor: Annotated[Num, Q("permeability_factor", possible=(0.01, 100))] = 1.0
    permeability_exponent: Annotated[Num, Q("permeability_exponent", possible=(0.1, 12))] = 3.0
    equilibrium_share: Annotated[Num, Q("equilibrium_share", possible=(0, 1))] = 0.5
    splitting_share: Annotated[Num, Q("splitting_share", possible=(0, 1))] = 0.4
    reference_pressure: Annotated[Num, Q("reference_pressure", possible=(1e3, 1e7), unit="kPa")] = 1e5
    pressure_exponent: Annotated[Num, Q("pressure_exponent", possible=(0, 1))] = 0.2

    def rules(self) -> Iterable[Fault]:
        """The anchor's sheet must have come out wetter than what this law leaves in it however long it is pressed."""
        if self.specific_permeability is not None:
            return
        known = _read()
        left = np.asarray(self.equilibrium_share) * pressing.equilibrium_moisture_power_law(
            known["water_retention_value"], known["pressure_ratio"], 1.0, self.pressure_exponent
        )
        kept = float(1.0 / known["dryness_out"] - 1.0 - known["rewet"] / known["grammage"])
        if np.any(left >= kept):
            shown = f"{float(np.max(left)):.3g} kg/kg"
            field = "equilibrium_share" if np.all(np.asarray(self.pressure_exponent) > 0.1) else "pressure_exponent"
            value = f"{float(np.min(getattr(self, field))):.4g}"
            yield fault_in("machine.press_law.above_anchor", field, value, left=shown, kept=f"{kept:.3g} kg/kg")

    def law(self, furnish: Furnish, surface_share: Num) -> PressLaw:
        """The law for this furnish; a permeability that is given is taken as it stands."""
        given = self.specific_permeability
        base = self._anchored(furnish, surface_share) if given is None else given
        return PressLaw(
            specific_permeability=joints.specific_permeability_calibrated(self.permeability_factor, base),
            permeability_exponent=self.permeability_exponent,
            equilibrium_share=self.equilibrium_share,
            reference_pressure=self.reference_pressure,
            pressure_exponent=self.pressure_exponent,
        )

    def _anchored(self, furnish: Furnish, surface_share: Num) -> Num:
        """Permeability of the anchor, worked out for this share and exponent, scaled to the furnish."""
        known, exponent = anchor(), self.permeability_exponent
        at_anchor = pressing.equilibrium_moisture_power_law(
            known["water_retention_value"], known["pressure_ratio"] * self.reference_pressure,
            self.reference_pressure, self.pressure_exponent,
        )  # fmt: skip
        held, side = (
            joints.equilibrium_moisture_at_share(self.equilibrium_share, at_anchor),
            convention(1.0, "felted side"),
        )
        reference = pressing.specific_permeability_from_dryness(
            known["dryness_in"], known["dryness_out"], known["press_impulse"], known["grammage"],
            known["kinematic_viscosity"], exponent, held, known["rewet"], side,
        )  # fmt: skip
        swollen = swelling.specific_permeability_swollen(
            reference, known["water_retention_value"], furnish.water_retention_value, exponent
        )
        if not np.any(np.asarray(surface_share) > 0):
            return swollen
        kozeny = swelling.specific_permeability_kozeny(
            reference, furnish.surface_reference, furnish.volume_reference, furnish.specific_surface,
            furnish.swollen_volume,
        )  # fmt: skip
        return swelling.specific_permeability_blend(swollen, kozeny, surface_share)


def anchored_ratio(law: DecreasingPermeability, equilibrium_share: Num, rewet_ratio: Num) -> Num:
    """By how much the permeability differs where the rewet of the sheet behind the model is so many times as large."""
    known, exponent = anchor(), law.permeability_exponent
    at_anchor = pressing.equilibrium_moisture_power_law(
        known["water_retention_value"], known["pressure_ratio"] * law.reference_pressure,
        law.reference_pressure, law.pressure_exponent,
    )  # fmt: skip
    held = joints.equilibrium_moisture_at_share(equilibrium_share, at_anchor)
    with_this, with_its_own = (
        pressing.specific_permeability_from_dryness(
            known["dryness_in"], known["dryness_out"], known["press_impulse"], known["grammage"],
            known["kinematic_viscosity"], exponent, held, known["rewet"] * times, convention(1.0, "felted side"),
        )
        for times in (rewet_ratio, 1.0)
    )  # fmt: skip
    return with_this / with_its_own
