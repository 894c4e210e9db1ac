"""Formation of the sheet on the wire of a machine: how even it is by theory, and what dilution can do for a target.

A statistical floor: wire marks, air, crepe and fines come on top. Until a sheet was measured, what the headbox does
to flocs and how far a light sheet is above chance are three assumptions that go together, not numbers: best, base and
worst of the library. Whoever needs an evenness takes it from the one `EvennessField` of the run.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from thinstock import library
from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.relations import light_sheet, pores
from thinstock.sheet.dilution import DilutionAnswer, dilution_answer
from thinstock.sheet.formation import Formation, LightSheet, cv_alone, formation
from thinstock.sheet.furnish import Furnish
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.parts import Parts
    from thinstock.machine.stock import Stock
    from thinstock.machine.web import Around

ENDS = ("best", "base", "worst")
"""An excellent headbox and a wire as even as chance; a normal one and a wire like that of handsheets; none at all."""
BAND = tuple(tuple(row) for row in library.evenness().values())
"""suspension_variation, excess_reference and decay_exponent at the ends (assumed)."""
FLOOR = phrase("machine.evenness.statistical_floor_wire_marks_air")
SIZES = (50e-6, 100e-6, 200e-6)
"""Holes counted beside each other, m."""
_TARGETS = {
    "cv": "CV at most {value:.3g} %",
    "formation_number": "formation number at most {value:.3g}",
    "holes_per_area": "at most {value:.3g} holes per m²",
}
REGIMES = (
    phrase("machine.evenness.dilute_fibres_move_freely"),
    phrase("machine.evenness.below_gel_point"),
    phrase("machine.evenness.connected_but_mobile"),
    "rigid flocs",
)


class End(NamedTuple):
    """One assumption of how even a sheet is made."""

    suspension_variation: Num
    light: LightSheet

    def words(self) -> dict[str, Num]:
        """As keywords of `formation` and `dilution_answer`."""
        return {"suspension_variation": self.suspension_variation, **self.light._asdict()}


def ends_of(stock: Stock | None) -> dict[str, End]:
    """What is assumed of a stock (or of none): the library's, or what was measured with the wire's two ends.

    "base" is the stock's own place between best and worst (`evenness_index`).
    """
    places = {"best": 0.0, "base": 0.5 if stock is None else _plain(stock.evenness_index), "worst": 1.0}
    return {name: end_at(place, stock) for name, place in places.items()}


def end_at(place: Num, stock: Stock | None = None) -> End:
    """What is assumed at a place between best (0), base (0.5) and worst (1); of a stock of which nothing is known."""
    rows = library.evenness()
    variation, excess, decay = (np.array([getattr(rows[n], field) for n in ENDS]) for field in rows["base"]._fields)
    stops = (0.0, 0.5, 1.0)
    given = None if stock is None else stock.suspension_variation
    chance = stock is not None and stock.light_sheet == "none"
    return End(
        np.exp(np.interp(place, stops, np.log(variation))) if given is None else _plain(given),
        LightSheet(
            0.0 if chance else np.interp(place, stops, excess), np.interp(place, stops, decay), **library.light_sheet()
        ),
    )


def asked_ends(ends: Mapping[str, End], calibrated: bool) -> tuple[End, ...]:
    """The assumptions under which dilution is asked for its answer."""
    three = tuple(ends[name] for name in ENDS)
    return three if calibrated else (*three, End(ends["worst"].suspension_variation, ends["best"].light))


def _plain(value: Num) -> Any:
    """A number or array that does not remember where it came from."""
    return np.asarray(value, dtype=float)[()]


@dataclass(frozen=True, kw_only=True, eq=False)
class EvennessField:
    """How even the sheet is, for all who ask: the dryer, slots, print and target take zones of the same field."""

    furnish: Furnish
    grammage: Num
    consistency: Num
    retention: Num
    density: Num
    ends: dict[str, End]

    def cv(self, zone: Num, end: str = "base") -> Num:
        """Coefficient of variation of grammage in square zones of this side (m)."""
        one = self.ends[end]
        with worksheet(False):
            return cv_alone(
                self.furnish, self.grammage, self.consistency, one.suspension_variation, zone=zone,
                retention=self.retention, density=self.density, light=one.light,
            )  # fmt: skip


def field_of(around: Around, grammage: Num, consistency: Num) -> EvennessField:
    """The field of a sheet of this grammage on the wire from stock of this consistency."""
    assert around.loop is not None
    return EvennessField(
        furnish=furnish_from(around.stock), grammage=_plain(grammage), consistency=_plain(consistency),
        retention=_plain(around.loop.retention), density=_plain(around.water.density), ends=ends_of(around.stock),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Evenness:
    """Formation at the machine's own consistency: at the ends of what is assumed, and between."""

    low: Formation
    base: Formation
    high: Formation
    calibrated: bool
    """Whether suspension_variation was measured."""
    target: str
    measure: str
    """The target's word; empty without a target."""
    answers: tuple[DilutionAnswer, ...]
    """What dilution can do for the target, at `ENDS` and, where nothing was measured, with no dispersion at all on a
    wire as even as chance; nothing where refused or without a target."""
    target_note: str
    label: str = FLOOR

    @property
    def regime(self) -> str:
        """What the crowding number means, in words."""
        return REGIMES[int(np.asarray(self.low.crowding_regime).ravel()[0])]

    @property
    def target_consistency(self) -> tuple[DilutionAnswer, ...]:
        """The answers at best, base and worst."""
        return self.answers[: len(ENDS)]

    @cached_property
    def holes(self) -> dict[str, Any]:
        """Holes per m² above `SIZES`, by end."""
        return {name: holes_above(f, SIZES) for name, f in zip(ENDS, (self.low, self.base, self.high), strict=True)}

    def values(self) -> dict[str, Any]:
        """Named numbers for tables and JSON, SI."""
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = [f.holes_per_area / f.holes_per_area_random for f in (self.low, self.high)]
        found = {
            "crowding_number": self.low.crowding_number,
            "coverage": self.low.coverage,
            "open_area": self.low.open_area,
            "cv_random": self.low.cv_random,
            "cv_low": self.low.cv,
            "cv_base": self.base.cv,
            "cv_high": self.high.cv,
            "cv_floor_base": self.base.cv_floor,
            "formation_number_low": self.low.formation_number,
            "formation_number_high": self.high.formation_number,
            "holes_ratio_low": ratio[0],
            "holes_ratio_high": ratio[1],
            "holes_per_area_low": self.low.holes_per_area,
            "holes_per_area_base": self.base.holes_per_area,
            "holes_per_area_high": self.high.holes_per_area,
            "largest_hole_low": self.low.largest_hole,
            "largest_hole_base": self.base.largest_hole,
            "largest_hole_high": self.high.largest_hole,
            "zone": self.low.zone,
            "hole_diameter": self.low.hole_diameter,
        }
        for k, size in enumerate(SIZES):
            for name in ENDS:
                found[f"holes_above_{round(1e6 * size)}_{name}"] = self.holes[name][k]
        for name, answer in zip(ENDS, self.target_consistency or (None,) * 3, strict=True):
            found[f"target_answer_{name}"] = None if answer is None else answer.kind
            found[f"target_consistency_{name}"] = None if answer is None else answer.consistency
            found[f"target_floor_{name}"] = None if answer is None else answer.floor
        return found


