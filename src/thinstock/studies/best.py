"""The setting that makes one result least or most, inside every limit that was entered.

A search over ranges by even points, then closer and closer round the best. It never passes a limit, never moves what
may hurt people or a vessel where its limit is not known, and leaves vacuums, felt boxes and showers alone unless the
felt's saturation in the nip is kept below 0.95. What the models cannot see is listed with the answer.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Fault, NotFound, Refused
from thinstock.evidence.cases import Cases, run_cases
from thinstock.evidence.outputs import checked, label, numbers
from thinstock.formula.label import Array
from thinstock.machine.limits import words_of
from thinstock.machine.line import Machine
from thinstock.machine.numbers import number
from thinstock.studies.machine_axes import Varied, unlimited
from thinstock.studies.plan import chunk_inputs, sobol_plan
from thinstock.words.fault import fault_in
from thinstock.words.note import Note
from thinstock.words.phrase import phrase

POINTS = 4096
ROUNDS = 5
FULL = 0.95
"""Nip saturation that counts as a nearly full felt."""
NEAR = 0.02
"""Share of a limit, or of a range, within which the answer is said to lean on it."""
WATER_TAKERS = re.compile(r"vacuum|shower|\.boxes\.|felt_boxes")
KEEPER = "nip_saturation"


@dataclass(frozen=True, kw_only=True)
class Constraint:
    """A result that must stay on one side of a number (SI)."""

    result: str
    at_most: bool
    bound: float


@dataclass(frozen=True, kw_only=True)
class Best:
    """The best setting found."""

    result: str
    sought: str
    """least or most"""
    setting: Mapping[str, float]
    value: float
    before: float
    """The result with the machine as it is."""
    others: Mapping[str, tuple[float, float]]
    """Other numbers before and after."""
    idle: tuple[str, ...]
    """Varied values that do not move the result; they stand where they stood."""
    leans_on: tuple[str, ...]
    """Limits, constraints and ends of ranges the answer pushes against."""
    blind_spots: tuple[str, ...]
    cases: int
    feasible: int
    held_back: Mapping[str, int]
    """How many of the first points each limit or failing held back."""
    machine: Machine


def constraint(machine: Machine, text: str) -> Constraint:
    """A constraint as one writes it: "nip_saturation <= 0.95", a plain number or one with a unit."""
    from thinstock.words import nomenclature, units

    found = re.fullmatch(r"\s*([\w.]+)\s*(<=|>=|<|>)\s*(.+?)\s*", text)
    if found is None:
        raise Refused(
            fault_in("studies.best.keep", "--keep", repr(text))
        )  # fmt: skip
    (name,) = checked(machine.run(), [found[1]])
    word = number(name).word
    kind = nomenclature.word(word).kind if word else "number"
    try:
        bound = units.parse(found[3], kind, field=name)
    except units.UnitError as wrong:
        raise Refused(Fault(field=name, value=wrong.given, bound=wrong.reason, remedy=f"{wrong.remedy}.")) from None
    return Constraint(result=name, at_most=found[2].startswith("<"), bound=bound)


def best(
    machine: Machine,
    varies: Sequence[Varied],
    result: str,
    *,
    most: bool = False,
    keep: Sequence[Constraint] = (),
    points: int = POINTS,
    seed: int = 1,
) -> Best:
    """The setting inside the ranges with the least (or most) of a result."""
    present = machine.run()
    (name,) = checked(present, [result])
    if name not in numbers(present):
        raise Refused(fault_in("studies.best.no_named_number_run", name))
    _may_be_moved(machine, varies, keep)
    watched = tuple(dict.fromkeys([name, KEEPER, *(k.result for k in keep)]))
    search = _Search(machine, varies, name, most, keep, watched)
    search.round(points, [one.ends for one in varies], seed)
    first, held_back = search.feasible, dict(search.held_back)
    if search.best is None:
        raise _nothing(search, held_back)
    for turn in range(1, ROUNDS + 1):
        search.round(points // 4, search.around(0.35**turn), seed + turn)
    idle = search.settled()
    assert search.best is not None
    changed = machine.with_(search.best)
    after = changed.run()
    found = search.at(search.best)
    return Best(
        result=name,
        sought="most" if most else "least",
        setting=dict(search.best),
        value=float(after.values[name]),
        before=float(present.values.get(name, np.nan)),
        others={
            n: (float(present.values.get(n, np.nan)), float(after.values[n]))
            for n in ("production", "dryness_press", KEEPER, "gas_per_product", "steam_per_product",
                      "electricity_per_product", "flow_per_width")
            if n in numbers(after) and n != name
        },
        idle=idle,
        leans_on=tuple(_leans(search, found, varies, keep)),
        blind_spots=tuple(_blind(after.notes, varies)),
        cases=search.cases,
        feasible=first,
        held_back={what: count for what, count in held_back.items() if count},
        machine=changed,
    )  # fmt: skip


def _may_be_moved(machine: Machine, varies: Sequence[Varied], keep: Sequence[Constraint]) -> None:
    """Refuse ranges a search must not have."""
    faults = []
    guarded = any(k.result == KEEPER and k.at_most and k.bound <= FULL for k in keep)
    for one in varies:
        if one.values is not None or one.believed is not None:
            faults.append(
                fault_in("studies.best.search_needs_range_without_count", one.address)
            )  # fmt: skip
        if unlimited(machine, one.address):
            faults.append(
                fault_in("studies.best.its_limit_not_given_search", one.address, address=one.address)
            )  # fmt: skip
        if WATER_TAKERS.search(one.address) and not guarded:
            faults.append(
                fault_in("studies.best.press_model_hardly_sees_vacuums", one.address, keeper=KEEPER, full=FULL)
            )
    if faults:
        raise Refused(faults)


class _Search:
    """The points tried so far and the best of them."""

    def __init__(
        self,
        machine: Machine,
        varies: Sequence[Varied],
        name: str,
        most: bool,
        keep: Sequence[Constraint],
        watched: tuple[str, ...],
    ) -> None:
        self.machine, self.varies, self.name, self.keep, self.watched = machine, varies, name, keep, watched
        self.sign = -1.0 if most else 1.0
        self.best: dict[str, float] | None = None
        self.score = np.inf
        self.cases = self.feasible = 0
        self.held_back: dict[str, int] = {}

    def round(self, points: int, ends: Sequence[tuple[float, float]], seed: int) -> None:
        """Try even points in a box; keep the best that is allowed."""
        from thinstock.evidence.distributions import Rectangular

        axes: dict[str, Any] = {
            one.address: Rectangular(low, high) if low < high else (low,)
            for one, (low, high) in zip(self.varies, ends, strict=True)
        }
        plan = sobol_plan(axes, points, seed)
        inputs = chunk_inputs(plan, 0, points)
        if self.best is not None:
            inputs = {where: np.append(column, self.best[where]) for where, column in inputs.items()}
        found = run_cases(self.machine, inputs, self.watched, margins=True)
        allowed = self.allowed(found)
        self.cases += len(found)
        self.feasible = int(np.sum(allowed))
        score = np.where(allowed, self.sign * found[self.name], np.inf)
        score = np.where(np.isfinite(score), score, np.inf)
        place = int(np.argmin(score))
        if score[place] < self.score:
            self.score = float(score[place])
            self.best = {where: float(column[place]) for where, column in inputs.items()}

    def allowed(self, found: Cases) -> Any:
        """Cases that run, inside all limits and constraints; counts what holds the others back."""
        usable = found.usable
        self.held_back = {
            phrase("studies.best.cannot_be_built"): int(np.sum(~found.flags["possible"])),
            phrase("studies.best.no_sheet"): int(np.sum(found.flags["possible"] & ~found.flags["formed"])),
            phrase("studies.best.cannot_be_dried"): int(np.sum(found.flags["formed"] & ~found.flags["reached"])),
        }
        for part, margin in found.margins.items():
            self.held_back[f"limit: {words_of(part)}"] = int(np.sum(usable & (margin < 0)))
        allowed = usable & ~found.beyond
        for one in self.keep:
            value = found[one.result]
            kept = value <= one.bound if one.at_most else value >= one.bound
            self.held_back[f"kept: {one.result}"] = int(np.sum(usable & ~kept))
            allowed = allowed & kept
        return allowed

    def around(self, share: float) -> list[tuple[float, float]]:
        """A smaller box round the best, inside the ranges."""
        assert self.best is not None
        boxes = []
        for one in self.varies:
            low, high = one.ends
            half = 0.5 * share * (high - low)
            middle = self.best[one.address]
            boxes.append((max(low, middle - half), min(high, middle + half)))
        return boxes

    def settled(self) -> tuple[str, ...]:
        """Put back what does not move the result: the same to a ten-thousandth, and still allowed."""
        assert self.best is not None
        idle = []
        for one in self.varies:
            now = float(self.machine.get(one.address))
            trial = {**self.best, one.address: now}
            found = self.at(trial)
            worse = self.sign * float(found[self.name][0]) - self.score
            if bool(self.allowed(found)[0]) and worse <= 1e-4 * abs(self.score):
                self.best = trial
                idle.append(one.address)
        return tuple(idle)

    def at(self, setting: Mapping[str, float]) -> Cases:
        """One setting."""
        values: dict[str, Array] = {where: np.full(1, value) for where, value in setting.items()}
        return run_cases(self.machine, values, self.watched, margins=True)


def _nothing(search: _Search, held_back: Mapping[str, int]) -> NotFound:
    worst = sorted(((n, what) for what, n in held_back.items() if n), reverse=True)[:3]
    why = "; ".join(f"{what} in {n} of {search.cases}" for n, what in worst)
    return NotFound(
        fault_in("studies.best.no_setting_in_these_ranges", search.name, why=why),
        obstacle="; ".join(what for _, what in worst),
    )  # fmt: skip


def _leans(search: _Search, found: Cases, varies: Sequence[Varied], keep: Sequence[Constraint]) -> list[str]:
    """What holds the answer where it is: first what a step further would break."""
    assert search.best is not None
    texts = _binding(search, varies)
    for one in varies:
        low, high = one.ends
        value = search.best[one.address]
        for end, word in ((low, "lower"), (high, "upper")):
            if abs(value - end) <= NEAR * (high - low):
                texts.append(phrase("studies.best.stands_at_end_its_range", address=one.address, word=word))
    for part, margin in found.margins.items():
        if 0 <= float(margin[0]) <= NEAR:
            texts.append(phrase("studies.best.within_its_limit", words_of=words_of(part), value=f"{100 * NEAR:.0f}"))
    for k in keep:
        if abs(float(found[k.result][0]) - k.bound) <= NEAR * abs(k.bound):
            texts.append(phrase("studies.best.at_what_to_be_kept", label=label(k.result)))
    saturation = float(found[KEEPER][0])
    if saturation > FULL - 0.05:
        texts.append(phrase("studies.best.felt_nearly_full_in_nip", saturation=f"{saturation:.2f}"))
    return texts


def _binding(search: _Search, varies: Sequence[Varied]) -> list[str]:
    """What binds: of each value moved a little further, to where the result would be better, what then fails."""
    assert search.best is not None
    texts = []
    for one in varies:
        low, high = one.ends
        for sign in (1.0, -1.0):
            there = search.best[one.address] + sign * 0.5 * NEAR * (high - low)
            if not low <= there <= high:
                continue
            found = search.at({**search.best, one.address: there})
            value = search.sign * float(found[search.name][0])
            if bool(search.allowed(found)[0]) or (np.isfinite(value) and value >= search.score):
                continue
            for what in (what for what, count in search.held_back.items() if count):
                texts.append(phrase("studies.best.binds", what=what.removeprefix("limit: "), address=one.address))
    return list(dict.fromkeys(texts))


_SPOTS = {
    "press": re.compile(r"^(vacuum|press|loop|forming|stock|headbox)\b"),
    "Yankee": re.compile(r"^(stock|headbox|forming|grade)\b"),
}
"""Whose blind spot a varied value pushes against."""


def _blind(notes: Sequence[Note], varies: Sequence[Varied]) -> list[str]:
    """What the models do not see of the values that were moved."""
    texts = [
        note.text
        for note in notes
        if note.level == "blind spot"
        and any(_SPOTS.get(note.part, re.compile("")).match(one.address) for one in varies)
    ]
    if any(one.address.startswith(("headbox.", "stock.", "forming.")) for one in varies):
        texts.append(phrase("studies.best.how_even_sheet_was_not"))
    if any("slope" in one.address or "foil" in one.address for one in varies):
        texts.append(phrase("studies.best.foils_steeper_than_about_not"))
    texts += [note.text for note in notes if note.level == "assumed"]
    return list(dict.fromkeys(texts))
