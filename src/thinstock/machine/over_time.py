"""A machine over time: tanks remember, everything else follows at once.

An event is a new set of settings: flows jump to those of the new steady circuit, contents stay. Between two events the
net of tanks is solved exactly, by one matrix exponential a step and component; start and end are the two steady
circuits. Press and dryer follow at once, hood and steam held where they were: true beyond a minute or so.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, NamedTuple

import numpy as np

from thinstock.errors import KernelRefused, Refused
from thinstock.formula.label import worksheet
from thinstock.machine.circuit_closed import AT, Closed, record_of
from thinstock.machine.events import Event, in_order
from thinstock.machine.timeline import Course, Net, limits_passed, moisture_over
from thinstock.relations import circuits, transients
from thinstock.relations.circuit_balance import circuit_of
from thinstock.relations.circuits import NODES, Circuit, TissueCircuit
from thinstock.words.fault import fault_in
from thinstock.words.num import Array

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.result import Result

TANKS = ("chest", "silo", "pit", "cloudy", "clear", "broke")
SILO_MASS = 6e4
"""Stock in a silo whose mass the file leaves out, kg (assumed)."""
KNOTS = 61
LONGEST = 720.0
LEAST = 5e-4
"""Change of a line, by its value before, that nobody would notice."""
SHARE = 0.05
"""Share of a change that may be missing where it is said to be there."""
DOSING = 0.15
"""Broke in the thick stock while stored broke is worked off, by solids (assumed)."""


class Setting(NamedTuple):
    """What the machine is set to from one time on."""

    at: float
    machine: Machine
    result: Result
    given: TissueCircuit
    balance: Circuit
    broken: bool
    """The whole web falls into the pulper."""
    furnish: float
    """Number of the furnish fed; a change of it enters at the chest."""
    restart: bool
    place: str = "doctor"
    """Where the sheet falls into the pulper."""


@dataclass(frozen=True, kw_only=True, eq=False)
class OverTime:
    """What happens, second by second."""

    machine: Machine
    events: tuple[Event, ...]
    time: Array
    """s"""
    lines: Mapping[str, Array]
    """By name, base SI; `words` has the word of each."""
    before: Mapping[str, float]
    final: Mapping[str, float]
    """Of the steady circuits before and after."""
    within: Mapping[str, float]
    """Time from which 5 % of the change at most is missing, s; 0 where nothing changes, inf while it is not there."""
    passed: tuple[tuple[str, float], ...]
    """(limit, time): what was passed first when."""
    mass_error: float
    """Largest relative error of the mass of any component over the run."""
    clearing: float | None
    """Time in which the broke of a break is worked off, s."""

    WORDS: ClassVar[Mapping[str, str]] = {
        "web": "share", "grammage": "reel_grammage", "moisture": "reel_moisture", "jet_consistency": "consistency",
        "white_water": "nozzle_solids", "web_fines": "fines_share", "temperature": "temperature",
        "dissolved": "dissolved_concentration", "pit_level": "tank_mass", "broke_level": "tank_mass",
        "clear_level": "tank_mass",
    }  # fmt: skip


def over_time(machine: Machine, events: Sequence[Event], minutes: float = 30.0, step: float = 1.0) -> OverTime:
    """What happens while things change.

    Parameters
    ----------
    machine : Machine
        One case with a [circuit].
    events : sequence of Event
        In any order; `thinstock.machine.events.event_of` reads them from text.
    minutes : float
        Length of the run, 1 to 720.
    step : float
        Time between two points, s.

    Returns
    -------
    OverTime
        Lines over time in base SI.

    Raises
    ------
    Refused
        No circuits, no sheet, an event that asks for what there is not.

    Source: mixed tanks (relations.circulation_steps, relations.transients); press and dryer quasi-steady.
    """
    if machine.circuit is None:
        raise Refused(fault_in("watch.circuit", "circuit", "nothing"))
    if not 1.0 <= minutes <= LONGEST:
        raise Refused(fault_in("watch.minutes", "minutes", f"{minutes:g}"))
    with worksheet(False):
        return _run(machine, in_order(events), 60.0 * minutes, step, tuple(events))


def _run(machine: Machine, events: list[Event], end: float, step: float, said: tuple[Event, ...]) -> OverTime:
    first = setting_of(machine, 0.0)
    settings = _settings(first, events, end)
    nets = [Net.of(one.balance, tank_masses(one), one.result.parts.circuit) for one in settings]
    course = Course.start(Net.of(first.balance, tank_masses(first), first.result.parts.circuit), first)
    for number, one in enumerate(settings):
        until = settings[number + 1].at if number + 1 < len(settings) else end
        course.through(nets[number], one, until, step)
    found = course.gathered()
    grammage, moisture = moisture_over(found, first, settings, KNOTS)
    lines = {**found.lines, "grammage": grammage, "moisture": moisture}
    grade = first.machine.grade
    started = {**course.first, "grammage": float(grade.reel_grammage), "moisture": float(first.result["reel_moisture"])}
    before = {name: started.get(name, float(line[0])) for name, line in lines.items()}
    final = _final(lines, found.steady)
    within = {name: _within(found.time, line, before[name], final[name]) for name, line in lines.items()}
    broke = found.broke_made
    thick = float(np.sum(first.balance.stream("thick").solids)) * float(machine.width)
    rate = float(np.sum(first.balance.stream("broke").solids)) * float(machine.width)
    return OverTime(
        machine=machine, events=said, time=found.time, lines=lines, before=before, final=final, within=within,
        passed=tuple(limits_passed(found.time, lines, settings)), mass_error=found.mass_error,
        clearing=float(transients.broke_clearing_time(broke, thick, DOSING, rate)) if broke > 0 else None,
    )  # fmt: skip


def setting_of(machine: Machine, at: float, **more: object) -> Setting:
    """A machine run and its circuits, as a setting."""
    result = machine.run()
    if "circuit" not in result.parts:
        raise Refused(fault_in("watch.sheet", "machine", ""))
    done = result.parts.circuit
    given = record_of(done.part, done.around, done.passed)
    kept: dict[str, object] = {"broken": False, "furnish": 0.0, "restart": False, **more}
    return Setting(at, machine, result, given, done.balance, **kept)  # type: ignore[arg-type]


FURNISH = ("stock.freeness", "stock.drainability", "stock.resistance_coefficient", "stock.fines_share", "stock.furnish")


def _settings(first: Setting, events: list[Event], end: float) -> list[Setting]:
    """The settings in the order of time, the first at 0."""
    found = [first]
    back: list[tuple[float, str]] = []
    for event in events:
        while back and back[0][0] <= event.at:
            found.append(_over(found[-1], *back.pop(0)))
        if event.at >= end:
            break
        found.append(_after(found[-1], event, first))
        if event.kind in ("break", "fresh"):
            back = sorted([*back, (event.at + event.lasts, event.kind)])
    found += [_over(found[-1], at, kind) for at, kind in back if at < end]
    return [one for one, later in zip(found, [*found[1:], None], strict=True) if later is None or later.at > one.at]


def _over(last: Setting, at: float, kind: str) -> Setting:
    """A break or a failure is over."""
    if kind == "break":
        return last._replace(at=at, broken=False, restart=False)
    plain = setting_of(last.machine, at)
    return plain._replace(broken=last.broken, furnish=last.furnish)


def _after(last: Setting, event: Event, first: Setting) -> Setting:
    """The setting that an event leaves."""
    if event.kind == "break":
        return last._replace(at=event.at, broken=True, restart=False, place=event.place)
    if event.kind == "start-up":
        return last._replace(at=event.at, restart=True)
    if event.kind == "thick":
        given, balance = more_thick(last, 1.0 + event.amount)
        return last._replace(at=event.at, given=given, balance=balance, restart=False)
    if event.kind == "fresh":
        given = without_fresh(last.given)
        return last._replace(at=event.at, given=given, balance=circuit_of(given, refuse=False), restart=False)
    changes = dict(event.changes)
    if 0.0 < event.amount < 1.0:
        changes = {n: (1 - event.amount) * float(first.machine.get(n)) + event.amount * v for n, v in changes.items()}
    new = setting_of(last.machine.with_(changes), event.at, broken=last.broken)
    enters = any(name.startswith(FURNISH) for name in changes)
    return new._replace(furnish=last.furnish + 1.0 if enters else last.furnish)


def more_thick(last: Setting, factor: float) -> tuple[TissueCircuit, Circuit]:
    """So much more thick stock at the same fan flow: web and jet are that much heavier, as the steady loop has it."""
    wanted = factor * float(last.balance.stream("thick").flow)
    shape = factor
    given, balance = last.given, last.balance
    for _ in range(12):
        given = dataclasses.replace(
            last.given, web_solids=last.given.web_solids * shape, jet_consistency=last.given.jet_consistency * shape
        )
        try:
            balance = circuits.tissue_circuit(given=given)
        except KernelRefused as refused:
            raise Refused(refused.faults) from None
        missed = float(balance.stream("thick").flow) / wanted
        if abs(missed - 1.0) < 1e-13:
            break
        shape /= missed
    return given, balance


def without_fresh(given: TissueCircuit) -> TissueCircuit:
    """Fresh water fails: showers take clear water, or white where there is no save-all; seals and chemicals stand."""
    at = 1 if given.saveall else 3

    def moved(shower: Sequence[float]) -> tuple[float, ...]:
        parts = [float(part) for part in shower]
        parts[at] += parts[0]
        parts[0] = 0.0
        return tuple(parts)

    return dataclasses.replace(
        given, wire_shower=moved(given.wire_shower), felt_shower=moved(given.felt_shower),
        pit_shower=moved(given.pit_shower), seal_water=0.0, chemical_water=0.0,
    )  # fmt: skip


def tank_masses(setting: Setting) -> dict[str, float]:
    """What the tanks hold, per metre of width; those through which something flows."""
    done: Closed = setting.result.parts.circuit
    part, width = done.part, float(setting.machine.width)
    silo = setting.machine.loop.silo_mass
    masses = {"chest": part.chest_mass, "silo": SILO_MASS if silo is None else silo, "pit": part.pit_mass,
              "cloudy": part.cloudy_mass, "clear": part.clear_mass, "broke": part.broke_mass}  # fmt: skip
    flowing = {s.source for s in setting.balance.streams}
    into = {s.sink for s in setting.balance.streams}
    return {name: float(masses[name]) / width for name in TANKS if name in flowing and name in into}


def _final(lines: Mapping[str, Array], steady: Mapping[str, float]) -> dict[str, float]:
    found = {name: float(steady.get(name, line[-1])) for name, line in lines.items()}
    if lines["grammage"][-1] > 0:
        found["grammage"] = float(lines["grammage"][-1]) * found["web"] / float(lines["web"][-1])
    return found


def _within(time: Array, line: Array, before: float, final: float) -> float:
    change, least = abs(final - before), LEAST * abs(before)
    if np.max(np.abs(line - before)) <= least and change <= least:
        return 0.0
    return float(transients.time_within(time, line, final, max(SHARE * change, least)))


__all__ = ["AT", "NODES", "OverTime", "over_time"]
