"""A machine from headbox to reel: the order of its sections, and nothing else of physics.

First a demand pass upwards (reel grammage, dryness and crepe fix what must lie on Yankee and wire, and with
retention and consistency the jet); then the web runs down with settings as given, and one dryer variable holds the
reel dryness. Nothing is changed in place: a what-if is `machine.with_({...})`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.formula.label import worksheet
from thinstock.machine import pumps
from thinstock.machine.circuit import WaterCircuits
from thinstock.machine.dryer import SteadyDryer, YankeeDryer
from thinstock.machine.forming import Forming
from thinstock.machine.grade import Grade
from thinstock.machine.headbox import Headbox
from thinstock.machine.hood import Hood
from thinstock.machine.loop import Circuit, Loop
from thinstock.machine.nodes import Node, felt, vacuum_pumps
from thinstock.machine.part import Part
from thinstock.machine.press import PressSection
from thinstock.machine.reel import Prices, Reel
from thinstock.machine.result import Result
from thinstock.machine.run import run_machine
from thinstock.machine.site import Site
from thinstock.machine.stock import Stock
from thinstock.machine.vacuum import VacuumSection
from thinstock.machine.yankee import Yankee
from thinstock.relations import nip
from thinstock.words import address, nomenclature, units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import capital, phrase
from thinstock.words.quantity import NOT_GIVEN, Choice, Declared, Fields, Num, Q, Words, declared_by_name

if TYPE_CHECKING:
    from thinstock.machine.events import Event
    from thinstock.machine.over_time import OverTime

CLEARANCE = 0.2
"""Free gap between two rolls on one Yankee, m (assumed)."""

RETIRED = "retired"
"""Status of a field that an older file gives and nothing uses any more; its note names the successor."""
HOLDERS = ("hood temperature", "steam pressure", "speed", "nothing")


class Place(NamedTuple):
    """A part in the line, by the name under which a run keeps what it did."""

    name: str
    part: Part
    nodes: tuple[Node, ...] = ()
    """Nodes behind it."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """Where one value of a machine comes from."""

    text: str = ""
    status: str = "assumed"
    source: str = ""
    where: str = ""
    note: str = ""
    uncertainty: float | None = None
    """Standard uncertainty, SI."""
    ends: tuple[float, float] | None = None
    """Low and high end of what is believed, SI: 5 and 95 %, or hard limits."""
    hard: bool = False
    """Whether the ends are limits that the value cannot pass."""
    group: str = ""
    """What it has in common with other inputs: "name @ share; name @ share"."""
    line: int | None = None
    changed: bool = False
    """True where a what-if changed it."""


MAKE_UP = ("hood.make_up_temperature", "hood.heat_recovery")


def _one_make_up(changes: Mapping[str, Any]) -> Mapping[str, Any]:
    """Of the two ways to tell the make-up air, the one that is changed takes the place of the other."""
    for name, other in (MAKE_UP, MAKE_UP[::-1]):
        if changes.get(name) is not None and other not in changes:
            return {**changes, other: None}
    return changes


@dataclass(frozen=True, kw_only=True, eq=False)
class Machine(Fields):
    """A whole machine. Every part is frozen; values are SI numbers, or arrays with one value per case."""

    title: Annotated[str, Words()] = ""
    note: Annotated[str, Words()] = ""
    scenario: Annotated[str, Words()] = ""
    exists: bool = False
    """The machine runs: it makes its grade at its speed. Who read that and when stands in its source and note."""
    evidence: Annotated[str, Words()] = ""
    """Name of the evidence file beside the machine file."""
    hold_reel_dryness_by: Annotated[str, Choice(HOLDERS)] = "hood temperature"
    site: Site = Site()
    grade: Grade
    stock: Stock
    headbox: Headbox
    forming: Forming
    vacuum: VacuumSection = VacuumSection()
    press: PressSection
    yankee: Yankee | None = None
    hood: Hood | None = None
    dryer: SteadyDryer | None = None
    reel: Reel = Reel()
    loop: Loop = Loop()
    circuit: WaterCircuits | None = None
    prices: Prices = Prices()
    given: Mapping[str, Given] = field(default_factory=dict, metadata={"address": False})
    """Provenance by address; a value that is not listed is a default of its field."""

    def rules(self) -> Iterable[Fault]:
        yield from pumps.faults(self.vacuum, self.press)
        if (self.yankee is None) == (self.dryer is None):
            yield fault_in("machine.line.yankee", "yankee", phrase("machine.line.both_or_neither"))
            return
        if self.yankee is not None and self.hood is None:
            yield fault_in("machine.line.hood", "hood", "nothing")
            return
        if self.yankee is not None and self.hood is not None:
            after_nip = np.asarray(self.hood.start + self.hood.covered) * 2 * np.pi
            if np.any(after_nip > np.asarray(self.yankee.wrap) + 1e-9):
                yield fault_in(
                    "machine.line.covered",
                    "hood.covered",
                    phrase("machine.line.rad_after_nip", after_nip=f"{float(np.max(after_nip)):.4g}"),
                    wrap=f"{float(np.min(self.yankee.wrap)):.4g}",
                )
            if np.any(np.asarray(self.reel.trim_width) > np.asarray(self.yankee.width)):
                yield fault_in("machine.line.trim_width", "reel.trim_width", str(self.reel.trim_width))
            if np.any(np.asarray(self.yankee.steam_pressure) <= np.asarray(self.site.atmospheric_pressure())):
                yield fault_in(
                    "machine.line.steam_pressure",
                    "yankee.steam_pressure",
                    f"{float(np.min(self.yankee.steam_pressure)) / 1e5:.4g} bar(a)",
                )
            yield from self._rolls_apart()
        if np.any(np.asarray(self.stock.thick_consistency) <= np.asarray(self.headbox.consistency)):
            yield fault_in(
                "machine.line.thick_consistency",
                "stock.thick_consistency",
                f"{float(np.min(self.stock.thick_consistency)) * 100:.4g} %",
            )
        if self.dryer is not None and self.hold_reel_dryness_by != "nothing":
            yield fault_in("machine.line.hold_reel_dryness_by", "hold_reel_dryness_by", repr(self.hold_reel_dryness_by))

    def _rolls_apart(self) -> Iterable[Fault]:
        """Rolls on one Yankee may not overlap."""
        assert self.yankee is not None
        on_it = [one for one in self.press.nip if one.on_yankee]
        for first, second in pairwise(on_it):
            apart = np.abs(np.asarray(second.nip_angle) - np.asarray(first.nip_angle))
            with worksheet(False):
                least = nip.angle_clear_rolls(
                    self.yankee.diameter, first.roll_diameter, second.roll_diameter, CLEARANCE
                )
            if np.any(apart < least - 1e-9):
                degrees = float(np.degrees(np.max(least)))
                yield fault_in(
                    "machine.line.two_rolls_overlap_apart_least",
                    f"press.nip.{second.name.replace(' ', '_')}.nip_angle",
                    f"{float(np.degrees(np.min(apart))):.3g}° from the {first.name}",
                    degrees=f"{degrees:.3g}",
                )

    @property
    def description(self) -> str:
        """What it is as it stands: former, press, dryer; follows every change, where `title` is what a person gave."""
        dryer = phrase("machine.line.on_yankee" if self.yankee is not None else "machine.line.without_yankee")
        presses = ", ".join(nip.name for nip in self.press.nip)
        return capital(phrase("machine.line.described", former=self.forming.former, presses=presses, dryer=dryer))

    @property
    def speed(self) -> Num:
        """Yankee speed, or the dryer's, m/s."""
        if self.yankee is not None:
            return self.yankee.speed
        assert self.dryer is not None
        return self.dryer.speed

    @property
    def speed_address(self) -> str:
        """Address of the machine's speed."""
        return "yankee.speed" if self.yankee is not None else "dryer.speed"

    @property
    def width(self) -> Num:
        """Width of the sheet on the machine, m."""
        if self.yankee is not None:
            return self.yankee.width
        assert self.dryer is not None
        return self.dryer.width

    @cached_property
    def line(self) -> tuple[Place, ...]:
        """The parts in the order of the sheet, with the nodes behind them."""
        if self.yankee is not None and self.hood is not None:
            dryer: Part = YankeeDryer(yankee=self.yankee, hood=self.hood)
        else:
            assert self.dryer is not None
            dryer = self.dryer
        return (
            Place("loop", Circuit(loop=self.loop, headbox=self.headbox, forming=self.forming)),
            Place("vacuum", self.vacuum),
            Place("press", self.press, (felt, vacuum_pumps)),
            Place("dryer", dryer),
            Place("reel", self.reel),
            *((Place("circuit", self.circuit),) if self.circuit is not None else ()),
        )

    def cautions(self) -> Iterator[str]:
        """Keys of `words/cautions.toml` that go with its parts."""
        for place in self.line:
            yield from place.part.cautions()

    def addresses(self) -> list[tuple[str, Any]]:
        """Every value with its address."""
        return list(self._listed)

    @cached_property
    def _listed(self) -> tuple[tuple[str, Any], ...]:
        return tuple(address.listing(self))

    def get(self, name: str) -> Any:
        """The value at an address; a name that is unique is enough."""
        return address.get(self, name)

    def declaration(self, name: str) -> Declared:
        """What is declared of the field at an address."""
        part, last = address.owner_of(self, name)
        return declared_by_name(type(part))[last]  # type: ignore[arg-type]

    def with_(self, changes: Mapping[str, Any]) -> Machine:
        """Another machine with these values changed; all unknown names and all bad values are refused together.

        A value is a number of base SI (or an array of them, one a case), or text with its unit as in a machine file.
        """
        resolved = self._read({address.resolve(self, name): value for name, value in self._known(changes).items()})
        stock = {name.removeprefix("stock."): v for name, v in resolved.items() if name.startswith("stock.")}
        resolved |= {f"stock.{name}": value for name, value in self.stock.followed(stock).items()}
        changed = address.put(self, _one_make_up(resolved))
        given = dict(self.given)
        for name in resolved:
            old = given.get(name, Given())
            given[name] = dataclasses.replace(old, text="", status="what-if", line=None, changed=True, ends=None)
        return dataclasses.replace(changed, given=given)

    def _read(self, changes: dict[str, Any]) -> dict[str, Any]:
        """Texts with their units as numbers of base SI; a gauge pressure on the air there will be."""
        texts = {n: v for n, v in changes.items() if isinstance(v, str) and isinstance(self.declaration(n).about, Q)}
        site = {n: v for n, v in changes.items() if n.startswith("site.")}
        at = self.with_(site) if site and len(site) < len(changes) and texts else self
        faults: list[Fault] = []
        for name, text in texts.items():
            about = self.declaration(name).about
            assert isinstance(about, Q)
            if text.strip().lower() == NOT_GIVEN:
                changes[name] = None
                continue
            air = float(np.max(at.site.atmospheric_pressure()))
            try:
                kind = nomenclature.word(about.word).kind
                changes[name] = units.parse(text, kind, field=name, atmospheric_pressure=air)
            except units.UnitError as wrong:
                remedy = units.in_unit_of_field(wrong, about.unit or units.edge_unit(about.word, "mill"))
                faults.append(Fault(field=name, value=repr(wrong.given), bound=wrong.reason, remedy=remedy))
        if faults:
            raise Refused(faults)
        return changes

    def _known(self, changes: Mapping[str, Any]) -> Mapping[str, Any]:
        faults: list[Fault] = []
        for name in changes:
            try:
                address.resolve(self, name)
            except Refused as refused:
                faults += refused.faults
        if faults:
            raise Refused(faults)
        return changes

    def cases(self) -> int | None:
        """Number of cases when values are arrays, else None."""
        sizes = set(self.cases_within)
        if len(sizes) > 1:
            raise Refused(fault_in("machine.line.machine", "machine", ", ".join(f"{s} cases" for s in sorted(sizes))))
        return sizes.pop() if sizes else None

    def over_time(self, events: Sequence[Event | str], minutes: float = 30.0, step: float = 1.0) -> OverTime:
        """What happens while things change, second by second; events as `Event` or as text ("thick=+5 %")."""
        from thinstock.machine.events import event_of
        from thinstock.machine.over_time import over_time

        return over_time(self, [event_of(self, e) if isinstance(e, str) else e for e in events], minutes, step)

    def run(self, *, fast: bool = False) -> Result:
        """Run the machine. `fast` takes the coarse dryer steps made for sweeps (error of dryness about 2e-4)."""
        return run_machine(self, fast=fast)
