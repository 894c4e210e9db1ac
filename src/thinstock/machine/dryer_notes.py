"""Notes of a Yankee under its hood: too wet or over-dried, limits nobody gave, what is rough or not seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thinstock.relations import dryer_energy

if TYPE_CHECKING:
    from thinstock.machine.dryer import Dried
    from thinstock.machine.notes import Notes

OTHERWISE_EVEN = 0.05
"""Share by which the unevenness may differ from the one that the levels were fitted at."""


def tell(done: Dried, notes: Notes) -> None:
    """What a dryer at work tells."""
    yankee, hood, d = done.part.yankee, done.part.hood, done.dried
    reached = np.asarray(notes.value("reel_dryness_reached"))
    points = (np.asarray(done.around.demand.reel_dryness) - reached) * 100
    finite = np.any(np.isfinite(points))
    worst, best = (float(np.nanmax(points)), float(np.nanmin(points))) if finite else (0.0, 0.0)
    notes.when(points > 0.02, "Yankee", "limit", "too_wet", points=f"{worst:.1f}")
    notes.when(points < -0.02, "Yankee", "limit", "over_dried", points=f"{-best:.1f}")
    notes.when(reached > 0.985, "Yankee", "unusual", "very_dry")
    if yankee.steam_pressure_limit is None:
        notes.when(True, "Yankee", "limit", "steam_pressure_not_checked")
    notes.when(np.asarray(d.surface_temperature) > 423.15, "Yankee", "unusual", "shell_hot")
    surplus = np.asarray(dryer_energy.surplus_heat(d.gas_power)) * np.asarray(done.out.width)
    most = float(np.nanmax(surplus)) if np.any(np.isfinite(surplus)) else 0.0
    notes.when(surplus > 0, "hood", "unusual", "burner_off", surplus=f"{most / 1e3:.3g} kW")
    back = np.maximum(-np.asarray(done.steam_heat), 0.0) * np.asarray(done.out.width)
    most = float(np.nanmax(back)) if np.any(np.isfinite(back)) else 0.0
    notes.when(back > 0, "Yankee", "unusual", "steam_negative", back=f"{most / 1e3:.3g} kW")
    if hood.make_up_temperature is not None:
        warmer = np.asarray(hood.make_up_temperature) > np.asarray(d.return_temperature)
        notes.when(warmer, "hood", "unusual", "make_up_from_elsewhere")
    notes.when(np.asarray(done.uneven_variance) > 0.04, "Yankee", "range", "very_uneven")
    if yankee.uneven_variance is not None:
        apart = np.sqrt(done.uneven_variance / np.maximum(yankee.uneven_variance, 1e-9))
        notes.when(np.abs(np.log(apart)) > OTHERWISE_EVEN, "Yankee", "assumed", "levels_fitted_otherwise")
    wet = np.asarray(notes.value("reel_moisture_area_above_10"))
    share = float(np.nanmax(wet)) if np.any(np.isfinite(wet)) else 0.0
    notes.when(wet > 0.2, "Yankee", "unusual", "wet_spots", share=f"{100 * share:.0f}")
    notes.when(np.asarray(d.jet_humidity) < 0.1, "hood", "unusual", "jets_dry")
    notes.when(np.asarray(hood.exhaust_humidity) > 0.6, "hood", "unusual", "exhaust_humid")
    rate = np.asarray(notes.value("drying_rate")) * 3600
    notes.when((rate < 120) | (rate > 250), "Yankee", "unusual", "drying_rate")
    notes.when(np.logical_not(np.asarray(d.converged)), "hood", "limit", "humidity_not_reached")
    if notes.status("hood.hood_factor") != "measured":
        notes.when(True, "Yankee", "assumed", "dryer_not_calibrated")
    notes.when(True, "Yankee", "blind spot", "dryer_blind")
