"""The forming section: elements in machine order, the fabric, and the window in which practice says it is stable.

Drainage is computed by the one march of `kernels.drainage`. What stopped formers in practice (disrupted sheet, stock
jump, mist) is not drainage: it is kept apart as a stability window, common practice without a source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import same, worksheet
from thinstock.formula.traced import constant, convention
from thinstock.kernels.drainage import Drained, Element, drain
from thinstock.machine.elements import Around, FormingBoard, FormingElement, FormingRoll, Straight
from thinstock.relations import balance, drainage, jet, joints, mat
from thinstock.words.quantity import ANY, Num, Part, Q, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Fabric(Part):
    """A forming fabric, known by its air permeability."""

    name: Annotated[str, Words()] = "tissue forming fabric"
    air_permeability: Annotated[
        Num,
        Q(
            "air_permeability",
            possible=(0.05, 12),
            unit="m/s",
            status="from memory",
            source="COMMON_PRACTICE",
            uncertainty=0.08,
        ),
    ] = 3.556
    test_pressure: Annotated[Num, Q("test_pressure", possible=(10, 1000), unit="Pa", status="common practice")] = 124.5
    viscous_share: Annotated[Num, Q("viscous_share", possible=(0, 1), spread=0.25)] = 0.5
    fabric_mass: Annotated[Num, Q("fabric_mass", possible=(0, 5), unit="kg/m2", status="from memory")] = 0.4

    def resistance(self) -> tuple[Num, Num]:
        """Viscous (1/m) and inertial (1) resistance, from the air test and the share of it that is viscous."""
        viscous = mat.fabric_resistance_air(
            self.air_permeability, self.test_pressure, constant("air_viscosity_room"), self.viscous_share
        )
        inertia = mat.fabric_inertia_air(
            self.air_permeability, self.test_pressure, constant("air_density_room"), self.viscous_share
        )
        return viscous, inertia


@dataclass(frozen=True, kw_only=True, eq=False)
class StabilityWindow(Part):
    """Where practice runs this former: no source, at least ±30 %, not computed."""

    speed_low: Annotated[
        Num, Q("speed", possible=(0, 60), unit="m/min", status="common practice", source="COMMON_PRACTICE", usual=ANY)
    ] = 0.0
    speed_high: Annotated[
        Num, Q("speed", possible=(0, 60), unit="m/min", status="common practice", source="COMMON_PRACTICE", usual=ANY)
    ] = 60.0
    consistency_low: Annotated[
        Num,
        Q("consistency", possible=(0, 0.05), unit="%", status="common practice", source="COMMON_PRACTICE", usual=ANY),
    ] = 0.0
    consistency_high: Annotated[
        Num,
        Q("consistency", possible=(0, 0.05), unit="%", status="common practice", source="COMMON_PRACTICE", usual=ANY),
    ] = 0.05
    reason: Annotated[str, Words("what practice gives as the reason of the upper end")] = ""

    def rules(self) -> Iterable[Fault]:
        for low, high in (("speed_low", "speed_high"), ("consistency_low", "consistency_high")):
            if np.any(np.asarray(getattr(self, low)) >= np.asarray(getattr(self, high))):
                yield Fault(field=low, value=str(getattr(self, low)), bound=f"must be below {high}")


class Formed(NamedTuple):
    """What the forming section did (per case where cases run; element rows on their own axis)."""

    names: tuple[str, ...]
    lengths: Num
    """Total length of the forming elements, m."""
    dry_line: Num
    """Place of the end of forming from the first element, m; nan if not reached."""
    dry_line_share: Num
    dry_line_wrap: Num
    """The same as degrees of wrap in rad where the former is one roll, else nan."""
    formed: Num
    dryness: Num
    moisture_ratio: Num
    drainage_impulse: Num
    flux_highest: Num
    stalled: Num
    depth_leaving: Num
    stock_depth_held: Num
    jet_speed_lowest: Num
    shares_water: Any
    """Share of the white water per element row."""
    shares_fibre: Any
    water_to_felt: Num
    """White water taken by a felt, as share of all white water."""
    drained: Drained
    resistance_high: tuple[Num, Num] | None
    """End of forming and its share with resistance_factor 5 (band until calibrated)."""
    around: Around
    fabric_resistance: Num
    rows: tuple[tuple[str, int, int], ...]
    """Element rows as listed in the file: (name, first kernel element, one past the last)."""


def _first(value: Any) -> Any:
    """One case out of a kernel's result, as the same quantity in another dress."""
    return same(value[0], value)


