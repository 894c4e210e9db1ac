"""Notes of a run in the words of those who run the machine: what was left, what is assumed, what the tool is blind to.

A note never changes a number. What would hurt or cannot be is refused elsewhere, when the machine is made.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from thinstock.formula.label import RangeWatch, Worksheet
from thinstock.words import bands
from thinstock.words.note import Note, in_order
from thinstock.words.quantity import unusual


def _count(mask: Any, single: bool) -> int | bool | None:
    """False if never; else None for one case, or the number of cases."""
    array = np.asarray(mask)
    if not np.any(array):
        return False
    return None if single else int(np.count_nonzero(array))


class _Notes:
    def __init__(self, single: bool) -> None:
        self.single = single
        self.kept: list[Note] = []

    def when(self, mask: Any, part: str, level: Any, text: str) -> None:
        """Keep the note if the condition holds in any case."""
        with np.errstate(invalid="ignore"):
            count = _count(mask, self.single)
        if count is not False:
            self.kept.append(Note(part=part, level=level, text=text, cases=count))


def remarks(machine: Any, wet: Any, dry: Any, values: dict[str, Any], sheet: Any, watch: Any) -> tuple[Note, ...]:
    """All notes of a run, the weightiest first."""
    notes = _Notes(sheet is not None)
    _forming(notes, machine, wet, values)
    if dry is not None:
        _press(notes, machine, wet, values)
        _drying(notes, machine, dry, values)
    _circulation(notes, machine, values)
    _bands(notes, machine, values)
    for name in ("site", "grade", "stock", "headbox", "reel", "loop", "press", "yankee", "hood", "vacuum"):
        part = getattr(machine, name)
        if part is not None:
            for address, value, usual in unusual(part, name):
                notes.when(True, name, "unusual", f"{address} is {value}; usual is {usual}.")
    kept = notes.kept + _ranges(sheet, watch)
    return tuple(in_order(kept))


def _forming(notes: _Notes, machine: Any, wet: Any, values: dict[str, Any]) -> None:
    formed, delivery = wet.formed, wet.delivery
    notes.when(
        np.logical_not(formed.formed), "forming", "limit",
        "the stock is not drained when it leaves the former: there is no sheet. Longer or stronger drainage, a "
        "thicker stock or a lower speed is needed.",
    )  # fmt: skip
    notes.when(
        np.asarray(wet.boxes_formed), "forming", "limit",
        "the sheet is formed only on the boxes behind the former.",
    )  # fmt: skip
    if np.any(np.isfinite(np.asarray(formed.stock_depth_held))):
        notes.when(
            np.asarray(delivery.stock_depth) > np.asarray(formed.stock_depth_held), "forming", "information",
            "the stock is deeper than the fabric's tension can turn: the roll side starts unloaded (derived, not "
            "verified by measurement).",
        )  # fmt: skip
        notes.when(
            np.asarray(delivery.jet_speed) < np.asarray(formed.jet_speed_lowest), "forming", "limit",
            "the jet is too slow to enter the gap against the roll's pressure.",
        )  # fmt: skip
    notes.when(
        np.asarray(formed.flux_highest) > 3.0, "forming", "unusual",
        "the drainage flux exceeds 3 m/s somewhere: outside what the model was thought for.",
    )  # fmt: skip
    if getattr(machine.stock, "resistance_factor", 1.0) is not None:
        given = machine.given.get("stock.resistance_factor")
        if given is None or given.status in ("assumed", ""):
            notes.when(
                True, "forming", "assumed",
                "drainage is not calibrated: the mat may resist 1 to 5 times as much at machine rate. Read the end of "
                "forming as a band.",
            )  # fmt: skip
    window = machine.forming.window
    speed = np.asarray(machine.speed)
    consistency = np.asarray(machine.headbox.consistency)
    notes.when(
        (speed < window.speed_low) | (speed > window.speed_high), "forming", "limit",
        f"the speed is outside the window in which practice runs this former ({window.speed_low * 60:.0f} to "
        f"{window.speed_high * 60:.0f} m/min; common practice, no source, at least ±30 %)"
        + (f": {window.reason}." if window.reason else "."),
    )  # fmt: skip
    notes.when(
        (consistency < window.consistency_low) | (consistency > window.consistency_high), "forming", "information",
        f"the consistency is outside what practice runs on this former ({window.consistency_low * 100:.3g} to "
        f"{window.consistency_high * 100:.3g} %; common practice, no source).",
    )  # fmt: skip


def _press(notes: _Notes, machine: Any, wet: Any, values: dict[str, Any]) -> None:
    into = np.asarray(values["dryness_into_press"])
    notes.when(
        into < np.asarray(machine.vacuum.dryness_wanted), "vacuum", "limit",
        "the sheet enters the press wetter than the dryness wanted there.",
    )  # fmt: skip
    for nip, part in zip(wet.nips, machine.press.nip, strict=True):
        saturation = np.asarray(nip.nip_saturation)
        notes.when(
            (saturation > 0.95) & (saturation <= 1), nip.name, "unusual",
            "the felt is nearly full in the nip (saturation above 0.95): little margin before water must leave it.",
        )  # fmt: skip
        notes.when(
            saturation > 1, nip.name, "limit",
            "the felt is full in the nip (saturation above 1): water must leave into the roll's voids, crushing is "
            "near.",
        )  # fmt: skip
        notes.when(
            np.asarray(nip.share_rewet) > 0.3, nip.name, "information",
            "more than 30 % of the water left in the sheet is rewet: the felt's exit counts more than the load.",
        )  # fmt: skip
        model = machine.press.dewatering
        notes.when(
            (np.asarray(model.water_retention_value) == 0)
            & ((np.asarray(nip.press_impulse) > 10e3) | (np.asarray(nip.dryness) > 0.48)),
            nip.name, "unusual",
            "the press model has no equilibrium moisture here and over-predicts above 10 kPa s or 48 %.",
        )  # fmt: skip
        notes.when(
            np.asarray(nip.moisture_ratio_out) > np.asarray(nip.moisture_ratio_in), nip.name, "limit",
            "rewet is larger than what the nip takes out.",
        )  # fmt: skip
        if part.on_yankee and part.line_load_limit is None:
            notes.when(
                True, nip.name, "limit",
                "line load NOT checked against the vessel's certificate: its limit is not given.",
            )  # fmt: skip
    notes.when(
        True, "press", "blind spot",
        "dryness after the press hardly answers to dryness before it in this model (12 to 20 % in moves it by about "
        "0.1 point): vacuum, felt boxes and showers work through the felt's saturation, do not switch them off on "
        "this number.",
    )  # fmt: skip
    given = machine.given.get("press.dewatering.specific_permeability")
    if given is None or given.status != "measured":
        notes.when(
            True,
            "press",
            "assumed",
            "the press model is not calibrated: dryness out of the press is ±3 points.",
        )


def _drying(notes: _Notes, machine: Any, dry: Any, values: dict[str, Any]) -> None:
    if dry.dried is None:
        notes.when(
            True, "dryer", "information",
            "drying is reckoned by evaporation and a stated specific energy; there is no Yankee in this machine.",
        )  # fmt: skip
        return
    yankee, hood, d = machine.yankee, machine.hood, dry.dried
    reached = np.asarray(values["reel_dryness_reached"])
    wanted = np.asarray(machine.grade.reel_dryness)
    points = (wanted - reached) * 100
    worst = float(np.nanmax(points)) if np.any(np.isfinite(points)) else 0.0
    best = float(np.nanmin(points)) if np.any(np.isfinite(points)) else 0.0
    notes.when(points > 0.02, "Yankee", "limit", f"the sheet reaches the reel {worst:.1f} points too wet.")
    notes.when(points < -0.02, "Yankee", "limit", f"the sheet reaches the reel over-dried by {-best:.1f} points.")
    notes.when(reached > 0.985, "Yankee", "unusual", "above 98.5 % dryness the drying result is rough.")
    if yankee.steam_pressure_limit is None:
        notes.when(
            True, "Yankee", "limit",
            "steam pressure NOT checked against the vessel's certificate: its limit is not given.",
        )  # fmt: skip
    notes.when(np.asarray(d.surface_temperature) > 423.15, "Yankee", "unusual", "the shell surface exceeds 150 °C.")
    notes.when(
        np.asarray(d.gas_power) < 0,
        "hood",
        "unusual",
        "the hood's heat comes out negative: its make-up air brings more heat than this cool hood needs.",
    )
    notes.when(
        np.asarray(d.jet_humidity) < 0.1,
        "hood",
        "unusual",
        "the jets carry less than 0.1 kg water per kg dry air.",
    )
    notes.when(np.asarray(hood.exhaust_humidity) > 0.6, "hood", "unusual", "exhaust humidity above 0.6 kg/kg.")
    rate = np.asarray(values["drying_rate"]) * 3600
    notes.when(
        (rate < 120) | (rate > 250), "Yankee", "unusual",
        "the drying rate on the wrap is outside 120 to 250 kg/(h m²) (published range, area basis not said).",
    )  # fmt: skip
    notes.when(
        np.logical_not(np.asarray(d.converged)), "hood", "limit",
        "the hood's humidity cannot be reached with these jets and this exhaust.",
    )  # fmt: skip
    factor = machine.given.get("hood.hood_factor")
    if factor is None or factor.status != "measured":
        notes.when(
            True, "Yankee", "assumed",
            "contact and hood coefficients are not calibrated: speed ±15 %, energy more; differences are surer.",
        )  # fmt: skip
    notes.when(
        True, "Yankee", "blind spot",
        "former and stock do not touch the dryer in this physics: a better formed sheet does not dry faster here.",
    )  # fmt: skip


def _circulation(notes: _Notes, machine: Any, values: dict[str, Any]) -> None:
    share = np.asarray(values["return_share"])
    notes.when(
        share > 1,
        "loop",
        "limit",
        "the wire gives less water than the fan pump needs: water is needed from elsewhere (counted as white water of "
        "the same consistency and temperature).",
    )
    notes.when(share < 0.8, "loop", "unusual", "less than 80 % of the forming water goes back to the fan pump.")
    notes.when(np.asarray(values["retention"]) < 0.6, "stock", "unusual", "total retention is below 60 %.")


def _bands(notes: _Notes, machine: Any, values: dict[str, Any]) -> None:
    """Results that leave what is published or common practice."""
    for band in bands.of(machine):
        if values.get(band.result) is None:
            continue
        value = np.asarray(values[band.result], dtype=float)
        outside = (value < band.low) | (value > band.high)
        if not np.any(outside):
            continue
        notes.when(outside, band.part, "information", f"{band.text(float(value[outside].flat[0]))}.")


def _ranges(sheet: Worksheet | None, watch: RangeWatch | None) -> list[Note]:
    """One note per formula and argument that left its stated range."""
    found: dict[tuple[str, str], list[float]] = {}
    bounds: dict[tuple[str, str], tuple[float, float]] = {}
    if sheet is not None:
        for step in sheet.steps:
            for argument, limits in step.outside.items():
                found.setdefault((step.label.name, argument), []).append(float(step.inputs[argument]))
                bounds[(step.label.name, argument)] = limits
        return [
            Note(
                part=name, level="range",
                text=f"{argument} {min(v):.4g} is outside the stated range {bounds[(name, argument)][0]:.4g} to "
                f"{bounds[(name, argument)][1]:.4g} (SI) of this formula.",
            )
            for (name, argument), v in found.items()
        ]  # fmt: skip
    if watch is None:
        return []
    return [
        Note(
            part=name, level="range", cases=int(np.count_nonzero(mask)),
            text=f"{argument} leaves the stated range of this formula.",
        )
        for (name, argument), mask in watch.outside.items()
    ]  # fmt: skip
