"""How sure a machine's numbers are, by Monte Carlo over its uncertain inputs, beside the first-order estimate.

For one machine, or for the difference of two: there both sides get the same draws, so that what they share cancels.
Draws that give no sheet, cannot be dried as wanted or cannot be built are counted and told. The uncertainty of the
models' form is not in it. Source: JCGM_101. Status: from memory, checked against its printed examples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.apply import beside, columns, population
from thinstock.evidence.cases import BATCH, Cases, run_cases
from thinstock.evidence.inputs import Correlation, check_inputs, correlation_matrix
from thinstock.evidence.links import groups_of
from thinstock.evidence.outputs import checked, label, numbers
from thinstock.evidence.population import AS_BELIEVED, DRAWS, Population, Streams, population_of
from thinstock.formula.label import Array
from thinstock.kernels.compiled import can_compile
from thinstock.machine.line import Machine
from thinstock.machine.numbers import headline
from thinstock.studies.first_order import by_slopes, difference_by_slopes
from thinstock.studies.intervals import SHARE, central_interval, position_in_draws
from thinstock.studies.propagate import DISAGREE, _tolerance, interval_shortest, interval_symmetric
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

FEWEST = 200
"""Usable draws below which no interval is given."""
MOST = 400_000
MIDDLE = (0.25, 0.75)
"""Places in the draws outside of which the machine as it stands is said to be off their middle."""
FORM = phrase("studies.machine_uncertainty.uncertainty_models_form_not_included")


@dataclass(frozen=True, kw_only=True)
class Sampling:
    """How inputs are drawn: with `draws`, so many; else batches until every number stands firm.

    That is where mean, uncertainty and both ends hold in `digits` digits of the uncertainty, or `most` is reached.
    """

    draws: int | None = None
    seed: int = 1
    share: float = 0.95
    digits: int = 1
    batch: int = BATCH
    most: int = MOST


Tell = Callable[[float, str], None]


@dataclass(frozen=True, kw_only=True)
class Spread:
    """One result, or one difference, with its uncertainty."""

    name: str
    value: float
    """At the inputs as they stand."""
    mean: float
    standard_uncertainty: float
    shortest: tuple[float, float]
    symmetric: tuple[float, float]
    first_order: float
    """Standard uncertainty by slopes alone."""
    draws: int
    """Draws that gave a number."""
    settled: bool
    median: float = math.nan
    low: float = math.nan
    high: float = math.nan
    """Ends of the central 90 % of the draws."""
    position: float = math.nan
    """Share of the draws below the value at the inputs as they stand."""

    @property
    def off_middle(self) -> str:
        """That the machine as it stands is not in the middle of its draws."""
        if not math.isfinite(self.position) or MIDDLE[0] <= self.position <= MIDDLE[1]:
            return ""
        place = f"{100 * self.position:.0f}"
        return phrase("studies.machine_uncertainty.off_middle_one", name=label(self.name), place=place)

    @property
    def disagrees(self) -> bool:
        """Whether Monte Carlo and slopes differ by more than 10 %."""
        gap = abs(self.first_order - self.standard_uncertainty)
        return bool(gap > DISAGREE * self.standard_uncertainty and self.standard_uncertainty > 0)


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """What the draws gave."""

    rows: tuple[Spread, ...]
    draws: int
    share: float
    seed: int
    settled: bool
    counts: Mapping[str, Mapping[str, int]]
    """Per machine ("machine", or "before" and "after"): how many draws were not possible, not formed, too wet ..."""
    inputs: tuple[str, ...]
    common: int
    """Inputs both machines share."""
    correlation: Mapping[tuple[str, str], float] = field(default_factory=dict)
    origin: str = AS_BELIEVED
    """Of the population: "as believed", "runs" or "as read"."""
    said: tuple[str, ...] = ()
    """What is to be known of the population."""
    central: float = SHARE
    """Share of the draws between `low` and `high`."""

    def __getitem__(self, name: str) -> Spread:
        for row in self.rows:
            if row.name == name:
                return row
        raise Refused(fault_in("studies.machine_uncertainty.not_among_results_this_study", name))

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know of it."""
        found = [phrase(f"studies.machine_uncertainty.origin.{self.origin.replace(' ', '_')}"), *self.said]
        found += [text for side, counted in self.counts.items() for text in in_words(side, counted, self.draws)]
        off = [row.off_middle for row in self.rows if row.off_middle]
        if off:
            found.append(phrase("studies.machine_uncertainty.off_middle", names="; ".join(off)))
        if not self.settled:
            slow = [row.name for row in self.rows if not row.settled]
            found.append(
                phrase("studies.machine_uncertainty.after_draws_digits_do_not", draws=self.draws, slow=", ".join(slow))
            )
        bent = [row.name for row in self.rows if row.disagrees]
        if bent:
            found.append(phrase("studies.machine_uncertainty.slopes_monte_carlo_differ_by", bent=", ".join(bent)))
        return (*found, FORM)


