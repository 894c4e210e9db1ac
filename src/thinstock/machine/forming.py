"""The forming section: elements in machine order, the fabric, and the window in which practice says it is stable.

Drainage is computed by the one march of `kernels.drainage`. What stopped formers in practice (disrupted sheet, stock
jump, mist) is not drainage: it is kept apart as a stability window, common practice without a source.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import same, worksheet
from thinstock.formula.traced import constant, convention
from thinstock.kernels.drainage import Drained, Element, drain
from thinstock.kernels.drainage import drained as marched
from thinstock.kernels.drainage_input import DrainageInput
from thinstock.machine import disturbed
from thinstock.machine.along import Along, along_former
from thinstock.machine.duty import Duty, Fixed
from thinstock.machine.elements import Arriving, Entry, FormingElement
from thinstock.machine.part import Done, Part
from thinstock.machine.told import OUTSIDE, Station, Stream, Wet, said, thrown
from thinstock.machine.web import Around, Free, Web
from thinstock.relations import balance, joints, mat
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Fields, Num, Q, Words

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked
    from thinstock.machine.notes import Notes
    from thinstock.machine.parts import Parts
    from thinstock.machine.vacuum import Slot

Rows = tuple[tuple[str, int, int], ...]
"""Elements as listed: (name, first element of the march, one past the last)."""
NO_SHEET = 6.0
"""Moisture ratio with which a case without a sheet is counted on; nothing of it is shown."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fabric(Fields):
    """A forming fabric, known by its air permeability."""

    name: Annotated[str, Words()] = "tissue forming fabric"
    air_permeability: Annotated[
        Num,
        Q(
            "air_permeability",
            possible=(0.05, 12),
            usual=(2.5, 4.5),
            unit="m/s",
            status="from memory",
            source="COMMON_PRACTICE",
        ),
    ] = 3.556
    test_pressure: Annotated[Num, Q("test_pressure", possible=(10, 1000), unit="Pa", status="common practice")] = 124.5
    viscous_share: Annotated[Num, Q("viscous_share", possible=(0, 1), usual=(0.2, 0.8))] = 0.5
    fabric_mass: Annotated[Num, Q("fabric_mass", possible=(0, 5), unit="kg/m2", status="from memory")] = 0.4
    fabric_tension: Annotated[Num, Q("fabric_tension", possible=(500, 2e4), usual=(3e3, 8e3), status="from memory")] = (
        6e3
    )

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
class StabilityWindow(Fields):
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
    reason: Annotated[str, Words()] = ""

    def rules(self) -> Iterable[Fault]:
        for low, high in (("speed_low", "speed_high"), ("consistency_low", "consistency_high")):
            if np.any(np.asarray(getattr(self, low)) >= np.asarray(getattr(self, high))):
                yield fault_in("machine.forming.must_be_below", low, str(getattr(self, low)), high=high)


