"""What changed between two windows of the same signals: all at once first, then one by one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from thinstock.survey.faults import refuse
from thinstock.survey.historian import Series
from thinstock.survey.series import Floats, change_of_means, means_of_windows
from thinstock.survey.windows import FEW, SIGNIFICANCE
from thinstock.words.phrase import phrase


@dataclass(frozen=True, kw_only=True)
class Moved:
    """One signal before and after."""

    tag: str
    unit: str
    before: float
    after: float
    standard_uncertainty: float
    """Of after - before."""
    probability: float
    """Of such a difference by chance, of this signal alone."""
    claimed: bool
    """Whether it stands when all signals are asked at once."""

    @property
    def difference(self) -> float:
        """After - before."""
        return self.after - self.before


@dataclass(frozen=True, kw_only=True, eq=False)
class Compared:
    """Two windows of the same signals."""

    statistic: float
    rank: int
    probability: float
    """That all differences are chance, by one test of all signals."""
    moved: tuple[Moved, ...]
    left_out: tuple[str, ...]
    """Signals with too few values, or none that differ, in one of the windows."""


def compare_windows(series: Mapping[str, Series], before: tuple[float, float], after: tuple[float, float]) -> Compared:
    """What changed between two windows of the same signals: all at once first, then one by one.

    Errors of a meter that stay the same cancel. Signals that move together are asked with the correlation of what is
    left of them about their means, in both windows.
    Source: DERIVED. Status: derived (correlation of the means taken as that of the values).
    """
    for name, (start, end) in (("before", before), ("after", after)):
        if not end > start:
            raise refuse(name, "", phrase("history.after_from"))
    cut = {t: (_between(s, *before), _between(s, *after)) for t, s in series.items()}
    usable = [t for t, (a, b) in cut.items() if all(x.value.size >= FEW and np.ptp(x.value) > 0.0 for x in (a, b))]
    if not usable:
        raise refuse("tags", "", phrase("history.nothing_to_compare"), phrase("history.longer_windows"))
    single = {t: change_of_means(cut[t][0].value, cut[t][1].value) for t in usable}
    from thinstock.survey import joint_change, step_down_change

    difference = np.array([single[t][0] for t in usable])
    covariance = _covariance([cut[t] for t in usable], [single[t] for t in usable])
    statistic, rank, probability = joint_change(difference, covariance)
    stands = step_down_change(difference, covariance, significance=SIGNIFICANCE, draws=20_000, seed=1)
    both = probability < SIGNIFICANCE
    return Compared(
        statistic=float(statistic),
        rank=int(rank),
        probability=float(probability),
        moved=tuple(
            Moved(
                tag=t,
                unit=series[t].unit,
                before=float(cut[t][0].value.mean()),
                after=float(cut[t][1].value.mean()),
                standard_uncertainty=single[t][1],
                probability=single[t][2],
                claimed=bool(both and told),
            )
            for t, told in zip(usable, stands, strict=True)
        ),
        left_out=tuple(t for t in series if t not in usable),
    )


def _covariance(cut: Sequence[tuple[Series, Series]], single: Sequence[tuple[float, float, float]]) -> Floats:
    """Covariance of the differences, each widened so that the normal law gives the chance Student's law gave it."""
    from scipy.special import ndtri

    total = np.zeros((len(cut), len(cut)))
    for side in (0, 1):
        rows = [pair[side] for pair in cut]
        u = np.array([means_of_windows(r.value[None, :])[1][0] for r in rows])
        total += _correlation(rows) * np.outer(u, u)
    score = np.array([abs(d) / u for d, u, _ in single])
    alike = -ndtri(np.clip([p / 2.0 for _, _, p in single], 1e-300, 0.5))
    wider = np.where(alike > 1e-6, score / np.maximum(alike, 1e-6), 1.0)
    return np.asarray(total * np.outer(wider, wider))


def _between(series: Series, start: float, end: float) -> Series:
    low, high = np.searchsorted(series.time, [start, end])
    return Series(series.time[low:high], series.value[low:high], series.unit, series.dropped)


def _correlation(rows: Sequence[Series]) -> Floats:
    """Correlation of signals where they were read at the same time; none where fewer than ten times are common."""
    found = np.eye(len(rows))
    for i, a in enumerate(rows):
        for j in range(i):
            _, left, right = np.intersect1d(a.time, rows[j].time, assume_unique=True, return_indices=True)
            if left.size < FEW:
                continue
            x, y = a.value[left], rows[j].value[right]
            spread = x.std() * y.std()
            if spread > 0.0:
                r = float(np.mean((x - x.mean()) * (y - y.mean())) / spread)
                found[i, j] = found[j, i] = float(np.clip(r, -0.999, 0.999))
    return found
