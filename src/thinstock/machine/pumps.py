"""Vacuum pumps with a curve: what the pumps take in against what sheet, felt and rolls let through.

Pumps that serve the same slots, boxes and rolls stand on one header. Its vacuum is where they take in what comes; a
slot set lower is throttled to its setting. Air rises with vacuum only because a packed mat stays packed. All curves are
assumed: two forms, from the two ends and one point.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import worksheet
from thinstock.formula.traced import found
from thinstock.machine.part import Kind
from thinstock.machine.press import FELT_BOXES, PressSection
from thinstock.machine.web import Around, Web, changed
from thinstock.relations import pumping
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q, Words

if TYPE_CHECKING:
    from thinstock.machine.press import Pressed
    from thinstock.machine.vacuum import Vacuumed, VacuumSection

PASSES = 8
"""Rounds over the headers at most: one is enough where none serves places before and behind another's."""
CLOSE = 1e-6
"""Share of the shut-off vacuum to which the rounds settle."""

FLOW_FREE = Q("volume_flow_free", possible=(0, 1000), unit="m3/min", status="nameplate", key="pump.flow_free")
SHUT = Q("vacuum_shut", possible=(1e3, 9.5e4), unit="kPa", status="nameplate")
SERVES = Words(several=True, key="pump.serves")


class Pump(Kind, base=True):
    """A vacuum pump."""

    WITHOUT: ClassVar[Mapping[str, str]] = {
        "limits": phrase("machine.pumps.its_curve_its_limit_vacuum"),
        "streams": phrase("machine.pumps.its_air_told_by_places"),
        "outline": phrase("machine.pumps.pumps_stand_beside_machine_not"),
    }
    name: str
    flow_free: Num
    vacuum_shut: Num
    serves: str

    @property
    def places(self) -> frozenset[str]:
        """What it draws on, by name."""
        return frozenset(part.strip() for part in self.serves.split(",") if part.strip())

    @abstractmethod
    def flow(self, vacuum: Num) -> Num:
        """Volume it takes in at this vacuum, m³/s at suction conditions."""

    def rules(self) -> Iterable[Fault]:
        if not self.places:
            yield fault_in("machine.pumps.serves", "serves", repr(self.serves))


@dataclass(frozen=True, kw_only=True, eq=False)
class LiquidRingPump(Pump):
    """Takes nearly the same volume until its ring cannot hold the vacuum any more."""

    name: Annotated[str, Words()] = "liquid-ring pump"
    flow_free: Annotated[Num, FLOW_FREE]
    vacuum_shut: Annotated[Num, SHUT] = 80e3
    pump_shape: Annotated[Num, Q("pump_shape", possible=(0.5, 30))] = 4.0
    point_vacuum: Annotated[Num, Q("vacuum", possible=(0, 9.5e4), unit="kPa", optional=True)] = None
    point_flow: Annotated[Num, Q("volume_flow_free", possible=(1e-6, 1000), unit="m3/min", optional=True)] = None
    serves: Annotated[str, SERVES]

    def rules(self) -> Iterable[Fault]:
        yield from super().rules()
        half = (self.point_vacuum is None) != (self.point_flow is None)
        inside = (
            half
            or self.point_vacuum is None
            or (
                np.all(np.asarray(self.point_vacuum) < self.vacuum_shut)
                and np.all(np.asarray(self.point_flow) < self.flow_free)
            )
        )
        if half or not inside:
            yield fault_in(
                "machine.pumps.point_vacuum",
                "point_vacuum",
                phrase("machine.pumps.one_two") if half else f"{float(np.max(self.point_vacuum)) / 1e3:.4g} kPa",
            )

    def flow(self, vacuum: Num) -> Num:
        """Flat, then falling to nothing."""
        shape = self.pump_shape
        if self.point_flow is not None:
            shape = pumping.pump_shape_from_point(self.point_vacuum, self.point_flow, self.flow_free, self.vacuum_shut)
        return pumping.pump_flow_liquid_ring(vacuum, self.flow_free, self.vacuum_shut, shape)


@dataclass(frozen=True, kw_only=True, eq=False)
class VacuumFan(Pump):
    """Takes most at no vacuum, less and less as the system holds back."""

    name: Annotated[str, Words()] = "vacuum fan"
    flow_free: Annotated[Num, FLOW_FREE]
    vacuum_shut: Annotated[Num, SHUT] = 40e3
    serves: Annotated[str, SERVES]

    def flow(self, vacuum: Num) -> Num:
        """Pressure falls with the square of the flow."""
        return pumping.pump_flow_fan(vacuum, self.flow_free, self.vacuum_shut)


PUMPS: dict[str, type[Pump]] = {"liquid ring": LiquidRingPump, "fan": VacuumFan}
"""The word in a machine file for each kind of pump."""


class Header(NamedTuple):
    """Pumps that draw on the same places."""

    pumps: tuple[Pump, ...]
    places: frozenset[str]

    @property
    def shut(self) -> Num:
        """The vacuum at which the last of them gives nothing, Pa."""
        return np.max(np.stack(np.broadcast_arrays(*[np.asarray(p.vacuum_shut) for p in self.pumps])), axis=0)

    def flow(self, vacuum: Num) -> Num:
        """What they take in together, m³/s."""
        return sum(pump.flow(vacuum) for pump in self.pumps)