@dataclass(frozen=True, kw_only=True, eq=False)
class Forming(Part):
    """Former, wire and what becomes of the sheet at its end."""

    WITHOUT: ClassVar[Mapping[str, str]] = {"outline": phrase("machine.forming.its_elements_fabrics_show_themselves")}

    former: Annotated[str, Words()] = "wire and felt, C-wrap"
    element: tuple[FormingElement, ...]
    wire: Fabric = Fabric()
    wire_draw: Annotated[Num, Q("draw", possible=(-0.2, 0.2), usual=(-0.01, 0.02), unit="%")] = 0.0
    transfers: Annotated[Num, Q("number", possible=(0, 6), integer=True, status="derived", usual=ANY)] = 1
    carrier: Annotated[str, Words()] = "felt"
    window: StabilityWindow = StabilityWindow()

    def rules(self) -> Iterable[Fault]:
        if not self.element:
            yield fault_in("machine.forming.element", "element", "no element")
            return
        names = [e.name for e in self.element]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield fault_in("machine.forming.each_element_needs_name_its", "element", repr(name))
        if not any(e.drains() for e in self.element):
            yield fault_in("machine.forming.no_open_side_water_has", "element", ", ".join(names))
        if self.carrier not in ("wire", "felt"):
            yield fault_in("machine.forming.carrier", "carrier", repr(self.carrier))

    def arriving(self, *, speed: Num, density: Num, stock_depth: Num, jet_thickness: Num, jet_speed: Num) -> Arriving:
        """What the elements must know of the stock."""
        viscous, inertia = self.wire.resistance()
        return Arriving(speed, density, stock_depth, jet_thickness, jet_speed, viscous, inertia, self.wire.fabric_mass)

    def build(self, arriving: Arriving) -> tuple[list[Element], Rows]:
        """Kernel elements, and which of them belong to which listed element."""
        made: list[Element] = []
        rows = []
        for element in self.element:
            first = len(made)
            made += element.build(arriving)
            rows.append((element.name, first, len(made)))
        return made, tuple(rows)

    def run(self, web: Web, around: Around) -> tuple[Web, Formed]:
        """March the stock through the elements, and through the boxes behind them where it is not formed by then."""
        formed = self._march(web, around, ())
        late: Num = np.zeros_like(np.asarray(formed.formed))
        if around.boxes and not np.all(formed.formed):
            boxed = self._march(web, around, around.boxes)
            late = np.logical_and(~np.asarray(formed.formed), boxed.formed)
            formed = boxed if around.single else _merged(formed, boxed, ~np.asarray(formed.formed))
        moisture = formed.moisture_ratio
        if not around.single:
            moisture = np.where(formed.formed, moisture, NO_SHEET)
        out = web.with_(carrier="wire", moisture_ratio=moisture, formed=formed.formed, free=None,
            fabric_resistance=formed.arriving.fabric_resistance, fabric_inertia=formed.arriving.fabric_inertia,
        )  # fmt: skip
        return out, dataclasses.replace(formed, out=out, on_boxes=late)

    def dryness_ahead(self, web: Web, around: Around) -> tuple[Num, Num]:
        """Whether a sheet is formed without the boxes, and the dryness it leaves with: from one far-stepping march."""
        _, elements, _ = self._met(web, around)
        fields = self.march_fields(web, around)
        factor = around.stock.resistance_factor
        drained = marched(elements, DrainageInput(**fields, resistance_factor=factor, stride=around.stride))
        pick: Callable[[Num], Num] = _first if around.single else (lambda value: value)
        return np.isfinite(pick(drained.dry_line)), pick(drained.dryness_leaving)

    def _met(self, web: Web, around: Around) -> tuple[Arriving, list[Element], Rows]:
        """What the stock is like as it comes, and the elements it meets."""
        free = web.free
        assert free is not None
        arriving = self.arriving(
            speed=web.speed, density=around.water.density, stock_depth=free.depth,
            jet_thickness=free.jet_thickness, jet_speed=free.jet_speed,
        )  # fmt: skip
        elements, rows = self.build(arriving)
        return arriving, elements, rows

    def march_fields(self, web: Web, around: Around) -> dict[str, Num]:
        """What the march takes besides its elements and the mat's resistance at machine rate."""
        stock, free = around.stock, web.free
        assert free is not None
        return {
            "speed": web.speed,
            "grammage": web.fibre,
            "consistency": free.consistency,
            "retention": free.retention,
            "density": around.water.density,
            "viscosity": around.water.viscosity,
            "resistance_coefficient": around.resistance,
            "resistance_exponent": stock.resistance_exponent,
            "mat_coefficient": around.furnish.mat_coefficient,
            "mat_exponent": stock.mat_exponent,
            "mat_pressure_floor": stock.mat_pressure_floor,
            "wall_density": stock.wall_density,
            "mat_memory": stock.mat_memory,
        }

    def _march(self, web: Web, around: Around, boxes: tuple[Slot, ...]) -> Formed:
        """One march, with these boxes as further elements."""
        single = around.single
        arriving, elements, rows = self._met(web, around)
        elements += [box.forming_box(arriving) for box in boxes]
        fields = self.march_fields(web, around)
        sheet = {**fields, "resistance_factor": around.stock.resistance_factor}
        far = around.stride
        drained = drain(elements, **sheet) if far == 1.0 else marched(elements, DrainageInput(**sheet, stride=far))
        pick: Callable[[Num], Num] = _first if single else (lambda value: value)
        length = balance.sum_of(joints.stacked(*[e.length for e in elements]))
        dry_line, dryness = pick(drained.dry_line), pick(drained.dryness_leaving)
        water, fibre, felt = self._shares(drained, rows, len(elements), single)
        entry = self._entry(arriving, dry_line)
        return Formed(
            into=web, out=web, around=around, part=self, names=tuple(r[0] for r in rows),
            lengths=length, dry_line=dry_line,
            dry_line_share=joints.share_of_zone(dry_line, length),
            dry_line_wrap=entry.wrap,
            formed=np.isfinite(dry_line),
            dryness=dryness,
            moisture_ratio=joints.moisture_ratio_of_dryness(dryness),
            drainage_impulse=np.sum(pick(drained.drainage_impulse), axis=(-2, -1)),
            flux_highest=pick(drained.flux_highest),
            stalled=pick(drained.stalled),
            depth_leaving=pick(drained.depth_leaving),
            stock_depth_held=entry.depth_held,
            jet_speed_lowest=entry.jet_speed_lowest,
            shares_water=water,
            shares_fibre=fibre,
            water_to_felt=felt,
            drained=drained,
            resistance_high=_slow(elements, fields, around) if around.band else None,
            arriving=arriving,
            rows=rows,
        )  # fmt: skip

    def _entry(self, arriving: Arriving, dry_line: Num) -> Entry:
        """What the first roll asks of the jet; nothing where there is none."""
        nan = np.float64(np.nan)
        for i, element in enumerate(self.element):
            entry = element.entry(arriving)
            if entry is not None:
                return entry._replace(wrap=dry_line / entry.radius) if i == 0 else entry
        return Entry(nan, nan, nan)

    def _shares(self, drained: Drained, rows: Rows, count: int, single: bool) -> tuple[Num, Num, Num]:
        """Which share of the white water and of its fibre each listed element takes; what a felt takes of it."""
        water = np.asarray(drained.white_water)
        fibre = np.asarray(drained.white_water_fibre)
        back = self._felt_sides(rows)
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
                return w[0], f[0], convention(0.0, phrase("machine.forming.no_felt_takes_water_while"))
            return w[0], f[0], same(np.float64(share[0]), drained.white_water)
        return w, f, share

    def _felt_sides(self, rows: Rows) -> list[int]:
        """Kernel elements whose back side is a felt that may take water."""
        pairs = zip(self.element, rows, strict=True)
        return [i for element, (_, first, last) in pairs if element.feeds_felt() for i in range(first, last)]

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """Forming must end inside the elements; the jet must be fast enough to enter; practice has its window."""
        yield Duty(
            id="drainage", word="dry_line_share", bound=np.float64(1.0), value=lambda p: p.forming.dry_line_share,
            margin=_drainage_margin, status="computed, not calibrated", remark="drainage", always=True,
        )  # fmt: skip
        yield Fixed(
            id="jet_entry", word="jet_speed", value=lambda p: p.headbox.delivery.jet_speed, scope="lowest",
            bound=lambda p: p.forming.jet_speed_lowest, status="computed", remark="lowest",
        )  # fmt: skip
        window = self.window
        if window.speed_high < 60.0:
            yield Fixed(
                id="stability_window", word="speed", value=lambda p: asked.speed, scope="window",
                bound=lambda p: window.speed_high, status="common practice, no source",
                remark="window_reason" if window.reason else "window", reason=window.reason,
            )  # fmt: skip


