"""The ladder of formers: how dilute each could run, how fast, and what stops it first, for one sheet on one wire.

Two things are kept apart: what former and machine can drain and supply (computed, a band until calibrated), and the
window in which practice runs such a former (no source). Nothing is tuned until history appears.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np

from thinstock import library
from thinstock.case import formers as case_formers
from thinstock.errors import Fault, Refused
from thinstock.formula.label import Array, worksheet
from thinstock.machine.elements import FormingRoll
from thinstock.machine.forming import Forming, StabilityWindow
from thinstock.machine.line import Machine
from thinstock.relations import drainage, jet, mat
from thinstock.studies import trials
from thinstock.studies.reasons import OWN as OWN
from thinstock.studies.reasons import indicators_of, reasons
from thinstock.studies.rungs import ENDS, Answer, Ladder, Lowest, OwnTime, Rung, SpeedRange, State
from thinstock.studies.rungs import words as words
from thinstock.studies.subject import subject
from thinstock.studies.trials import Cap, Sheet, Trial
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

SPEEDS = tuple(v / 60 for v in (100, 200, 300, 450, 600, 800, 1000, 1250, 1500, 1750, 2000, 2200))
"""Speeds shown when none are asked for, m/s."""
BAND = (1.0, 5.0)
"""Resistance of the mat at machine rate over that in a tester, until calibrated."""
MEMORY = (0.0, 1.0)
"""Share of its packing that a mat keeps: how much is unknown, so both ends are told."""
NO_LIMIT = phrase("studies.ladder.does_not_limit_below_m")


def formers(
    machine_or_grade: Machine | str,
    *,
    speeds: Sequence[float] | None = None,
    keys: Sequence[str] | None = None,
    resistance_factor: tuple[float, float] | None = None,
    power_limit: float | None = None,
    supply: bool = True,
    era: bool = False,
) -> Ladder:
    """The same sheet, stock and wire on every former: how dilute, how fast, what stops each.

    Parameters
    ----------
    machine_or_grade : Machine or str
        A machine of one case, or the name of a grade.
    speeds : sequence of float, optional
        Wire speeds, m/s.
    keys : sequence of str, optional
        Formers of the library; the nine of the trade if left out.
    resistance_factor : (float, float), optional
        Band of the mat's resistance, 1; 1 to 5, or the machine's calibrated value alone, if left out.
    power_limit : float, optional
        Most power of the pump shaft per width, W/m.
    supply : bool, default True
        False leaves out what this machine's headbox and pumps can supply: what the former itself could do.
    era : bool, default False
        True also sets each former to the speeds, sheet and consistency of its own time.

    Returns
    -------
    Ladder
        A row per former and speed: lowest consistency (kg/kg), flow per width (kg/(s m)), power and what stops it.

    Raises
    ------
    Refused
        All faults of what is asked at once.

    Source: the formulas of forming; the library's formers carry their own.
    """
    machine, consistency, title, own = subject(machine_or_grade)
    chosen = tuple(library.key_of(k) for k in keys) if keys is not None else library.NINE
    band = resistance_factor if resistance_factor is not None else _band(machine, "stock.resistance_factor", BAND)
    faults = _faults(speeds, band, power_limit)
    if faults:
        raise Refused(faults)
    at = tuple(float(v) for v in (speeds if speeds is not None else SPEEDS))
    with worksheet(False):
        sheet = trials.sheet_of(machine)
        caps = trials.caps_of(machine, power_limit) if supply else ()
        study = _Study(machine, dataclasses.replace(sheet, consistency=consistency), at, band, caps)
        rungs = [study.rung(OWN, machine.forming, False)] if own else []
        rungs += [study.rung(key, trials.on_wire(sheet, case_formers.former(key)), era) for key in chosen]
    return Ladder(
        title=title,
        grammage=float(sheet.grammage),
        retention=float(sheet.retention),
        consistency=float(consistency),
        speed=float(machine.speed),
        resistance=float(sheet.resistance),
        resistance_factors=(float(band[0]), float(band[1])),
        speeds=at,
        rungs=_alike(rungs),
        supplied=supply,
        supply=study.supply(),
        unknown=trials.unknown_caps(machine) if own and supply else (),
    )


def _band(machine: Machine, address: str, believed: tuple[float, float]) -> tuple[float, float]:
    """What is believed, or the machine's own value where it was measured or calibrated."""
    given = machine.given.get(address)
    if given is not None and given.status in ("measured", "calibrated"):
        one = float(machine.get(address))
        return one, one
    return believed


