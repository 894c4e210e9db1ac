"""Steady windows in signals over time, by a test that stands related neighbours; and what changed between two windows.

The length of a window follows from the memory of the slowest signal over its whole record; then every window is taken
that stands the test. Windows are never chosen by their own number of independent values: those lie.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from thinstock.survey.faults import refuse
from thinstock.survey.historian import Series
from thinstock.survey.series import (
    Floats,
    cautious,
    effective_size,
    means_of_windows,
    neighbours,
    trends,
)
from thinstock.words.phrase import phrase

SIGNIFICANCE = 0.05
INDEPENDENT = 10.0
"""Independent values that a window should hold."""
LEAST = 60
"""Values of a window at least: the alarm of the trend test was simulated from there on."""
PIECE = 120
"""Values of a piece in which the memory of a signal is looked for: steps between grades are no memory."""
SHORTEST = 30
"""Values of such a piece at least."""
DROPPED = 0.2
"""Share of a window's values that may be missing."""
FEW = 10
"""Values in a window from which a trend is looked for; a signal with fewer (laboratory) is only averaged."""
SLOWER = 4.0
"""A signal with gaps so many times those of the fastest does not decide the length."""
MOST = 100_000
"""Windows that are cut at most."""
NICE = tuple(60.0 * m for m in (1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 240, 360, 480, 720, 1440, 2880, 4320, 10080))
"""Lengths of windows, s."""


@dataclass(frozen=True, kw_only=True)
class Record:
    """A signal over all that was read of it."""

    tag: str
    unit: str
    count: int
    dropped: Mapping[str, int]
    start: float
    """s since 1970, UTC."""
    end: float
    step: float
    """Usual time between two values, s."""
    memory: float
    """Autocorrelation from one value to the next, the median over pieces of the record; nan: too short or flat."""
    flat: bool
    """Whether all values are the same."""

    @property
    def wanted(self) -> float:
        """Time that holds ten independent values, s; nan where the memory is not known."""
        if not np.isfinite(self.memory):
            return float("nan")
        return values_needed(float(cautious(self.memory, max(self.count, 1)))) * self.step


@dataclass(frozen=True, kw_only=True)
class Held:
    """One signal in one window."""

    count: int
    mean: float
    standard_uncertainty: float
    """Of the mean, from scatter and memory; nan where too few values or no scatter say it."""
    size: float
    """Independent values."""
    change: float
    """From begin to end by a straight line."""
    change_uncertainty: float
    probability: float
    """Of such a change by chance; nan where nothing can be said."""
    missing: float
    """Share of the values that are not there."""


@dataclass(frozen=True, kw_only=True)
class Window:
    """One window of all signals."""

    start: float
    end: float
    held: Mapping[str, Held]
    drifting: tuple[str, ...]
    """Signals that change beyond chance."""
    missing: tuple[str, ...]
    """Signals of which more than a fifth of the values is not there."""
    open: tuple[str, ...]
    """Signals too slow for this length: nothing can be said of them."""
    flat: tuple[str, ...]
    """Signals that stand still to the last digit."""

    @property
    def steady(self) -> bool:
        """Whether nothing speaks against this window."""
        return not (self.drifting or self.missing or self.open)


@dataclass(frozen=True, kw_only=True, eq=False)
class Windows:
    """Signals and the windows cut from them."""

    records: tuple[Record, ...]
    length: float
    """s."""
    chosen: bool
    """Whether the length was chosen from the memory of the signals."""
    windows: tuple[Window, ...]

    @cached_property
    def steady(self) -> tuple[Window, ...]:
        """Windows that nothing speaks against."""
        return tuple(w for w in self.windows if w.steady)


def values_needed(autocorrelation: float, independent: float = INDEPENDENT) -> int:
    """How many related values hold so many independent ones, at least 60.

    Source: DERIVED. Status: derived.
    """
    low, high = LEAST, LEAST
    while effective_size(high, autocorrelation) < independent:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if effective_size(middle, autocorrelation) >= independent else (middle, high)
    return high