def places_of(vacuum: VacuumSection, press: PressSection) -> list[str]:
    """What pumps can draw on, in the order of the web."""
    rolls = [one.name for one in press.nip if hasattr(one.surface, "vacuum")]
    return [*(slot.name for slot in vacuum.slot), *rolls, FELT_BOXES]


def headers_of(vacuum: VacuumSection, press: PressSection) -> list[Header]:
    """The headers in the order of the web."""
    groups: dict[frozenset[str], list[Pump]] = {}
    for pump in vacuum.pump:
        groups.setdefault(pump.places, []).append(pump)
    order = places_of(vacuum, press)
    made = [Header(tuple(pumps), places) for places, pumps in groups.items()]
    return sorted(made, key=lambda h: min(order.index(p) for p in h.places))


def faults(vacuum: VacuumSection, press: PressSection) -> Iterable[Fault]:
    """What must hold between pumps and places."""
    known = places_of(vacuum, press)
    sets = {pump.places for pump in vacuum.pump}
    for pump in vacuum.pump:
        for name in sorted(pump.places - set(known)):
            yield fault_in("machine.pumps.pump", "vacuum.pump", repr(name), name=pump.name, known=", ".join(known))
        if any(pump.places & other for other in sets if other != pump.places):
            yield fault_in("machine.pumps.pumps_that_share_place_must", "vacuum.pump", pump.serves)


class Settled(NamedTuple):
    """Vacuum and press with the vacua their pumps hold."""

    vacuum: VacuumSection
    press: PressSection
    around: Around


def opened(vacuum: VacuumSection, press: PressSection, around: Around, held: Mapping[str, Num]) -> Settled:
    """Slots, rolls and boxes at the lesser of their setting and their header's vacuum."""
    if not held:
        return Settled(vacuum, press, around)

    def least(part: Any, name: str) -> Any:
        return changed(part, {"vacuum": np.minimum(part.vacuum, held[name])}) if name in held else part

    slots = tuple(least(slot, slot.name) for slot in vacuum.slot)
    nips = tuple(
        changed(one, {"surface": least(one.surface, one.name)}) if one.name in held else one for one in press.nip
    )
    felt = changed(press.felt, {"boxes": least(press.felt.boxes, FELT_BOXES)})
    return Settled(
        changed(vacuum, {"slot": slots}), changed(press, {"nip": nips, "felt": felt}), around.with_(headers=dict(held))
    )  # fmt: skip


def settled(vacuum: VacuumSection, press: PressSection, web: Web, around: Around) -> Settled:
    """The vacua that the pumps hold with this sheet, found header by header without being recorded."""
    headers, held = headers_of(vacuum, press), dict[str, Num]()
    with worksheet(False):
        for header in headers:
            held |= dict.fromkeys(header.places, header.shut)
        for _ in range(PASSES):
            before = dict(held)
            for header in headers:
                held |= dict.fromkeys(header.places, _balanced(header, vacuum, press, web, around, held))
            moved = max(float(np.max(np.abs(held[n] - before[n]) / h.shut)) for h in headers for n in h.places)
            if moved <= CLOSE or len(headers) == 1:
                break
    for header in headers:
        names = ", ".join(sorted(header.places))
        value = found(phrase("machine.pumps.vacuum_that_pumps_hold_at", names=names), held[next(iter(header.places))])
        held |= dict.fromkeys(header.places, value)
    return opened(vacuum, press, around, held)


def _balanced(
    header: Header, vacuum: VacuumSection, press: PressSection, web: Web, around: Around, held: Mapping[str, Num]
) -> Num:
    """The vacuum at which the pumps of one header take in what comes."""

    def misfit(at: Num) -> Num:
        trial = opened(vacuum, press, around, {**held, **dict.fromkeys(header.places, at)})
        return _drawn(header, trial, web) * web.width - header.flow(at)

    shut = header.shut
    shape = np.shape(misfit(0.5 * shut))
    least, most = np.zeros(shape or (1,)), np.broadcast_to(shut, shape or (1,)).astype(float)
    everywhere = least.copy()

    def at_cases(at: Any, case: Any) -> Any:
        everywhere[case] = at
        return np.broadcast_to(misfit(everywhere if shape else everywhere[0]), everywhere.shape)[case]

    from scipy.optimize import elementwise

    root = elementwise.find_root(
        at_cases, (least, most), args=(np.arange(least.size),), tolerances={"xatol": 1e-3, "xrtol": 1e-9}
    ).x
    return root if shape else np.float64(root[0])


def _drawn(header: Header, trial: Settled, web: Web) -> Num:
    """What the places of a header let through, m²/s at the header's vacuum."""
    behind, done = trial.vacuum.run(web, trial.around)
    flow = _through_slots(done, header.places)
    if header.places & ({one.name for one in trial.press.nip} | {FELT_BOXES}):
        _, pressed = trial.press.run(behind, done.onward(trial.around))
        flow = flow + _through_press(pressed, header.places)
    return flow


def _through_slots(done: Vacuumed, places: frozenset[str]) -> Num:
    return sum((slot.suction_flow for slot in done.slots if slot.name in places), 0.0)


def _through_press(done: Pressed, places: frozenset[str]) -> Num:
    rolls: Num = sum((one.suction_flow for one in done.nips if one.name in places), 0.0)
    boxes: Num = sum((one.box_air_flow for one in done.nips), 0.0) if FELT_BOXES in places else 0.0
    return rolls + boxes