def _alike(rungs: list[Rung]) -> tuple[Rung, ...]:
    """Every rung knows the one before it that drains exactly as it does: such a row needs a word why."""
    made: list[Rung] = []
    for rung in rungs:
        drains = [getattr(a, end).drainage for a in rung.answers for end in ENDS]
        others = [r for r in made if OWN not in (r.key, rung.key)]
        same = next((r.name for r in others if drains == [getattr(a, e).drainage for a in r.answers for e in ENDS]), "")
        made.append(dataclasses.replace(rung, same_as=same))
    return tuple(made)


def _faults(speeds: Sequence[float] | None, band: tuple[float, float], power_limit: float | None) -> list[Fault]:
    faults = []
    for v in speeds or ():
        if not 0.1 <= v <= 60:
            faults.append(
                fault_in("studies.ladder.speeds", "speeds", f"{v:g} m/s")
            )  # fmt: skip
    if len(band) != 2 or not 0.1 <= band[0] <= band[1] <= 50:
        faults.append(
            fault_in("studies.ladder.resistance_factor", "resistance_factor", str(band))
        )  # fmt: skip
    if power_limit is not None and not power_limit > 0:
        faults.append(fault_in("studies.ladder.power_limit", "power_limit", f"{power_limit:g} W/m"))
    return faults


