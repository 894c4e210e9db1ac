"""The stock: what the furnish is, how it drains, how warm it is and how much of it the wire keeps."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import recall, worksheet
from thinstock.formula.traced import convention, from_library
from thinstock.relations import joints, mat, retention
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Choice, Fields, Num, Q, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Fibre(Fields):
    """One fibre of the furnish."""

    name: Annotated[str, Words()]
    share: Annotated[Num, Q("share", possible=(1e-6, 1), unit="%", status="required", usual=ANY)] = 1.0
    fibre_length: Annotated[Num, Q("fibre_length", possible=(5e-5, 0.03), unit="mm")]
    fibre_width: Annotated[Num, Q("fibre_width", possible=(3e-6, 2e-4), unit="µm")]
    coarseness: Annotated[Num, Q("coarseness", possible=(1e-9, 2e-6), unit="mg/m")]
    swelling: Annotated[str, Choice(("chemical", "mechanical", "recycled"))] = "chemical"
    water_retention_value: Annotated[
        Num, Q("water_retention_value", possible=(0.3, 4), unit="kg/kg", optional=True)
    ] = None
    energy_scale: Annotated[Num, Q("energy_scale", possible=(1e3, 1e7), unit="kWh/t", optional=True)] = None

    def rules(self) -> Iterable[Fault]:
        if np.any(np.asarray(self.fibre_width) > np.asarray(self.fibre_length)):
            yield fault_in("machine.stock.fibre_width", "fibre_width", str(self.fibre_width))


class Water(NamedTuple):
    """Water at the stock's temperature."""

    viscosity: Num
    density: Num
    kinematic_viscosity: Num


class Retention(NamedTuple):
    """First-pass retention of the two components of the solids."""

    long: Num
    fines: Num


MEASURES = ("freeness", "drainability", "resistance_coefficient")
"""How slowly it drains: exactly one is given."""
TESTER_TEMPERATURE = 293.15
"""Both testers are read at 20 °C."""


def _tester_water() -> tuple[Num, Num]:
    """Viscosity and density of the water in a tester."""
    temperature = convention(TESTER_TEMPERATURE, phrase("machine.stock.freeness_testers_read_at_c"))
    return mat.viscosity_water_iapws(temperature), mat.density_water_kell(temperature)


@lru_cache(maxsize=512)
def _resistance_of_freeness(kind: str, reading: float, exponent: float) -> float:
    """Specific filtration resistance at 1 kPa that gives this tester reading at 20 °C (kept, since it is a search)."""
    from thinstock import library
    from thinstock.relations import freeness

    viscosity, density = _tester_water()
    if kind == "CSF":
        return float(freeness.resistance_from_freeness(reading, exponent, viscosity, density, library.tester("CSF")))
    return float(freeness.resistance_from_drainability(reading, exponent, viscosity, density, library.tester("SR")))


FEW = 64
"""Different readings up to which each is searched for; more are looked up in panels of a table."""
_PANEL = {"CSF": 1e-4, "SR": 10.0}
"""Width of a panel in the tester's reading; 0.3 in the exponent."""
_PANEL_EXPONENT = 0.3
_NODES = (14, 10)


def _resistances(kind: str, readings: Any, exponents: Any) -> Any:
    """Specific filtration resistance for arrays of readings: one by one where few differ, else from panels."""
    if len(readings) == 1:
        return np.array([_resistance_of_freeness(kind, float(readings[0]), float(exponents[0]))])
    pairs = np.stack([readings, exponents], axis=1)
    distinct, back = np.unique(pairs, axis=0, return_inverse=True)
    if len(distinct) <= FEW:
        return np.array([_resistance_of_freeness(kind, *pair) for pair in distinct.tolist()])[back.ravel()]
    found = np.empty(len(distinct))
    cells = np.floor(distinct / [_PANEL[kind], _PANEL_EXPONENT]).astype(int)
    for cell in np.unique(cells, axis=0).tolist():
        mine = np.flatnonzero((cells == cell).all(axis=1))
        table = _panel(kind, cell[0], cell[1])
        if table is None:
            found[mine] = _searched(kind, distinct[mine, 0], distinct[mine, 1])
            continue
        x, y = (2 * (distinct[mine] / [_PANEL[kind], _PANEL_EXPONENT] - cell) - 1).T
        found[mine] = np.exp(np.polynomial.chebyshev.chebval2d(x, y, table))
    return found[back.ravel()]