def holes_above(sheet: Formation, sizes: Num) -> Any:
    """Holes per m² that pass these diameters (m), by theory."""
    return _through(sheet, sheet.grammage, sizes, sheet.floc_variance + sheet.excess_variance_point)


class Spots(NamedTuple):
    """What else thins a sheet, all assumed: bubbles, strings, shives, slime; separate round spots."""

    per_area: Num
    """1/m²."""
    diameter: Num
    left: Num
    """Share of the grammage that is left in a spot."""


SPOTS = Spots(0.0, 3e-3, 0.5)
"""None, until somebody counts them."""


def holes_from(sheet: Formation, sizes: Num, spots: Spots) -> Any:
    """Holes per m² above these diameters (m) that such spots make, beside those of the sheet itself."""
    within = _through(sheet, spots.left * sheet.grammage, sizes, 0.0)
    return light_sheet.holes_from_spots(spots.per_area, spots.diameter, within)


def _through(sheet: Formation, grammage: Num, sizes: Num, patchy: Num) -> Any:
    c = sheet.furnish.components
    return np.array(
        [
            pores.holes_per_area_furnish(
                grammage, c.share, c.fibre_length, c.fibre_width, c.coarseness, size, sheet.crossing_factor, patchy
            )
            for size in np.ravel(sizes)
        ]
    )


def furnish_from(stock: Stock) -> Furnish:
    """A stock's furnish as the sheet knows it; cases first where any value has cases."""
    parts = stock.furnish
    columns = {
        name: np.stack(np.broadcast_arrays(*(_plain(getattr(p, name)) for p in parts)), axis=-1)
        for name in ("share", "fibre_length", "fibre_width", "coarseness")
    }
    cases = max(column.ndim for column in columns.values())
    if cases > 1:
        shape = np.broadcast_shapes(*(column.shape for column in columns.values()))
        columns = {name: np.broadcast_to(column, shape) for name, column in columns.items()}
    return Furnish(name=", ".join(p.name for p in parts), **columns)


def furnish_of(machine: Machine) -> Furnish:
    """The machine's furnish as the sheet knows it."""
    return furnish_from(machine.stock)


def evenness(machine: Machine, parts: Parts) -> Evenness:
    """Formation of the sheet on the wire for one case."""
    ends = ends_of(machine.stock)
    wanted = machine.grade.formation_target
    known, grammage = parts.loop.around, parts.loop.into.fibre
    fields: dict[str, Num] = {"retention": parts.loop.state.retention, "density": known.water.density}
    if wanted is not None:
        fields |= {"zone": wanted.zone, "hole_diameter": wanted.hole_diameter}
    furnish = furnish_of(machine)
    low, base, high = (
        formation(furnish, grammage, machine.headbox.consistency, **ends[name].words(), **fields) for name in ENDS
    )
    target, measure, note = "", "", ""
    answers: tuple[DilutionAnswer, ...] = ()
    if wanted is not None:
        measure = next(n for n in ("cv", "formation_number", "holes_per_area") if getattr(wanted, n) is not None)
        aim = float(getattr(wanted, measure))
        target = _TARGETS[measure].format(value=100 * aim if measure == "cv" else aim)
        try:
            answers = tuple(
                dilution_answer(furnish, grammage, **end.words(), **{measure: aim}, **fields)
                for end in asked_ends(ends, machine.stock.suspension_variation is not None)
            )
            note = answers[1].note
        except (Refused, ValueError) as refused:
            note = str(refused)
    return Evenness(
        low=low, base=base, high=high, calibrated=machine.stock.suspension_variation is not None, target=target,
        measure=measure, answers=answers, target_note=note,
    )  # fmt: skip