class _Study:
    """One ladder being worked out."""

    def __init__(
        self,
        machine: Machine,
        sheet: Sheet,
        speeds: tuple[float, ...],
        band: tuple[float, float],
        caps: tuple[Cap, ...],
    ) -> None:
        self.machine, self.sheet, self.band, self.caps = machine, sheet, band, caps
        self.speed = np.array(speeds)
        memory = _band(machine, "stock.mat_memory", MEMORY)
        self.ends = (band[0], band[1], band[0]), (memory[0], memory[0], memory[1])
        """Resistance and memory of the mat: as in the tester, slowest, packed (at the resistance of the tester)."""
        self.supplied = trials.lowest_supplied(sheet, machine, self.caps, self.speed)
        self.factors, self.memories = (np.repeat(np.array(end), self.speed.size) for end in self.ends)

    @cached_property
    def fastest(self) -> Array:
        """Per part of the supply the highest speed at the given consistency."""
        return trials.highest_supplied(self.sheet, self.machine, self.caps, float(self.sheet.consistency))

    def supply(self) -> tuple[tuple[str, float | None], ...]:
        """Per speed the part of the supply that stops dilution first."""
        found: list[tuple[str, float | None]] = []
        for column in self.supplied.T:
            if not column.size:
                found.append(("nothing", 0.0))
                continue
            k = int(np.argmax(np.where(np.isnan(column), np.inf, column)))
            found.append((self.caps[k].name, _number(column[k])))
        return tuple(found)

    def answers(self, forming: Forming) -> tuple[Answer, ...]:
        """One former, all speeds."""
        sheet, speed, count = self.sheet, self.speed, self.speed.size
        drained = trials.lowest_consistency(sheet, forming, np.tile(speed, 3), self.factors, self.memories)
        enters = trials.jet_enters(sheet, forming, speed)
        fast, slow, packed = drained.reshape(3, count)
        lowest, lowest_slow, lowest_packed = (
            [self._lowest(end[i], i, bool(enters[i])) for i in range(count)] for end in (fast, slow, packed)
        )
        given = self._states(forming, np.full(count, float(sheet.consistency)))
        at = [one.consistency for one in lowest]
        found = self._states(forming, np.array([c if c is not None else float(sheet.consistency) for c in at]))
        sane = self._closed_form(forming, fast)
        return tuple(
            Answer(
                speed=float(speed[i]),
                lowest=lowest[i],
                lowest_slow=lowest_slow[i],
                lowest_packed=lowest_packed[i],
                closed_form=sane[i],
                jet_enters=bool(enters[i]),
                practice=_practice(forming.window, float(speed[i])),
                at_lowest=found[i] if at[i] is not None else None,
                at_given=given[i],
            )
            for i in range(count)
        )

    def rung(self, key: str, forming: Forming, era: bool) -> Rung:
        """One former with all that is said of it."""
        sheet = self.sheet
        length = trials.trial(sheet, forming, self.speed[-1:], sheet.consistency, self.band[0]).length
        disturbed = indicators_of(sheet, forming, float(self.machine.speed), float(sheet.consistency), self.band[0])
        said = library.table("ladder").get(key, {})
        return Rung(
            key=key,
            name=forming.former,
            branch=_branch(key),
            carrier=forming.carrier,
            transfers=int(forming.transfers),
            length=float(np.ravel(length)[0]),
            answers=self.answers(forming),
            speeds=self._speeds(forming),
            window=forming.window,
            gave_out=said.get("gave_out", ""),
            changed=said.get("changed", ""),
            belief=said.get("belief", ""),
            indicators=disturbed,
            reasons=reasons(disturbed),
            own_time=self._own_time(key, forming) if era else None,
            same_as="",
        )

    def _own_time(self, key: str, forming: Forming) -> OwnTime | None:
        """The former at the three speeds of its time, on the sheet, stock and wire's tension of its time."""
        era = library.era(key)
        if era is None:
            return None
        heavier = era.reel_grammage / float(self.machine.grade.reel_grammage)
        wire = self.sheet.wire
        if era.fabric_tension is not None:
            wire = dataclasses.replace(wire, fabric_tension=era.fabric_tension)
        sheet = dataclasses.replace(
            self.sheet, grammage=self.sheet.grammage * heavier, consistency=era.consistency_usual, wire=wire
        )
        speeds = (era.speed_low, era.speed_usual, era.speed_high)
        there = dataclasses.replace(forming, wire=wire)
        study = _Study(self.machine, sheet, speeds, self.band, self.caps)
        disturbed = indicators_of(sheet, there, era.speed_usual, era.consistency_usual, self.band[0])
        return OwnTime(
            era=era,
            grammage=float(sheet.grammage),
            answers=study.answers(there),
            indicators=disturbed,
            reasons=reasons(disturbed),
        )

    def _lowest(self, drained: float, i: int, enters: bool) -> Lowest:
        """The thickest of what drainage and each part of the supply ask for."""
        by_drainage = None if np.isnan(drained) else float(drained)
        below = by_drainage == trials.THINNEST
        if not enters:
            return Lowest(consistency=None, first="jet entry", drainage=by_drainage, below=below)
        for k, cap in enumerate(self.caps):
            if np.isnan(self.supplied[k, i]):
                return Lowest(consistency=None, first=cap.name, drainage=by_drainage, below=below)
        if by_drainage is None:
            return Lowest(consistency=None, first="drainage", drainage=None, below=False)
        found, first = by_drainage, "drainage"
        for k, cap in enumerate(self.caps):
            if self.supplied[k, i] > found:
                found, first = float(self.supplied[k, i]), cap.name
        return Lowest(consistency=found, first=first, drainage=by_drainage, below=below)

    def _states(self, forming: Forming, consistency: Array) -> list[State]:
        """The former at every speed, at one consistency each."""
        sheet, count = self.sheet, self.speed.size
        twice = slice(2 * count)
        both = trials.trial(
            sheet, forming, np.tile(self.speed, 2), np.tile(consistency, 2), self.factors[twice], self.memories[twice]
        )
        delivered = trials.delivery(sheet, self.machine, self.speed, consistency)
        length = np.broadcast_to(both.length, (2 * count,))
        end = np.where(both.formed, both.drained.dry_line / length, np.nan)
        first = forming.element[0]
        radius = first.roll_diameter / 2.0 if isinstance(first, FormingRoll) else np.nan
        held = self._held(forming)
        water = _shares(both)
        impulse = np.sum(both.drained.drainage_impulse, axis=(-2, -1))
        return [
            State(
                consistency=float(consistency[i]),
                formed=bool(both.formed[i]),
                end=_number(end[i]),
                end_slow=_number(end[count + i]),
                wrap=_number(both.drained.dry_line[i] / radius),
                wrap_slow=_number(both.drained.dry_line[count + i] / radius),
                flow_per_width=float(delivered.flow_per_width[i]),
                stock_depth=float(delivered.stock_depth[i]),
                jet_thickness=float(np.broadcast_to(delivered.jet_thickness, (count,))[i]),
                jet_power=float(delivered.jet_power[i]),
                fan_power=float(delivered.fan_power[i]),
                drainage_impulse=float(impulse[i]),
                dryness_leaving=float(both.drained.dryness_leaving[i]),
                time_available=float(length[i] / self.speed[i]),
                water=tuple((name, float(water[i, k])) for k, (name, _, _) in enumerate(both.rows)),
                deeper_than_held=bool(delivered.stock_depth[i] > held[i]),
            )
            for i in range(count)
        ]

    def _held(self, forming: Forming) -> Any:
        """Deepest stock that the tension round the first roll can turn; inf without a roll."""
        roll = next((e for e in forming.element if isinstance(e, FormingRoll)), None)
        if roll is None:
            return np.full(self.speed.shape, np.inf)
        return drainage.stock_depth_held_forming_roll(
            roll.fabric_tension, self.sheet.wire.fabric_mass, self.speed, self.sheet.density
        )

    def _closed_form(self, forming: Forming, consistency: Array) -> list[float | None]:
        """The closed form with the impulse of the march; it leaves out fabric inertia and the water in the mat."""
        sheet = self.sheet
        sure = np.isfinite(consistency) & (consistency > trials.THINNEST)
        at = np.where(sure, consistency, float(sheet.consistency))
        run = trials.trial(sheet, forming, self.speed, at, self.band[0], self.memories[0])
        impulse, resistance, sides = _pressed(run, self.speed, sheet)
        viscous, _ = sheet.wire.resistance()
        answer = drainage.consistency_dilution_limit(
            impulse, sheet.viscosity, viscous, self.band[0] * resistance, sheet.grammage, sides, sheet.retention,
            sheet.density, np.inf,
        )  # fmt: skip
        return [float(c) if good else None for c, good in zip(answer, sure, strict=True)]

    def _speeds(self, forming: Forming) -> SpeedRange:
        """How fast at the given consistency."""
        consistency = float(self.sheet.consistency)
        fast, slow, packed = trials.speed_intervals(self.sheet, forming, consistency, *self.ends)
        order = np.argsort(self.fastest, kind="stable")
        supply = tuple((self.caps[k].name, float(self.fastest[k])) for k in order)
        highest, first = _first_speed(fast, supply)
        highest_slow, first_slow = _first_speed(slow, supply)
        window = forming.window.speed_high
        return SpeedRange(
            consistency=consistency,
            intervals=fast,
            intervals_slow=slow,
            intervals_packed=packed,
            supply=supply,
            highest=highest,
            first=first,
            highest_slow=highest_slow,
            first_slow=first_slow,
            window_high=float(window) if window < 60.0 else None,
        )