def _searched(kind: str, readings: Any, exponents: Any) -> Any:
    """The search itself, over arrays."""
    from thinstock import library
    from thinstock.relations import freeness

    search = freeness.resistance_from_freeness if kind == "CSF" else freeness.resistance_from_drainability
    with worksheet(False):
        viscosity, density = _tester_water()
        return search(readings, exponents, viscosity, density, library.tester(kind))


@lru_cache(maxsize=256)
def _panel(kind: str, column: int, row: int) -> Any:
    """Chebyshev coefficients of ln resistance over one panel; None where the tester cannot read all of it."""
    places = [np.cos(np.pi * (np.arange(count) + 0.5) / count) for count in _NODES]
    x, y = np.meshgrid(*places, indexing="ij")
    readings = (column + 0.5 * (x + 1)) * _PANEL[kind]
    exponents = (row + 0.5 * (y + 1)) * _PANEL_EXPONENT
    alpha = _searched(kind, readings, exponents)
    if not np.all(np.isfinite(alpha)):
        return None
    transforms = [np.polynomial.chebyshev.chebvander(place, len(place) - 1).T * (2 / len(place)) for place in places]
    for transform in transforms:
        transform[0] /= 2
    table = transforms[0] @ np.log(alpha) @ transforms[1].T
    ends = np.abs(table[-2:]).max() + np.abs(table[:, -2:]).max()
    return table if ends < 1e-8 else None