@dataclass(frozen=True, kw_only=True, eq=False)
class Forming(Part):
    """Former, wire and what becomes of the sheet at its end."""

    former: Annotated[str, Words("kind of former, for drawings and tables")] = "wire and felt, C-wrap"
    element: tuple[FormingElement, ...]
    wire: Fabric = Fabric()
    wire_draw: Annotated[Num, Q("draw", possible=(-0.2, 0.2), usual=(-0.01, 0.02), unit="%")] = 0.0
    transfers: Annotated[
        Num,
        Q(
            "number",
            possible=(0, 6),
            integer=True,
            label="sheet transfers to the Yankee or dryer",
            status="derived",
            usual=ANY,
        ),
    ] = 1
    carrier: Annotated[str, Words("fabric on which the sheet leaves: wire or felt")] = "felt"
    window: StabilityWindow = StabilityWindow()

    def rules(self) -> Iterable[Fault]:
        if not self.element:
            yield Fault(field="element", value="no element", bound="a former needs at least one element")
            return
        names = [e.name for e in self.element]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield Fault(field="element", value=repr(name), bound="each element needs a name of its own")
        if not any(self._may_drain(e) for e in self.element):
            yield Fault(
                field="element",
                value=", ".join(names),
                bound="no open side: water has no way out",
                remedy="Add a forming roll, table, foils or a box.",
            )
        if self.carrier not in ("wire", "felt"):
            yield Fault(field="carrier", value=repr(self.carrier), bound="must be 'wire' or 'felt'")

    @staticmethod
    def _may_drain(element: FormingElement) -> bool:
        if isinstance(element, FormingRoll):
            out = element.outer_uptake is None or np.any(np.asarray(element.outer_uptake) > 0)
            into = element.roll != "solid" or np.any(np.asarray(element.inner_uptake) > 0)
            return bool(np.any(np.asarray(element.wrap) > 0) and (out or into))
        return not isinstance(element, FormingBoard | Straight)

    def around(self, *, speed: Num, density: Num, stock_depth: Num, jet_thickness: Num, jet_speed: Num) -> Around:
        """What the elements must know of the stock."""
        viscous, inertia = self.wire.resistance()
        return Around(speed, density, stock_depth, jet_thickness, jet_speed, viscous, inertia, self.wire.fabric_mass)

    def build(self, around: Around) -> tuple[list[Element], tuple[tuple[str, int, int], ...]]:
        """Kernel elements, and which of them belong to which listed element."""
        made: list[Element] = []
        rows = []
        for element in self.element:
            first = len(made)
            made += element.build(around)
            rows.append((element.name, first, len(made)))
        return made, tuple(rows)

    def run(
        self,
        *,
        grammage: Num,
        speed: Num,
        consistency: Num,
        retention: Num,
        viscosity: Num,
        density: Num,
        stock: Any,
        delivery: Any,
        resistance: Num,
        single: bool,
        band: bool = True,
        further: tuple[Element, ...] = (),
    ) -> Formed:
        """March the stock through the elements (and, if asked, through `further` ones behind them)."""
        around = self.around(
            speed=speed,
            density=density,
            stock_depth=delivery.stock_depth,
            jet_thickness=delivery.jet_thickness,
            jet_speed=delivery.jet_speed,
        )
        elements, rows = self.build(around)
        elements += list(further)
        fields = dict(
            speed=speed,
            grammage=grammage,
            consistency=consistency,
            retention=retention,
            density=density,
            viscosity=viscosity,
            resistance_coefficient=resistance,
            resistance_exponent=stock.resistance_exponent,
            mat_coefficient=stock.mat_coefficient,
            mat_exponent=stock.mat_exponent,
            mat_pressure_floor=stock.mat_pressure_floor,
            wall_density=stock.wall_density,
        )
        drained = drain(elements, resistance_factor=stock.resistance_factor, **fields)
        high = None
        if single and band:
            with worksheet(False):
                slow = drain(elements, resistance_factor=np.float64(5.0), **fields)
            total = sum(float(np.asarray(e.length)) for e in elements)
            high = (slow.dry_line[0], slow.dry_line[0] / total)
        pick = _first if single else (lambda value: value)
        length = balance.sum_of(joints.stacked(*[e.length for e in elements]))
        dry_line = pick(drained.dry_line)
        dryness = pick(drained.dryness_leaving)
        water, fibre, felt = self._shares(drained, rows, len(elements), single)
        roll = next((e for e in self.element if isinstance(e, FormingRoll)), None)
        wrap = np.float64(np.nan)
        held = np.float64(np.nan)
        lowest = np.float64(np.nan)
        if roll is not None:
            held = drainage.stock_depth_held_forming_roll(roll.fabric_tension, self.wire.fabric_mass, speed, density)
            radius = joints.radius_of_roll(roll.roll_diameter)
            pressure = drainage.pressure_forming_roll(roll.fabric_tension, self.wire.fabric_mass, speed, radius)
            lowest = jet.jet_speed_lowest_into_pressure(pressure, density)
            if isinstance(self.element[0], FormingRoll):
                wrap = joints.angle_of_arc(dry_line, radius)
        return Formed(
            names=tuple(r[0] for r in rows),
            lengths=length,
            dry_line=dry_line,
            dry_line_share=joints.share_of_zone(dry_line, length),
            dry_line_wrap=wrap,
            formed=np.isfinite(dry_line),
            dryness=dryness,
            moisture_ratio=joints.moisture_ratio_of_dryness(dryness),
            drainage_impulse=np.sum(pick(drained.drainage_impulse), axis=(-2, -1)),
            flux_highest=pick(drained.flux_highest),
            stalled=pick(drained.stalled),
            depth_leaving=pick(drained.depth_leaving),
            stock_depth_held=held,
            jet_speed_lowest=lowest,
            shares_water=water,
            shares_fibre=fibre,
            water_to_felt=felt,
            drained=drained,
            resistance_high=high,
            around=around,
            fabric_resistance=around.fabric_resistance,
            rows=rows,
        )

    def _shares(
        self, drained: Drained, rows: tuple[tuple[str, int, int], ...], count: int, single: bool
    ) -> tuple[Any, Any, Num]:
        """Which share of the white water and of its fibre each listed element takes; what a felt takes of it."""
        water = np.asarray(drained.white_water)
        fibre = np.asarray(drained.white_water_fibre)
        back = self._felt_sides(count, rows)
        felt = water[:, back, 1].sum(axis=-1)
        total = water.sum(axis=(-2, -1))
        total_fibre = fibre.sum(axis=(-2, -1))
        spans = [*rows, ("further", rows[-1][2], count)] if count > rows[-1][2] else list(rows)
        with np.errstate(invalid="ignore", divide="ignore"):
            w = np.stack([water[:, a:b].sum(axis=(-2, -1)) for _, a, b in spans], axis=-1) / total[:, None]
            f = np.stack([fibre[:, a:b].sum(axis=(-2, -1)) for _, a, b in spans], axis=-1)
            f = np.where(total_fibre[:, None] > 0, f / np.where(total_fibre > 0, total_fibre, 1.0)[:, None], w)
            share = np.where(total > 0, felt / np.where(total > 0, total, 1.0), 0.0)
        if single:
            if not back:
                return w[0], f[0], convention(0.0, "no felt takes water while the sheet forms")
            return w[0], f[0], same(np.float64(share[0]), drained.white_water)
        return w, f, share

    def _felt_sides(self, count: int, rows: tuple[tuple[str, int, int], ...]) -> list[int]:
        """Kernel elements whose back side is a felt that may take water."""
        found: list[int] = []
        for element, (_, first, last) in zip(self.element, rows, strict=True):
            if isinstance(element, FormingRoll) and (
                np.any(np.asarray(element.inner_uptake) > 0) or element.outer_uptake is not None
            ):
                found += range(first, last)
        return found