def _first_speed(
    intervals: tuple[tuple[float, float], ...], supply: tuple[tuple[str, float], ...]
) -> tuple[float | None, str]:
    """The highest speed at which the former drains and the supply suffices, and what stops it."""
    name, most = supply[0] if supply else ("", math.inf)
    if not intervals:
        return None, "drainage"
    for low, high in reversed(intervals):
        top = math.inf if high >= trials.FASTEST else high
        if low > most:
            continue
        if top <= most:
            return top, "drainage" if math.isfinite(top) else "nothing"
        return most, name
    return None, name


def _shares(run: Trial) -> Any:
    """Share of the drained water per listed element."""
    water = np.asarray(run.drained.white_water)
    total = water.sum(axis=(-2, -1))
    parts = np.stack([water[:, a:b].sum(axis=(-2, -1)) for _, a, b in run.rows], axis=-1)
    return parts / np.where(total > 0, total, 1.0)[:, None]


def _pressed(run: Trial, speed: Array, sheet: Sheet) -> tuple[Any, Any, Any]:
    """Impulse of a side, specific resistance at the pressures that made it, and the number of sides that drain.

    Filtrate against a mat alone grows with the square root of impulse over resistance, so 1/resistance is averaged.
    """
    impulse = np.asarray(run.drained.drainage_impulse)
    per_side = impulse.sum(axis=1)
    weighted = np.zeros(speed.shape)
    for e, element in enumerate(run.elements):
        dwell = np.broadcast_to(np.asarray(element.length, dtype=float) / speed, speed.shape)
        for side, law in enumerate((element.wire_side, element.back_side)):
            if law is None:
                continue
            load = np.broadcast_to(np.asarray(law.load, dtype=float), speed.shape)
            with np.errstate(invalid="ignore", divide="ignore"):
                pressure = np.where(dwell > 0, impulse[:, e, side] / dwell, load)
            alpha = mat.specific_filtration_resistance_power(
                np.maximum(pressure, 1e-9), sheet.resistance, sheet.stock.resistance_exponent
            )
            weighted = weighted + impulse[:, e, side] / alpha
    total = per_side.sum(axis=-1)
    two = np.min(per_side, axis=-1) > 0.1 * np.max(per_side, axis=-1)
    sides = np.where(two, 2.0, 1.0)
    return total / sides, total / np.where(weighted > 0, weighted, 1.0), sides


def _practice(window: StabilityWindow, speed: float) -> str:
    if speed < window.speed_low:
        return phrase("studies.ladder.slower_than_practice_runs_it")
    if speed > window.speed_high:
        return phrase("studies.ladder.faster_than_practice_runs_it")
    return "inside"


def _branch(key: str) -> str:
    if key == OWN:
        return "own"
    if key == "inclined_wire":
        return "side branch"
    return "ladder" if key in library.NINE else "variant"


def _number(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


__all__ = ["BAND", "NO_LIMIT", "SPEEDS", "Answer", "Ladder", "Lowest", "Rung", "SpeedRange", "State", "formers", "jet"]
