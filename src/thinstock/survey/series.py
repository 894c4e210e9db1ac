"""Series over time whose neighbours are related: how many values they are worth, their mean, a trend, a drift.

One autocorrelation, that of the first step, stands for the whole memory of a signal: long memory and cycles beat it.
Where a probability is asked of fewer than three independent values it is nan: nothing can be said.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Array, Num
from thinstock.survey.faults import refuse
from thinstock.words.phrase import phrase

MOST = 0.995
"""The largest autocorrelation that is told from a walk without end."""
LEAST = 2.0
"""Independent values beyond which a straight line leaves something to judge it by."""

Floats = NDArray[np.float64]


def autocorrelation(series: Num, *, trend: bool = False) -> float:
    """Correlation of a series with itself one step on, about its mean (with `trend` about its straight line).

    r = sum e_i e_{i+1} / sum e_i^2, raised for its bias to (n r + 1)/(n - 3), about a line to (n r + 2)/(n - 4), kept
    between 0 and 0.995. Any unit; the answer is a number.
    Source: KENDALL_1954, MARRIOTT_POPE_1954. Status: from memory.
    """
    x = _series(series, 5 if trend else 4)
    r = float(neighbours(x[None, :], trend)[0])
    if np.isnan(r):
        raise refuse(
            "series",
            bound=phrase("survey.series.no_spread"),
            remedy=phrase("survey.steady.stuck_or_rounded_reading_says"),
        )
    return r


def cautious(autocorrelation: Num, count: Num) -> Num:
    """An autocorrelation half a standard error higher than it was found: min(r + sqrt((1 - r^2)/n)/2, 0.995).

    The half was chosen so that a test on steady related values keeps the alarm it states.
    Source: ASSUMED. Status: assumed (simulated on series of 60 to 1440 values).
    """
    return np.minimum(autocorrelation + 0.5 * np.sqrt((1.0 - np.square(autocorrelation)) / count), MOST)[()]


def effective_size(count: Num, autocorrelation: Num) -> Num:
    """How many unrelated values the mean of `count` related ones is worth: n/[1 + 2 sum (1 - k/n) r^k].

    The sum over k = 1 ... n - 1 is closed: r/(1 - r) - r (1 - r^n)/[n (1 - r)^2].
    Source: PRIESTLEY_1981. Status: from memory.
    """
    r = np.asarray(autocorrelation, dtype=float)
    related = r / (1.0 - r) - r * (1.0 - r**count) / (count * (1.0 - r) ** 2)
    return (count / (1.0 + 2.0 * related))[()]


def mean_of_window(series: Num) -> tuple[float, float, float]:
    """(Mean, its standard uncertainty, number of independent values m) of a series whose neighbours are related.

    Variance sum (x - mean)^2 / n / (1 - 1/m); uncertainty sqrt(variance/m), with m by the cautious autocorrelation.
    Mean and uncertainty in the unit of the series; intervals by Student's law with m - 1 degrees of freedom.
    Source: DERIVED. Status: derived.
    """
    x = _series(series, 4)
    autocorrelation(x)
    mean, uncertainty, size = means_of_windows(x[None, :])
    return float(mean[0]), float(uncertainty[0]), float(size[0])


def means_of_windows(rows: Num) -> tuple[Floats, Floats, Floats]:
    """`mean_of_window` of every row at once; uncertainty and size nan where all values of a row are the same.

    Source: DERIVED. Status: derived.
    """
    x = np.asarray(rows, dtype=float)
    n = x.shape[1]
    m = effective_size(n, cautious(neighbours(x, trend=False), n))
    mean = x.mean(axis=1)
    variance = np.mean((x - mean[:, None]) ** 2, axis=1) / (1.0 - 1.0 / m)
    return mean, np.sqrt(variance / m), np.asarray(m)


def trend_test(series: Num) -> tuple[float, float, float]:
    """(Change from the first value to the last, its standard uncertainty, probability of as much by chance).

    A straight line by least squares after taking out the cautious autocorrelation about the line (first value times
    sqrt(1 - r^2)); scatter over n - 3, Student's law with m - 2 degrees of freedom, m the independent values. The
    probability is nan where m is at most 2. Change and uncertainty in the unit of the series.
    Source: PRAIS_WINSTEN_1954. Status: from memory.
    """
    x = _series(series, 5)
    autocorrelation(x)
    change, uncertainty, probability = trends(x[None, :])
    return float(change[0]), float(uncertainty[0]), float(probability[0])


def trends(rows: Num) -> tuple[Floats, Floats, Floats]:
    """`trend_test` of every row at once; all three nan where all values of a row are the same.

    Source: PRAIS_WINSTEN_1954. Status: from memory.
    """
    from scipy.special import stdtr

    x = np.asarray(rows, dtype=float)
    n = x.shape[1]
    r = np.asarray(cautious(neighbours(x, trend=True), n))
    x = x - x.mean(axis=1, keepdims=True)
    rise = np.linspace(-0.5, 0.5, n)
    values = _whitened(x, r)
    level, slope = _whitened(np.ones_like(x), r), _whitened(np.broadcast_to(rise, x.shape), r)
    aa, ab, bb = np.sum(level**2, axis=1), np.sum(level * slope, axis=1), np.sum(slope**2, axis=1)
    av, bv = np.sum(level * values, axis=1), np.sum(slope * values, axis=1)
    free = aa * bb - ab**2
    start, change = (bb * av - ab * bv) / free, (aa * bv - ab * av) / free
    left = values - start[:, None] * level - change[:, None] * slope
    uncertainty = np.sqrt(np.sum(left**2, axis=1) / (n - 3) * aa / free)
    m = effective_size(n, r)
    with np.errstate(invalid="ignore", divide="ignore"):
        chance = 2.0 * stdtr(np.maximum(m - 2.0, 1e-9), -np.abs(change) / uncertainty)
    return change, uncertainty, np.where(m > LEAST, chance, np.nan)


def _whitened(x: Floats, r: Floats) -> Floats:
    """Rows with their autocorrelation taken out."""
    first = x[:, :1] * np.sqrt(1.0 - r * r)[:, None]
    return np.concatenate([first, x[:, 1:] - r[:, None] * x[:, :-1]], axis=1)


def change_of_means(before: Num, after: Num, *, calibration: float = 0.0) -> tuple[float, float, float]:
    """(Mean after - mean before, its standard uncertainty, probability of as much by chance) of two windows.

    A constant error of the meter cancels; `calibration` is the standard uncertainty of what does not. Student's law
    with Welch's degrees of freedom on the independent values of both windows. In the unit of the series.
    Source: WELCH_1947, DERIVED. Status: derived.
    """
    from scipy.special import stdtr

    if not calibration >= 0.0:
        raise refuse("calibration", calibration, phrase("survey.series.not_below_zero"))
    mean_a, u_a, m_a = mean_of_window(before)
    mean_b, u_b, m_b = mean_of_window(after)
    square = u_a**2 + u_b**2
    degrees = square**2 / (u_a**4 / (m_a - 1.0) + u_b**4 / (m_b - 1.0))
    difference, uncertainty = mean_b - mean_a, float(np.sqrt(square + calibration**2))
    return difference, uncertainty, float(2.0 * stdtr(degrees, -abs(difference) / uncertainty))


def random_walk(value: Num, uncertainty: Num, time: Num, *, walk: float) -> tuple[Array, Array, float]:
    """(Level at each time, its standard uncertainty, log-likelihood) of a level that walks between readings.

    Steps have variance walk^2 times the gap; nothing is known of the start. Filter, then smoother: every level uses
    all readings. Value, uncertainty and level in one unit, walk in it per root of the unit of time.
    Source: KALMAN_1960, RAUCH_1965. Status: from memory.
    """
    y, u, t = _rounds(value, uncertainty, time)
    if not (walk >= 0.0 and np.isfinite(walk)):
        raise refuse("walk", walk, phrase("survey.series.not_below_zero"))
    level, spread, likelihood = _walks(y, u, t, np.array([float(walk)]))
    return level[0], spread[0], float(likelihood[0])


def walk_size(value: Num, uncertainty: Num, time: Num) -> tuple[float, float, float]:
    """(Likeliest walk, likelihood ratio against no walk, probability of such a ratio without one).

    The ratio is twice the gain in log-likelihood; no walk lies on the edge of what is possible, so chance gives half
    of a chi-square law with one degree of freedom. Walk in the unit of the value per root of the unit of time.
    Source: DERIVED. Status: derived.
    """
    from scipy.optimize import minimize_scalar
    from scipy.special import chdtrc

    y, u, t = _rounds(value, uncertainty, time)
    scale = usual_walk(u, t)
    grid = np.concatenate([[0.0], np.geomspace(1e-3, 1e3, 121) * max(scale, float(np.ptp(y)) * scale / u.mean())])
    likelihood = _likelihood(y, u, t, grid)
    best = int(np.argmax(likelihood))
    if best == 0:
        return 0.0, 0.0, 1.0
    low, high = np.log(grid[max(best - 1, 1)]), np.log(grid[min(best + 1, grid.size - 1)])
    found = minimize_scalar(
        lambda w: -float(_likelihood(y, u, t, np.exp([w]))[0]),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-10},
    )
    ratio = max(2.0 * (-float(found.fun) - float(likelihood[0])), 0.0)
    return float(np.exp(found.x)), ratio, float(0.5 * chdtrc(1, ratio))


def random_walk_mixed(
    value: Num, uncertainty: Num, time: Num, *, scale: float, count: int = 60
) -> tuple[Array, Array, Array, Array]:
    """(Level at each time, its standard uncertainty, probability of each walk, the walks) without choosing one walk.

    Walks are 0 and `count` sizes from 1e-3 to 1e2 times `scale`; before the readings each has what a half-Cauchy law
    of that scale holds up to the middle (geometric) of its neighbours. `usual_walk` gives a scale.
    Source: DERIVED. Status: derived (the law is assumed).
    """
    y, u, t = _rounds(value, uncertainty, time)
    if not (scale > 0.0 and np.isfinite(scale)):
        raise refuse("scale", scale, phrase("survey.series.above_zero"))
    if count < 2:
        raise refuse("count", count, phrase("survey.series.at_least_two"))
    sizes = np.geomspace(1e-3, 1e2, count) * scale
    ends = np.concatenate([[0.0, sizes[0]], np.sqrt(sizes[1:] * sizes[:-1]), [np.inf]])
    before = np.diff(2.0 / np.pi * np.arctan(ends / scale))
    walks = np.concatenate([[0.0], sizes])
    level, spread, likelihood = _walks(y, u, t, walks)
    weight = before * np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    mean = weight @ level
    variance = weight @ (spread**2 + (level - mean) ** 2)
    return mean, np.sqrt(variance), weight, walks


def usual_walk(uncertainty: Num, time: Num) -> float:
    """A walk that moves as much between two readings as one of them is uncertain: mean u / sqrt(mean gap).

    Source: ASSUMED. Status: assumed.
    """
    t = np.asarray(time, dtype=float)
    return float(np.mean(uncertainty) / np.sqrt((t[-1] - t[0]) / (t.size - 1)))


def _filtered(y: Floats, u: Floats, t: Floats, walk: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """(Level, variance, variance before each reading, log-likelihood) going forward, for every walk."""
    shape = (walk.size, y.size)
    level, variance, ahead = np.empty(shape), np.empty(shape), np.empty(shape)
    level[:, 0], variance[:, 0], ahead[:, 0] = y[0], u[0] ** 2, np.inf
    likelihood = np.zeros(walk.size)
    for k in range(1, y.size):
        ahead[:, k] = variance[:, k - 1] + walk**2 * (t[k] - t[k - 1])
        total = ahead[:, k] + u[k] ** 2
        miss = y[k] - level[:, k - 1]
        likelihood -= 0.5 * (np.log(2.0 * np.pi * total) + miss**2 / total)
        share = ahead[:, k] / total
        level[:, k] = level[:, k - 1] + share * miss
        variance[:, k] = (1.0 - share) * ahead[:, k]
    return level, variance, ahead, likelihood


def _likelihood(y: Floats, u: Floats, t: Floats, walk: Floats) -> Floats:
    return _filtered(y, u, t, walk)[3]


def _walks(y: Floats, u: Floats, t: Floats, walk: Floats) -> tuple[Floats, Floats, Floats]:
    """(Level, standard uncertainty, log-likelihood) with all readings, for every walk."""
    level, variance, ahead, likelihood = _filtered(y, u, t, walk)
    for k in range(y.size - 2, -1, -1):
        back = variance[:, k] / ahead[:, k + 1]
        guessed = level[:, k].copy()
        level[:, k] += back * (level[:, k + 1] - guessed)
        variance[:, k] += back**2 * (variance[:, k + 1] - ahead[:, k + 1])
    return level, np.sqrt(variance), likelihood


def neighbours(x: Floats, trend: bool) -> Floats:
    """`autocorrelation` of every row at once; nan where all values of a row are the same.

    Source: KENDALL_1954, MARRIOTT_POPE_1954. Status: from memory.
    """
    n = x.shape[1]
    e = x - x.mean(axis=1, keepdims=True)
    size = np.max(np.abs(x), axis=1)
    if trend:
        t = np.arange(n) - (n - 1) / 2.0
        e = e - np.outer(e @ t / float(t @ t), t)
    total = np.einsum("ij,ij->i", e, e)
    flat = total <= 1e-24 * n * size**2
    r = np.einsum("ij,ij->i", e[:, 1:], e[:, :-1]) / np.where(flat, 1.0, total)
    raised = (n * r + 2.0) / (n - 4) if trend else (n * r + 1.0) / (n - 3)
    return np.asarray(np.where(flat, np.nan, np.clip(raised, 0.0, MOST)))


def _series(series: Num, least: int) -> Floats:
    x = np.asarray(series, dtype=float)
    if x.ndim != 1 or x.size < least or not np.all(np.isfinite(x)):
        raise refuse("series", x.shape, phrase("survey.steady.must_be_at_least_numbers", least=least))
    return x


def _rounds(value: Num, uncertainty: Num, time: Num) -> tuple[Floats, Floats, Floats]:
    y, u, t = (np.asarray(a, dtype=float) for a in (value, uncertainty, time))
    if y.ndim != 1 or y.size < 2 or not np.all(np.isfinite(y)):
        raise refuse("value", y.shape, phrase("survey.steady.must_be_at_least_numbers", least=2))
    if u.shape != y.shape or not np.all((u > 0.0) & np.isfinite(u)):
        raise refuse("uncertainty", u.shape, phrase("survey.series.one_above_zero_each"))
    rising = t.shape == y.shape and bool(np.all(np.isfinite(t)) and np.all(np.diff(t) >= 0.0) and t[-1] > t[0])
    if not rising:
        raise refuse("time", t.shape, phrase("survey.series.times_rise"), phrase("survey.series.sort_by_time"))
    return y, u, t