def record_of(tag: str, series: Series) -> Record:
    """What one signal is like over all that was read of it.

    The memory is the median, over pieces of 120 values, of the autocorrelation about a straight line.
    Source: DERIVED. Status: derived.
    """
    time, value = series.time, series.value
    step = float(np.median(np.diff(time))) if time.size > 1 else float("nan")
    flat = bool(value.size > 1 and np.all(value == value[0]))
    piece = min(PIECE, value.size)
    found = np.array([float("nan")])
    if piece >= SHORTEST:
        found = neighbours(value[: value.size // piece * piece].reshape(-1, piece), trend=True)
    return Record(
        tag=tag,
        unit=series.unit,
        count=int(time.size),
        dropped=series.dropped,
        start=float(time[0]) if time.size else float("nan"),
        end=float(time[-1]) if time.size else float("nan"),
        step=step,
        memory=float(np.nanmedian(found)) if np.any(np.isfinite(found)) else float("nan"),
        flat=flat,
    )


def find_windows(
    series: Mapping[str, Series], *, length: float | None = None, start: float | None = None, end: float | None = None
) -> Windows:
    """Windows of equal length, one after another, each with what every signal says in it.

    Parameters
    ----------
    series : mapping of str to Series
        Signals by tag.
    length : float, optional
        Of a window, s; without it such that the slowest signal holds ten independent values.
    start, end : float, optional
        Times between which windows lie, s since 1970 UTC; without them where all signals are there.

    Returns
    -------
    Windows
        Every window with the trend test of each signal, corrected for asking several signals (step-down, 5 %).

    Raises
    ------
    Refused
        No signal, a length that is not above 0, or no room for one window.

    Source: DERIVED. Status: derived.
    """
    if not series:
        raise refuse("tags", "", phrase("history.no_signals"))
    records = tuple(record_of(tag, one) for tag, one in series.items())
    empty = [r.tag for r in records if not r.count]
    if empty:
        raise refuse("tags", ", ".join(empty), phrase("history.no_values"), phrase("history.look_at_dropped"))
    chosen = length is None
    deciding = _deciding(records)
    size = chosen_length(records) if length is None else float(length)
    if not (size > 0.0 and np.isfinite(size)):
        raise refuse("length", size, phrase("survey.series.above_zero"))
    first = max(r.start for r in deciding) if start is None else start
    last = min(r.end + r.step for r in deciding) if end is None else end
    count = (last - first) / size + 1e-9
    if not count >= 1.0:
        span = phrase("history.hours", hours=f"{(last - first) / 3600.0:.3g}")
        shown = span if np.isfinite(count) else phrase("history.one_value")
        bound = phrase("history.no_room", hours=f"{size / 3600.0:.3g}")
        raise refuse("from, to", shown, bound, phrase("history.shorter_window"))
    if count > MOST:
        bound = phrase("history.too_many", most=MOST)
        raise refuse("windows", f"{count:.3g}", bound, phrase("history.longer_or_less"))
    whole = int(count)
    edges = np.asarray(first + size * np.arange(whole + 1), dtype=np.float64)
    held = {r.tag: _held(series[r.tag], r, edges, size) for r in records}
    windows = tuple(_window(edges[k], edges[k + 1], {tag: rows[k] for tag, rows in held.items()}) for k in range(whole))
    return Windows(records=records, length=size, chosen=chosen, windows=windows)


def one_window(series: Mapping[str, Series], start: float, end: float) -> Window:
    """The signals between two times as one window.

    Source: DERIVED. Status: derived.
    """
    if not end > start:
        raise refuse("to", "", phrase("history.after_from"))
    return find_windows(series, length=end - start, start=start, end=end).windows[0]


def chosen_length(records: Sequence[Record]) -> float:
    """A round length in which the slowest of the signals that are read often holds ten independent values, s.

    Source: DERIVED. Status: derived.
    """
    needed = [r.wanted for r in _deciding(records) if np.isfinite(r.wanted)]
    most = max(needed, default=NICE[7])
    return next((n for n in NICE if n >= most - 1e-6), most)


def _deciding(records: Sequence[Record]) -> list[Record]:
    steps = [r.step for r in records if np.isfinite(r.step)]
    if not steps:
        return list(records)
    return [r for r in records if np.isfinite(r.step) and r.step <= SLOWER * min(steps)]


def _held(series: Series, record: Record, edges: Floats, size: float) -> list[Held]:
    """One signal in every window; windows with equally many values are worked out together."""
    places = np.searchsorted(series.time, edges)
    counts = np.diff(places)
    expected = max(size / record.step, 1.0) if np.isfinite(record.step) else 1.0
    table = np.full((counts.size, 6), np.nan)
    for n in np.unique(counts):
        rows = np.flatnonzero(counts == n)
        if n < 1:
            continue
        x = series.value[places[rows][:, None] + np.arange(n)]
        table[rows, 0] = x.mean(axis=1)
        if n >= FEW:
            varied = np.ptp(x, axis=1) > 0.0
            rows, x = rows[varied], x[varied]
            table[rows, 1:3] = np.column_stack(means_of_windows(x)[1:])
            table[rows, 3:6] = np.column_stack(trends(x))
    missing = np.clip(1.0 - counts / expected, 0.0, 1.0)
    return [
        Held(
            count=int(n),
            mean=float(row[0]),
            standard_uncertainty=float(row[1]),
            size=float(row[2]),
            change=float(row[3]),
            change_uncertainty=float(row[4]),
            probability=float(row[5]),
            missing=float(gone) if expected >= FEW else 0.0,
        )
        for n, row, gone in zip(counts, table, missing, strict=True)
    ]


def _window(start: float, end: float, held: Mapping[str, Held]) -> Window:
    flat = tuple(t for t, h in held.items() if h.count >= FEW and not np.isfinite(h.standard_uncertainty))
    judged = {t: h.probability for t, h in held.items() if h.count >= FEW and t not in flat}
    return Window(
        start=float(start),
        end=float(end),
        held=held,
        drifting=step_down({t: p for t, p in judged.items() if np.isfinite(p)}),
        missing=tuple(t for t, h in held.items() if h.missing > DROPPED or not h.count),
        open=tuple(t for t, p in judged.items() if not np.isfinite(p)),
        flat=flat,
    )


def step_down(probability: Mapping[str, float], significance: float = SIGNIFICANCE) -> tuple[str, ...]:
    """Names that stand when all are asked at once: the smallest probability against the level of all, and so on.

    Source: HOLM_1979, SIDAK_1967. Status: from memory.
    """
    found = []
    for k, (name, p) in enumerate(sorted(probability.items(), key=lambda one: one[1])):
        if p >= 1.0 - (1.0 - significance) ** (1.0 / (len(probability) - k)):
            break
        found.append(name)
    return tuple(found)


def merged(parts: Iterable[Mapping[str, Series]]) -> dict[str, Series]:
    """Signals of several files as one: pieces of a tag in order of time; of repeated stamps the later file's.

    Source: COMMON_PRACTICE. Status: common practice.
    """
    found: dict[str, list[Series]] = {}
    for part in parts:
        for tag, one in part.items():
            found.setdefault(tag, []).append(one)
    return {tag: _joined(tag, pieces) for tag, pieces in found.items()}


def _joined(tag: str, pieces: list[Series]) -> Series:
    if len(pieces) == 1:
        return pieces[0]
    units = {p.unit for p in pieces if p.unit}
    if len(units) > 1:
        raise refuse(tag, ", ".join(sorted(units)), phrase("history.two_units"), phrase("survey.historian.one_unit"))
    time, value = np.concatenate([p.time for p in pieces]), np.concatenate([p.value for p in pieces])
    order = np.argsort(time, kind="stable")
    time, value = time[order], value[order]
    last = np.concatenate([np.diff(time) > 0.0, [True]]) if time.size else np.zeros(0, dtype=bool)
    causes = {c for p in pieces for c in p.dropped}
    dropped = {c: sum(p.dropped.get(c, 0) for p in pieces) for c in sorted(causes)}
    repeated = int(time.size - np.count_nonzero(last))
    if repeated:
        dropped["repeated"] = dropped.get("repeated", 0) + repeated
    return Series(time[last], value[last], next(iter(units), ""), dropped)