@dataclass(frozen=True, kw_only=True, eq=False)
class Stock(Fields):
    """The stock as it comes to the headbox. Exactly one of freeness, drainability, resistance_coefficient."""

    furnish: tuple[Fibre, ...]
    freeness: Annotated[
        Num,
        Q(
            "freeness",
            possible=(3e-5, 8.6e-4),
            usual=(2e-4, 7e-4),
            unit="mL CSF",
            optional=True,
        ),
    ] = None
    drainability: Annotated[
        Num,
        Q(
            "drainability",
            possible=(5, 92),
            usual=(12, 50),
            unit="°SR",
            optional=True,
        ),
    ] = None
    resistance_coefficient: Annotated[
        Num, Q("resistance_coefficient", possible=(1e6, 1e13), unit="m/kg", optional=True)
    ] = None
    resistance_exponent: Annotated[Num, Q("resistance_exponent", possible=(0, 0.9))] = 0.4
    resistance_factor: Annotated[Num, Q("resistance_factor", possible=(0.1, 50))] = 1.0
    mat_memory: Annotated[Num, Q("mat_memory", possible=(0, 1))] = 0.0
    temperature: Annotated[
        Num,
        Q(
            "temperature",
            possible=(275.15, 368.15),
            usual=(293.15, 333.15),
            unit="degC",
        ),
    ] = 313.15
    mat_coefficient: Annotated[Num, Q("mat_coefficient", possible=(5, 400), unit="kg/m3")] = 53.0
    mat_exponent: Annotated[Num, Q("mat_exponent", possible=(0, 0.9))] = 0.38
    mat_pressure_floor: Annotated[Num, Q("mat_pressure_floor", possible=(1, 5e3), unit="Pa")] = 150.0
    wall_density: Annotated[Num, Q("wall_density", possible=(1000, 1700), unit="kg/m3")] = 1500.0
    water_retention_value: Annotated[
        Num, Q("water_retention_value", possible=(0.3, 4), unit="kg/kg", optional=True)
    ] = None
    resistance_reference: Annotated[
        Num, Q("resistance_reference", possible=(1e6, 1e13), usual=ANY, unit="m/kg", optional=True)
    ] = None
    swelling_slope: Annotated[Num, Q("swelling_slope", possible=(0, 0.5), unit="kg/kg", optional=True)] = None
    swelling_share: Annotated[Num, Q("swelling_share", possible=(0, 1))] = 1.0
    surface_share: Annotated[Num, Q("surface_share", possible=(0, 1))] = 0.0
    fines_share: Annotated[Num, Q("fines_share", possible=(0, 0.8), unit="%")] = 0.15
    retention_long: Annotated[Num, Q("retention_long", possible=(0.05, 1), unit="%")] = 0.95
    passing_grammage: Annotated[Num, Q("passing_grammage", possible=(1e-4, 0.2), unit="g/m2")] = 0.010
    retention: Annotated[Num, Q("retention", possible=(0.05, 1), unit="%", optional=True)] = None
    thick_consistency: Annotated[Num, Q("thick_consistency", possible=(0.002, 0.2), unit="%")] = 0.03
    suspension_variation: Annotated[Num, Q("suspension_variation", possible=(0, 1), optional=True)] = None
    light_sheet: Annotated[str, Choice(("handsheet", "none"))] = "handsheet"
    evenness_index: Annotated[Num, Q("evenness_index", possible=(0, 1), usual=ANY)] = 0.5
    refining_energy: Annotated[Num, Q("refining_energy", possible=(0, 5e6), unit="kWh/t", optional=True)] = None
    no_load_share: Annotated[Num, Q("no_load_share", possible=(0, 0.95), unit="%", optional=True)] = None
    freeness_of: Annotated[str, Words()] = "thick stock"

    def rules(self) -> Iterable[Fault]:
        given = [n for n in MEASURES if getattr(self, n) is not None]
        if len(given) != 1:
            yield fault_in("machine.stock.freeness", "freeness", ", ".join(given) or "nothing")
        if self.resistance_reference is not None and self.water_retention_value is None:
            yield fault_in(
                "machine.stock.resistance_reference",
                "resistance_reference",
                f"{float(np.max(self.resistance_reference)):.4g} m/kg",
            )
        if not self.furnish:
            yield fault_in("machine.stock.furnish", "furnish", "empty")
            return
        total = sum(np.asarray(f.share, dtype=float) for f in self.furnish)
        if np.any(np.abs(total - 1) > 1e-6):
            yield fault_in(
                "machine.stock.shares_fibres_must_add_up",
                "furnish",
                phrase("machine.stock.shares_add_up_to", total=f"{float(np.max(total)) * 100:.4g}"),
            )
        names = [f.name for f in self.furnish]
        for name in {n for n in names if names.count(n) > 1}:
            yield fault_in("machine.stock.each_fibre_may_stand_once", "furnish", repr(name))

    def refining_gross(self) -> Num:
        """What the refiners take, with what turns the stock alone, per dry fibre, J/kg; None where it is not given."""
        if self.refining_energy is None:
            return None
        idle = self.no_load_share
        if idle is None:
            from thinstock import library

            said = library.table("refining")["refiner"]["no_load_share"]["value"]
            idle = from_library(np.float64(units.parse(said, "fraction")), "refining, no_load_share")
        return self.refining_energy / (1.0 - idle)

    def specific_resistance(self) -> Num:
        """Specific filtration resistance of the mat at 1 kPa, m/kg, from whichever measure was given."""
        if self.resistance_coefficient is not None:
            return self.resistance_coefficient
        kind = "CSF" if self.freeness is not None else "SR"
        reading: Any = self.freeness if kind == "CSF" else self.drainability
        shape = np.broadcast_shapes(np.shape(reading), np.shape(self.resistance_exponent))
        flat_r = np.broadcast_to(reading, shape).ravel()
        flat_n = np.broadcast_to(self.resistance_exponent, shape).ravel()
        found = _resistances(kind, flat_r, flat_n)
        from thinstock import library
        from thinstock.relations import freeness

        search = freeness.resistance_from_freeness if kind == "CSF" else freeness.resistance_from_drainability
        answer = found.reshape(shape)[()]
        viscosity, density = _tester_water()
        tester = from_library(library.tester(kind), f"tester {kind}")
        return recall(search, answer, reading, self.resistance_exponent, viscosity, density, tester)

    def followed(self, changes: Mapping[str, Any]) -> dict[str, Num]:
        """What goes along when these fields are changed: a water retention value stays with the freeness it had."""
        refined = any(name in changes for name in MEASURES)
        entered = self.water_retention_value is not None and "water_retention_value" not in changes
        if not (refined and entered) or self.resistance_reference is not None or "resistance_reference" in changes:
            return {}
        with worksheet(False):
            return {"resistance_reference": self.specific_resistance()}

    def water(self) -> Water:
        """Viscosity and density of the water at the jet."""
        viscosity = mat.viscosity_water_iapws(self.temperature)
        density = mat.density_water_kell(self.temperature)
        return Water(viscosity, density, joints.kinematic_viscosity(viscosity, density))

    def retention_of(self, grammage: Num) -> Retention:
        """Retention of long fibre and of fines for a sheet of this grammage on the wire."""
        if self.retention is not None:
            return Retention(self.retention, self.retention)
        return Retention(self.retention_long, retention.retention_fines_layered(grammage, self.passing_grammage))