def in_words(side: str, counted: Mapping[str, int], draws: int) -> list[str]:
    """The draws that went wrong, in words (`side` is "machine", or one of two whose difference is taken)."""
    who = {"machine": "", "before": " before", "after": " after"}.get(side, f" {side}")
    texts = {
        "impossible": phrase("studies.machine_uncertainty.cannot_be_built_rule_between"),
        "no sheet": phrase("studies.machine_uncertainty.give_no_sheet")
        + (
            phrase("studies.machine_uncertainty.they_left_out")
            if who
            else phrase("studies.machine_uncertainty.numbers_behind_former_without_them")
        ),
        "too wet": phrase("studies.machine_uncertainty.cannot_be_dried_as_wanted")
        + (
            phrase("studies.machine_uncertainty.they_left_out_since_difference")
            if who
            else phrase("studies.machine_uncertainty.their_numbers_those_with_what")
        ),
        "over-dried": phrase("studies.machine_uncertainty.over_dried_with_what_holds"),
        "outside": phrase("studies.machine_uncertainty.leave_stated_range_formula"),
    }
    return [
        f"{count} of {draws} draws{who} ({100 * count / draws:.2g} %) {texts[what]}"
        for what, count in counted.items()
        if count
    ]


def counted(cases: Cases) -> dict[str, int]:
    """How many cases went wrong, and how."""
    flags = cases.flags
    possible, formed, reached = flags["possible"], flags["formed"], flags["reached"]
    return {
        "impossible": int(np.sum(~possible)),
        "no sheet": int(np.sum(possible & ~formed)),
        "too wet": int(np.sum(formed & ~reached)),
        "over-dried": int(np.sum(flags["over_dried"])),
        "outside": int(np.sum(formed & ~flags["in_range"])),
    }


def monte_carlo(
    machine: Machine,
    other: Machine | None = None,
    *,
    names: Iterable[str] | None = None,
    sampling: Sampling = Sampling(),
    correlation: Correlation | None = None,
    tell: Tell | None = None,
) -> Uncertainty:
    """Uncertainty of a machine's numbers, or of other − machine, over their uncertain inputs.

    `correlation` joins inputs, {(address, address): r}. Where the number of draws is left open it is drawn until the
    digits stand; a machine that was read, and any where the compiler is not installed, gets a thousand.
    """
    runs = (machine,) if other is None else (machine, other)
    results = [one.run() for one in runs]
    wanted = _wanted(results, names)
    source = _Source(runs, wanted, correlation, sampling)
    draws, share = sampling.draws, sampling.share
    if draws is None and (source.fixed or not can_compile()):
        draws = DRAWS
    if draws is None:
        parts, settled = _until_firm(source, wanted, sampling, tell)
    else:
        if draws < FEWEST:
            raise Refused(fault_in("studies.machine_uncertainty.must_be_at_least", "draws", str(draws), fewest=FEWEST))
        parts, settled = [], dict.fromkeys(wanted, True)
        draws = source.most(draws)
        for start in range(0, draws, sampling.batch):
            parts.append(source.draw(min(sampling.batch, draws - start)))
            if tell is not None:
                tell(min(1.0, source.drawn / draws), f"{source.drawn} draws")
    sample = {name: np.concatenate([part[name] for part in parts]) for name in wanted}
    linear = dict.fromkeys(wanted, math.nan) if source.fixed else _first_order(runs, wanted, correlation)
    values = {name: _value(results, name) for name in wanted}
    coarse = [one.run(fast=True) for one in runs]
    sample = {n: sample[n] + (values[n] - _value(coarse, n)) for n in wanted}
    rows = [_row(n, sample[n], values[n], linear[n], share, settled[n]) for n in wanted]
    return Uncertainty(
        rows=tuple(row for row in rows if row is not None),
        draws=source.drawn,
        share=share,
        seed=sampling.seed,
        settled=all(settled.values()),
        counts=source.counts,
        inputs=source.inputs,
        common=source.common,
        correlation=dict(correlation or {}),
        origin=source.whole.origin,
        said=tuple(note.text for note in source.whole.notes),
    )