def _drainage_margin(parts: Parts) -> Num:
    """Room left on the elements; where the sheet is not formed on them, the fibre that is missing."""
    formed = parts.forming
    ready = np.asarray(formed.formed) & ~np.asarray(formed.on_boxes)
    left = np.maximum(1.0 - formed.dry_line_share, 0.0)  # past the end by rounding alone
    return np.where(ready, left, np.minimum(formed.lacking, -1e-12))


def _first(value: Num) -> Num:
    """One case out of a kernel's result, as the same quantity in another dress."""
    return same(value[0], value)


def _slow(elements: list[Element], fields: dict[str, Num], around: Around) -> tuple[Num, Num]:
    """End of forming, and its share of the elements, with a mat that resists five times as much at machine rate."""
    with worksheet(False):
        slow = marched(elements, DrainageInput(**fields, resistance_factor=np.float64(5.0), stride=around.stride))
    total = sum(np.asarray(e.length, dtype=float) for e in elements)
    end = slow.dry_line[0] if around.single else slow.dry_line
    return end, end / total


def _merged(plain: Formed, boxed: Formed, use_boxed: Num) -> Formed:
    """Case by case, the former alone or the former with the wire boxes behind it."""
    fields: dict[str, Num] = {}
    for field in dataclasses.fields(plain):
        a, b = getattr(plain, field.name), getattr(boxed, field.name)
        if field.name in ("shares_water", "shares_fibre"):
            a = np.concatenate([a, np.zeros((len(a), 1))], axis=1)
            fields[field.name] = np.where(use_boxed[:, None], b, a)
        elif isinstance(a, np.ndarray) and a.ndim == 1 and a.shape == use_boxed.shape:
            fields[field.name] = np.where(use_boxed, b, a)
    ends = plain.resistance_high
    if ends is not None and boxed.resistance_high is not None:
        (a, part), (b, boxed_part) = ends, boxed.resistance_high
        ends = np.where(use_boxed, b, a), np.where(use_boxed, boxed_part, part)
    return dataclasses.replace(plain, resistance_high=ends, **fields)


