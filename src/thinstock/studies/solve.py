"""Which value of one setting gives a wanted result: a scan over all it may take, then false position, in array runs.

Where there is no answer it says so, with the nearest that can be reached. The unknown never passes a limit that was
entered for it, nor the headbox its pressure limit; where people or a vessel are at stake and the limit is not given
nothing is searched at all. Limits of other parts that are passed at the answer are named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Fault, NotFound, Refused
from thinstock.formula.label import worksheet
from thinstock.machine.limits import limits
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.studies.solve_evenness import CONSISTENCY, MEASURES, dilute_to, measured, word_of
from thinstock.studies.solve_unknown import limit_of, unknown
from thinstock.studies.spans import brackets, spaced
from thinstock.words import nomenclature, units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q, show

POINTS = 49
"""Values of a scan over the whole range; as many again over the usual one."""
TURN = 12
"""Values laid over a turn of the result, its ends included."""
STILL = 1e-9
"""Relative move of a result that is none."""
HARDLY = 0.05
"""Where all that a setting moves is less than this share of what is missing, it is told that it hardly moves it."""
CLOSE = 1e-6
"""Relative distance from the wanted value that counts as reached."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Solved:
    """The answer: this value of this setting gives that result."""

    address: str
    value: float
    text: str
    """The value as a machine file holds it."""
    name: str
    wanted: float
    reached: float
    before: float | None
    """The result as the machine was."""
    machine: Machine
    """The machine with the answer in it."""
    result: Result
    others: tuple[float, ...]
    """Near other answers, if the same result is reached elsewhere too."""
    searched: tuple[float, float]
    passed: tuple[str, ...]
    """Limits that are passed at the answer, in words."""
    notes: tuple[str, ...]

    def record(self) -> dict[str, Any]:
        """Plain data in base SI."""
        return {
            "address": self.address,
            "value": self.value,
            "text": self.text,
            "result": self.name,
            "wanted": self.wanted,
            "reached": self.reached,
            "before": self.before,
            "others": list(self.others),
            "searched": list(self.searched),
            "passed": list(self.passed),
            "notes": list(self.notes),
        }


def solve(machine: Machine, unknown_address: str, aim: str | tuple[str, float]) -> Solved:
    """The value at `unknown_address` with which a result of the run becomes what is wanted.

    Parameters
    ----------
    machine : Machine
        One case, as `thinstock.load` gives it; arrays are refused.
    unknown_address : str
        Address of the setting to find.
    aim : str or (str, float)
        Text such as "dryness_press = 42 %", or the name of a result and its value in base SI.

    Returns
    -------
    Solved
        The value in base SI, the machine with it, and what else moved.

    Raises
    ------
    Refused
        What may not be searched, or cannot be read.
    NotFound
        No value gives the result; the nearest that can be reached is named.

    Source: the formulas of the run.
    """
    if machine.cases() is not None:
        raise Refused(fault_in("studies.solve.machine", "machine", "arrays"))
    where, about = unknown(machine, unknown_address)
    with worksheet(False):
        base = machine.run()
    name, wanted = _aim(base, aim)
    search = _Search(machine, where, about, name, wanted, base)
    if name in MEASURES and where == CONSISTENCY:
        value, note = dilute_to(base, name, wanted)
        others: tuple[float, ...] = ()
        search.notes.append(note)
    else:
        value, others = search.find()
    answer = machine.with_({where: value})
    result = answer.run()
    reached = float(_read(result, name))
    return Solved(
        address=where,
        value=value,
        text=show(value, about),
        name=name,
        wanted=wanted,
        reached=reached,
        before=_finite(_read(base, name)),
        machine=answer,
        result=result,
        others=others,
        searched=search.range,
        passed=_passed(answer),
        notes=tuple(search.notes),
    )


# -- what is wanted ------------------------------------------------------------------------------------------------


def _aim(base: Result, aim: str | tuple[str, float]) -> tuple[str, float]:
    """Name of the result and the wanted value, SI."""
    if isinstance(aim, str):
        left, sign, right = aim.partition("=")
        name, raw = left.strip(), right.strip()
        if not sign or not name or not raw:
            raise Refused(
                fault_in("studies.solve.so_that", "so that", repr(aim))
            )  # fmt: skip
    else:
        name, raw = aim[0], ""
    value = _read(base, name)
    if isinstance(value, str | bool | np.bool_) or np.asarray(value).dtype.kind not in "fiu":
        raise Refused(fault_in("studies.solve.no_number_that_could_be", name, str(value)))
    if not raw:
        return name, float(aim[1])
    word = word_of(name)
    kind = nomenclature.word(word).kind if word else None
    try:
        return name, units.parse(raw, None if kind in nomenclature.PLAIN_KINDS else kind, field=name)
    except units.UnitError as wrong:
        raise Refused(Fault(field=name, value=repr(wrong.given), bound=wrong.reason, remedy=wrong.remedy)) from None