def _value(results: list[Any], name: str) -> float:
    """A number, or a difference; what is held equal differs by rounding only, which is none."""
    ends = [float(result.values[name]) for result in results]
    if len(ends) == 1:
        return ends[0]
    gap = ends[1] - ends[0]
    return 0.0 if abs(gap) <= 1e-6 * max(abs(end) for end in ends) else gap


def _wanted(results: list[Any], names: Iterable[str] | None) -> tuple[str, ...]:
    """The results asked for, all of which every machine gives."""
    if names is not None:
        found = tuple(names)
        for result in results:
            found = checked(result, found)
        unfit = [n for n in found if n not in numbers(results[0])]
        if unfit:
            raise Refused([fault_in("studies.machine_uncertainty.no_named_number_run", n) for n in unfit])
        return found
    if not all(bool(r.values["formed"]) for r in results):
        raise Refused(
            fault_in("studies.machine_uncertainty.machine", "machine", "no sheet")
        )  # fmt: skip
    known = [set(numbers(r)) for r in results]
    return tuple(n for n in headline() if all(n in k for k in known))


class _Source:
    """Draws inputs from one population and runs the machines on them."""

    def __init__(
        self, runs: tuple[Machine, ...], names: tuple[str, ...], correlation: Correlation | None, sampling: Sampling
    ) -> None:
        self.runs, self.names = runs, names
        first = runs[0]
        self.fixed = first.exists or bool(first.evidence)
        count = sampling.draws if sampling.draws is not None else DRAWS
        if self.fixed:
            self.whole = population(first, draws=count, seed=sampling.seed)
        else:
            self.whole = population_of(first, draws=FEWEST, seed=sampling.seed)
        if not self.whole.addresses:
            raise Refused(fault_in("studies.machine_uncertainty.has_no_uncertain_input", "machine"))
        self.streams = Streams(sampling.seed, self.whole.addresses, groups_of(first))
        self.root = _linked(self.whole, correlation, fixed=self.fixed)
        self.drawn = 0
        self.counts: dict[str, dict[str, int]] = {}
        sides = [set(columns(self.whole, first))]
        if len(runs) == 2:
            sides.append(set(beside(self.whole, first, runs[1])))
        self.inputs = tuple(sorted(set().union(*sides)))
        self.common = len(set.intersection(*sides)) if len(sides) == 2 else 0

    def most(self, wanted: int) -> int:
        """How many draws there are."""
        return min(wanted, self.whole.draws) if self.fixed else wanted

    def draw(self, size: int) -> dict[str, Array]:
        """One batch of the result, or of the difference."""
        part = self._part(size)
        self.drawn += size
        first = self.runs[0]
        before = self._run("machine" if len(self.runs) == 1 else "before", first, columns(part, first))
        if len(self.runs) == 1:
            return dict(before.columns)
        after = self._run("after", self.runs[1], beside(part, first, self.runs[1]))
        equal = np.where(before.usable & after.usable, 0.0, np.nan)
        return {name: after[name] - before[name] + equal for name in self.names}

    def _part(self, size: int) -> Population:
        rows = np.arange(self.drawn, self.drawn + size)
        if self.fixed:
            own: Any = rows if self.whole.rows is None else self.whole.rows[rows]
            return replace(self.whole, scores=self.whole.scores[rows], rows=own)
        scores = self.streams.more(size)
        scores = scores if self.root is None else scores @ self.root.T
        return replace(self.whole, scores=scores, rows=rows)

    def _run(self, side: str, machine: Machine, values: Mapping[str, Any]) -> Cases:
        cases = run_cases(machine, values, self.names)
        total = self.counts.setdefault(side, {})
        for what, count in counted(cases).items():
            total[what] = total.get(what, 0) + count
        return cases