@dataclass(frozen=True, kw_only=True, eq=False)
class Formed(Done):
    """What the forming section did (per case where cases run; element rows on their own axis)."""

    STAGE = "forming"

    part: Forming
    names: tuple[str, ...]
    lengths: Num
    """Total length of the forming elements, m."""
    dry_line: Num
    """Place of the end of forming from the first element, m; nan if not reached."""
    dry_line_share: Num
    dry_line_wrap: Num
    """The same as degrees of wrap in rad where the former is one roll, else nan."""
    formed: Num
    on_boxes: Num = False
    """True where only the wire boxes behind the former finished the forming."""
    dryness: Num
    moisture_ratio: Num
    drainage_impulse: Num
    flux_highest: Num
    stalled: Num
    depth_leaving: Num
    stock_depth_held: Num
    jet_speed_lowest: Num
    shares_water: Num
    """Share of the white water per element row."""
    shares_fibre: Num
    water_to_felt: Num
    """White water taken by a felt, as share of all white water."""
    drained: Drained
    resistance_high: tuple[Num, Num] | None
    """End of forming and its share with resistance_factor 5 (band until calibrated)."""
    arriving: Arriving
    rows: Rows
    """Element rows as listed in the file: (name, first kernel element, one past the last)."""

    @property
    def lacking(self) -> Num:
        """Fibre that the sheet still lacks at the end, as a negative share of it."""
        return self.drained.deposited / self.into.fibre - 1.0

    @property
    def free(self) -> Free:
        """The stock that came."""
        assert self.into.free is not None
        return self.into.free

    def onward(self, around: Around) -> Around:
        """The felt goes on with what it took while the sheet formed."""
        uptake = joints.felt_uptake(self.water_to_felt, self.free.depth, self.depth_leaving, around.water.density)
        return around.with_(felt=around.felt._replace(uptake=uptake))

    def values(self) -> Mapping[str, Num]:
        """End of forming with its band, dryness, impulse."""
        return {
            "end_of_forming": self.dry_line_share,
            "end_of_forming_wrap": self.dry_line_wrap,
            "end_of_forming_slow": None if self.resistance_high is None else self.resistance_high[1],
            "formed": self.formed,
            "dryness_formed": self.dryness,
            "drainage_impulse": self.drainage_impulse,
            "depth_not_drained": self.depth_leaving,
        }

    def stations(self) -> Iterable[Station]:
        """End of the former."""
        yield Station(
            name=said("stations", "formed"), dryness=self.dryness, moisture_ratio=self.moisture_ratio,
            grammage=self.into.fibre, temperature=self.into.temperature, speed=self.into.speed,
        )  # fmt: skip

    @cached_property
    def shower(self) -> Wet:
        """The showers on the wire."""
        loop = self.around.loop
        assert loop is not None
        return Wet.at(loop.wire_shower_temperature, water=loop.wire_shower)

    @cached_property
    def shares(self) -> dict[str, Wet]:
        """Where jet and showers go: on with the web, into a felt, past the former undrained, through the wire."""
        jet, shower, warm = thrown(self.into), self.shower, self.into.temperature
        formed = np.asarray(self.formed)
        fibre, fines, water = self._leaving(jet)
        leaving = Wet(fibre=fibre, fines=fines, water=water)
        on, lost = leaving.where(formed), leaving.where(~formed)
        web = Wet.at(warm, fibre=on.fibre, fines=on.fines, water=on.water)
        undrained = Wet.at(warm, fibre=lost.fibre, fines=lost.fines, water=lost.water)
        drained = jet - web - undrained
        taken = drained.times(self.water_to_felt)
        felt = Wet.at(warm, fibre=taken.fibre, fines=taken.fines, water=taken.water)
        through = Wet(
            fibre=drained.fibre - felt.fibre,
            fines=drained.fines - felt.fines,
            water=drained.water - felt.water + shower.water,
            heat=jet.heat + shower.heat - web.heat - felt.heat - undrained.heat,
        )
        return {"web": web, "felt": felt, "undrained": undrained, "through": through}

    def _leaving(self, jet: Wet) -> tuple[Num, Num, Num]:
        """Fibre, fines and water that leave the former on the wire, formed or not."""
        into = self.into
        web, web_fines = into.fibre_flow, into.fines_flow
        water = self.moisture_ratio * web
        if np.all(self.formed):
            return web, web_fines, water
        rest = self.depth_leaving / self.free.depth
        deposited = self.drained.deposited
        deposited = deposited[0] if np.ndim(self.formed) == 0 else deposited
        on_wire = deposited * into.speed
        free = np.maximum(jet.fibre * (1 - deposited / into.fibre), 0.0)
        share = np.where(web > 0, web_fines / web, 0.0)
        fibre = np.where(self.formed, web, on_wire + free)
        fines = np.where(self.formed, web_fines, on_wire * share + free * jet.fines / jet.fibre)
        return fibre, fines, np.where(self.formed, water, rest * jet.water)

    def streams(self) -> Iterable[Stream]:
        """Showers in; web, felt's share and (where it is not formed) undrained stock out; water per element."""
        formed, warm, parts = np.asarray(self.formed), self.into.temperature, self.shares
        loop = self.around.loop
        assert loop is not None
        yield self.shower.stream("wire_shower", OUTSIDE, "forming", temperature=loop.wire_shower_temperature)
        if np.any(formed):
            yield parts["web"].stream("web_formed", "forming", "vacuum", temperature=warm)
        if np.any(np.asarray(self.water_to_felt) > 0):
            yield parts["felt"].stream("felt_uptake", "forming", "felt", temperature=warm)
        if not np.all(formed):
            yield parts["undrained"].stream("not_drained", "forming", OUTSIDE, temperature=warm)
        water, fibre, through = np.asarray(self.shares_water), np.asarray(self.shares_fibre), parts["through"]
        names = [*self.names, said("stations", "boxes_behind")]
        for i in range(water.shape[-1]):
            w, f = water[..., i], fibre[..., i]
            if np.any(w > 0):
                yield Wet(
                    fibre=(f * through.fibre)[()], fines=(f * through.fines)[()], water=(w * through.water)[()],
                    heat=(w * through.heat)[()],
                ).stream("forming_water", "forming", "silo", of=names[i])  # fmt: skip

    def along(self) -> Along:
        """Drainage along the elements."""
        return along_former(self)

    def notes(self, notes: Notes) -> None:
        """Undrained stock, a jet too slow, a mat not calibrated, the window of practice."""
        free, window, forming = self.free, self.part.window, "forming"
        notes.when(np.logical_not(self.formed), forming, "limit", "not_drained")
        notes.when(np.asarray(self.on_boxes), forming, "limit", "formed_on_boxes")
        if np.any(np.isfinite(np.asarray(self.stock_depth_held))):
            too_deep = np.asarray(free.depth) > np.asarray(self.stock_depth_held)
            notes.when(too_deep, forming, "unusual", "stock_deeper_than_tension")
            notes.when(np.asarray(free.jet_speed) < np.asarray(self.jet_speed_lowest), forming, "limit", "jet_too_slow")
        notes.when(np.asarray(self.flux_highest) > 3.0, forming, "unusual", "flux_high")
        if notes.status("stock.resistance_factor") in ("assumed", ""):
            notes.when(True, forming, "assumed", "drainage_not_calibrated")
        disturbed.remark(self, notes)
        speed, consistency = np.asarray(notes.speed), np.asarray(free.consistency)
        notes.when(
            (speed < window.speed_low) | (speed > window.speed_high), forming, "limit",
            "outside_window_reason" if window.reason else "outside_window",
            low=f"{window.speed_low * 60:.0f}", high=f"{window.speed_high * 60:.0f}", reason=window.reason,
        )  # fmt: skip
        notes.when(
            (consistency < window.consistency_low) | (consistency > window.consistency_high), forming, "unusual",
            "outside_window_consistency",
            low=f"{window.consistency_low * 100:.3g}", high=f"{window.consistency_high * 100:.3g}",
        )  # fmt: skip