def _read(result: Result, name: str) -> Any:
    """A result by its name; a measure of evenness is worked out."""
    return measured(result, name)[()] if name in MEASURES else result[name]


def _finite(value: Any) -> float | None:
    if value is None or np.ndim(value) or np.asarray(value).dtype.kind not in "fiu":
        return None
    return float(value) if np.isfinite(value) else None


# -- the search ----------------------------------------------------------------------------------------------------


class _Search:
    """One search over one setting."""

    def __init__(self, machine: Machine, where: str, about: Q, name: str, wanted: float, base: Result) -> None:
        self.machine, self.where, self.about = machine, where, about
        self.name, self.wanted = name, wanted
        self.now = _finite(machine.get(where))
        self.notes: list[str] = []
        self.unheld: set[float] = set()
        self.end = phrase("studies.solve.range_that_possible")
        self.scale = max(abs(wanted), 1e-9)
        self.presses = self._pressure_matters(base)
        self.range = self._range()

    def _range(self) -> tuple[float, float]:
        """What the setting may take: possible, and below its limit."""
        low, high = self.about.possible
        center = self.now if self.now else (sum(self.about.usual) / 2 if self.about.usual else 1.0)
        low = low if math.isfinite(low) else -100 * abs(center)
        high = high if math.isfinite(high) else 100 * abs(center)
        beside = limit_of(self.machine, self.where)
        if beside is not None and beside[1] is not None and float(beside[1]) < high:
            high = float(beside[1])
            self.end = phrase("studies.solve.what_limit_allows", where=self.where)
        return low, high

    def _pressure_matters(self, base: Result) -> bool:
        """True where this setting moves the headbox pressure; refused if the headbox's limit is not given then."""
        if self.now is None:
            return False
        about = self.machine.declaration(self.where).about
        assert isinstance(about, Q)
        low, high = about.possible
        for factor in (1.01, 0.99):
            near = self.now * factor if self.now else 1e-3
            if not low <= near <= high:
                continue
            try:
                with worksheet(False):
                    moved = self.machine.with_({self.where: near}).run()
            except Refused:
                continue
            if abs(float(moved["headbox_head"]) / float(base["headbox_head"]) - 1) > 1e-9:
                if self.machine.headbox.headbox_pressure_limit is None:
                    raise Refused(
                        fault_in("studies.solve.moves_headbox_pressure_whose_limit", self.where)
                    )  # fmt: skip
                return True
            return False
        return False

    def _scan(self) -> Any:
        """Values to try first: over all that is possible, and closer where it is usual and where it stands now."""
        low, high = self.range
        parts = [spaced(low, high, POINTS)]
        if self.about.usual is not None:
            a, b = max(self.about.usual[0], low), min(self.about.usual[1], high)
            if b > a:
                parts.append(spaced(a, b, POINTS))
        if self.now is not None and low <= self.now <= high:
            parts.append(np.clip(np.array([0.97, 1.0, 1.03]) * self.now, low, high))
        return np.unique(np.concatenate(parts))

    def _allowed(self, values: Any) -> Any:
        """Those of the values that make a machine at all."""
        kept = []
        for value in values:
            try:
                self.machine.with_({self.where: float(value)})
            except Refused:
                continue
            kept.append(float(value))
        return np.array(kept)

    def _result(self, values: Any) -> Result | None:
        """One array run; None where the physics refuses at least one of the values (stock too thick to drain)."""
        try:
            with worksheet(False):
                return self.machine.with_({self.where: values}).run()
        except Refused:
            return None

    def _run(self, values: Any) -> Any:
        """Result less wanted at many values; nan where there is no number or the headbox pressure passes its limit."""
        result = self._result(values)
        if result is None:
            if values.size == 1:
                return np.full(values.shape, np.nan)
            half = values.size // 2
            return np.concatenate([self._run(values[:half]), self._run(values[half:])])
        raw = _read(result, self.name) if self.name in MEASURES else result.values.get(self.name)
        if raw is None:
            return np.full(values.shape, np.nan)
        found = np.broadcast_to(np.asarray(raw, dtype=float), values.shape) - self.wanted
        status = np.broadcast_to(np.asarray(result.values.get("hold_status", 0)), values.shape)
        self.unheld |= {float(v) for v, s in zip(values, status, strict=True) if s != 0}
        if self.presses:
            limit = float(self.machine.headbox.headbox_pressure_limit)
            too_high = np.broadcast_to(np.asarray(result["headbox_head"], dtype=float), values.shape) > limit
            if np.any(too_high):
                self.notes[:] = [
                    phrase("studies.solve.not_searched_where_headbox_pressure", limit=f"{limit / 1000.0:.4g}")
                ]
            found = np.where(too_high, np.nan, found)
        return found

    def find(self) -> tuple[float, tuple[float, ...]]:
        """The answer nearest to the present value, and where else there is one."""
        values = self._allowed(self._scan())
        if values.size < 2:
            raise Refused(fault_in("studies.solve.no_other_value_makes_machine", self.where))
        values, gaps = self._turns(*self._with_edges(values, self._run(values)))
        if (still := self._still(values, gaps)) is not None:
            return still, ()
        spans = brackets(values, gaps, CLOSE * self.scale)
        order = sorted(spans, key=self._distance)
        refined = [self._refine(low, high) for low, high in order]
        answers = [found for found in refined if found is not None]
        if not answers:
            raise self._not_found(values, gaps)
        held = [found for found in answers if found not in self.unheld]
        if not held:
            self.notes.append(phrase("studies.solve.reel_dryness_not_held_at"))
            return answers[0], tuple(answers[1:])
        return held[0], tuple(held[1:])

    def _held(self, values: Any, gaps: Any) -> Any:
        """Values with a result at which what is held is held; all with a result where none is."""
        fine = np.isfinite(gaps)
        held = fine & np.array([float(v) not in self.unheld for v in values])
        return held if np.any(held) else fine

    def _still(self, values: Any, gaps: Any) -> float | None:
        """The present value, where the result is as wanted whatever the setting is: it does not move it."""
        good = self._held(values, gaps)
        if self.now is None or not np.any(good) or np.ptp(gaps[good]) > STILL * self.scale:
            return None
        if float(np.max(np.abs(gaps[good]))) > CLOSE * self.scale:
            return None
        self.notes.append(phrase("studies.solve.as_wanted_already", where=self.where))
        return self.now

    def _turns(self, values: Any, gaps: Any) -> tuple[Any, Any]:
        """The scan with more values where the result turns towards the wanted one: a pair of answers may lie there."""
        size = np.abs(gaps)
        more = []
        for k in range(1, len(values) - 1):
            three = gaps[k - 1 : k + 2]
            if np.all(np.isfinite(three)) and size[k] <= min(size[k - 1], size[k + 1]) and np.ptp(np.sign(three)) == 0:
                more.append(np.linspace(values[k - 1], values[k + 1], TURN)[1:-1])
        if not more:
            return values, gaps
        extra = self._allowed(np.setdiff1d(np.concatenate(more), values))
        if not extra.size:
            return values, gaps
        merged = np.concatenate([values, extra])
        order = np.argsort(merged, kind="stable")
        return merged[order], np.concatenate([gaps, self._run(extra)])[order]

    def _with_edges(self, values: Any, gaps: Any) -> tuple[Any, Any]:
        """The scan with the last values that still have a result, where the next one has none."""
        found: list[tuple[float, float]] = []
        for k in range(len(values) - 1):
            if np.isfinite(gaps[k]) == np.isfinite(gaps[k + 1]):
                continue
            good, bad = (k, k + 1) if np.isfinite(gaps[k]) else (k + 1, k)
            inside, outside, gap = float(values[good]), float(values[bad]), float(gaps[good])
            for _ in range(6):
                points = np.linspace(inside, outside, 9)[1:-1]
                tried = self._run(points)
                fine = np.flatnonzero(np.isfinite(tried))
                last = int(fine[-1]) if fine.size else -1
                outside = float(points[last + 1]) if last + 1 < len(points) else outside
                if last >= 0:
                    inside, gap = float(points[last]), float(tried[last])
            found.append((inside, gap))
        if not found:
            return values, gaps
        merged = np.concatenate([values, [v for v, _ in found]])
        order = np.argsort(merged, kind="stable")
        return merged[order], np.concatenate([gaps, [g for _, g in found]])[order]

    def _distance(self, span: tuple[float, float]) -> float:
        if self.now is None:
            return abs(span[0])
        if span[0] <= self.now <= span[1]:
            return 0.0
        return min(abs(span[0] - self.now), abs(span[1] - self.now))

    def _refine(self, low: float, high: float) -> float | None:
        """False position with a few even points beside it, all in one array run a step; None at a jump."""
        if low == high:
            return low
        g_low, g_high = self._run(np.array([low, high]))
        for _ in range(12):
            guess = low - g_low * (high - low) / (g_high - g_low)
            width = 0.02 * (high - low)
            beside = np.array([guess - width, guess, guess + width])
            points = np.unique(np.concatenate([np.linspace(low, high, 6), np.clip(beside, low, high)]))
            gaps = self._run(points)
            best = int(np.nanargmin(np.abs(gaps)))
            if abs(gaps[best]) <= CLOSE * self.scale:
                return float(points[best])
            spans = brackets(points, gaps, 0.0)
            if not spans:
                return None
            low, high = spans[0]
            g_low, g_high = gaps[np.searchsorted(points, [low, high])]
            if high - low <= 1e-12 * max(abs(low), abs(high)):
                break
        return None

    def _not_found(self, values: Any, gaps: Any) -> NotFound:
        """Why there is no answer, and the nearest that can be reached."""
        word = word_of(self.name)

        def told(value: float) -> str:
            return units.write_word(word, value) if word else f"{value:.4g}"

        sought = told(self.wanted)
        fine = np.isfinite(gaps)
        if not np.any(fine):
            return NotFound(
                fault_in("studies.solve.cannot_be_reached_by_at", self.name, sought, where=self.where),
                obstacle="no result",
            )  # fmt: skip
        results = gaps[self._held(values, gaps)] + self.wanted
        if np.ptp(results) <= STILL * max(self.scale, float(np.max(np.abs(results)))):
            return NotFound(
                fault_in(
                    "studies.solve.not_moved_by_it_stays",
                    self.name,
                    sought,
                    where=self.where,
                    told=told(float(results[0])),
                ),
                nearest={self.name: float(results[0])},
                obstacle=self.where,
            )
        fine = self._held(values, gaps)
        best = float(values[fine][int(np.argmin(np.abs(gaps[fine])))])
        best, gap = self._nearest(best, values)
        obstacle = phrase("studies.solve.end", end=self.end) if best == self.range[1] else ""
        obstacle = phrase("studies.solve.lowest_that_possible") if best == self.range[0] else obstacle
        obstacle = obstacle or self._beyond(best, values, gaps)
        why = f", {obstacle}" if obstacle else ""
        low, high = float(np.min(results)), float(np.max(results))
        if high - low < HARDLY * abs(self.wanted - (gap + self.wanted)):
            why += phrase("studies.solve.hardly", low=told(low), high=told(high))
        remedy = " ".join(self.notes) or phrase("studies.solve.change_something_else_first_or")
        nearest = phrase("studies.solve.nearest_at", told=told(gap + self.wanted), best=show(best, self.about), why=why)
        bound = phrase("studies.solve.cannot_be_reached_by", where=self.where, nearest=nearest)
        return NotFound(
            Fault(field=self.name, value=sought, bound=bound, remedy=remedy),
            nearest={self.name: gap + self.wanted, self.where: best},
            obstacle=obstacle,
        )

    def _beyond(self, best: float, values: Any, gaps: Any) -> str:
        """What stands in the way just beyond the nearest value that can be reached."""
        over = _passed(self.machine.with_({self.where: best}))
        if over:
            return ", ".join(over)
        beside = [
            k
            for k in (np.searchsorted(values, best) - 1, np.searchsorted(values, best, "right"))
            if 0 <= k < len(values)
        ]
        if any(float(values[k]) in self.unheld for k in beside):
            return phrase("studies.solve.beyond_held", part=phrase("limits.part.drying"))
        return phrase("studies.solve.beyond_none") if any(not np.isfinite(gaps[k]) for k in beside) else ""

    def _nearest(self, best: float, values: Any) -> tuple[float, float]:
        """The value that comes nearest and holds what is held, closer than the scan."""
        held, points = best not in self.unheld, values
        for _ in range(3):
            k = int(np.searchsorted(points, best))
            low, high = float(points[max(k - 1, 0)]), float(points[min(k + 1, len(points) - 1)])
            points = np.unique(np.concatenate([np.linspace(low, high, 21), [best]]))
            gaps = self._run(points)
            if held:
                gaps = np.where([float(v) not in self.unheld for v in points], gaps, np.nan)
            at = int(np.nanargmin(np.abs(gaps)))
            best, gap = float(points[at]), float(gaps[at])
        return best, gap


def _passed(machine: Machine) -> tuple[str, ...]:
    """Limits that the machine passes, in words."""
    with worksheet(False):
        over = limits(machine).over
    return tuple(
        phrase("studies.solve.good_for_m_min_only", part=row.part, speed=f"{row.speed * 60:.0f}", status=row.status)
        if row.speed is not None and row.scope != "lowest"
        else phrase("studies.solve.passed", part=row.part, share=row.used, status=row.status)
        for row in over
    )