def _linked(whole: Population, correlation: Correlation | None, *, fixed: bool) -> Array | None:
    """Root of the correlation that was asked for; what was read or conditioned carries its own."""
    if not correlation:
        return None
    check_inputs({one: whole.distributions[one] for one in whole.addresses}, correlation)
    if fixed:
        raise Refused(fault_in("studies.machine_uncertainty.own_correlation", "--correlate", whole.origin))
    size, direction = np.linalg.eigh(correlation_matrix(whole.addresses, correlation))
    return np.asarray(direction * np.sqrt(np.maximum(size, 0.0)))


def _until_firm(
    source: _Source, names: tuple[str, ...], sampling: Sampling, tell: Tell | None
) -> tuple[list[dict[str, Array]], dict[str, bool]]:
    """JCGM 101, 7.9: batches until the four numbers of every result stand firm."""
    share, digits, batch, most = sampling.share, sampling.digits, sampling.batch, sampling.most
    if digits < 1 or batch < 1000 or most < 2 * batch:
        value = phrase("studies.machine_uncertainty.digits_batch_most", digits=digits, batch=batch, most=most)
        raise Refused(fault_in("studies.machine_uncertainty.draws", "draws", value))
    parts: list[dict[str, Array]] = []
    rows: dict[str, list[tuple[float, ...]]] = {name: [] for name in names}
    settled = dict.fromkeys(names, False)
    while source.drawn + batch <= most:
        parts.append(source.draw(batch))
        for name in names:
            rows[name].append(_four(parts[-1][name], share))
        if len(parts) > 1:
            settled = {name: _stands(np.array(rows[name]), digits) for name in names}
            if all(settled.values()):
                break
        if tell is not None:
            tell(
                source.drawn / most,
                phrase(
                    "studies.machine_uncertainty.draws_numbers_firm",
                    drawn=source.drawn,
                    sum=sum(settled.values()),
                    names=len(names),
                ),
            )
    return parts, settled


def _four(part: Array, share: float) -> tuple[float, ...]:
    part = part[np.isfinite(part)]
    if part.size < FEWEST:
        return (math.nan,) * 4
    return (float(part.mean()), float(part.std(ddof=1)), *interval_symmetric(part, share))


def _stands(rows: Any, digits: int) -> bool:
    """Whether twice the standard error over batches is below half a unit of the last digit; no number never stands."""
    if not np.all(np.isfinite(rows)):
        return False
    spread = math.sqrt(float(np.mean(rows[:, 1] ** 2)))
    error = 2.0 * rows.std(axis=0, ddof=1) / math.sqrt(len(rows))
    return bool(np.all(error <= _tolerance(spread, digits) + 1e-12 * np.abs(rows[:, 0]).max()))


def _first_order(
    runs: tuple[Machine, ...], names: tuple[str, ...], correlation: Correlation | None
) -> dict[str, float]:
    """Standard uncertainties by slopes, correlated inputs counted as such."""
    found = by_slopes(runs[0]) if len(runs) == 1 else difference_by_slopes(runs[0], runs[1])
    linear = {}
    for name in names:
        one = found[name]
        variance = one.standard_uncertainty**2
        part = dict(one.contributions)
        for (a, b), r in (correlation or {}).items():
            variance += 2.0 * r * part.get(a, 0.0) * part.get(b, 0.0)
        linear[name] = math.sqrt(max(variance, 0.0))
    return linear


def _row(name: str, sample: Array, value: float, linear: float, share: float, settled: bool) -> Spread | None:
    sample = sample[np.isfinite(sample)]
    if sample.size < FEWEST:
        none = (math.nan, math.nan)
        return Spread(name=name, value=value, mean=math.nan, standard_uncertainty=math.nan, shortest=none,
                      symmetric=none, first_order=linear, draws=sample.size, settled=False)  # fmt: skip
    low, middle, high = central_interval(sample, SHARE)
    return Spread(
        name=name,
        value=value,
        mean=float(sample.mean()),
        standard_uncertainty=float(sample.std(ddof=1)),
        shortest=interval_shortest(sample, share),
        symmetric=interval_symmetric(sample, share),
        first_order=linear,
        draws=int(sample.size),
        settled=settled,
        low=low,
        median=middle,
        high=high,
        position=position_in_draws(value, sample) if sample.std() > 0 else 0.5,
    )
