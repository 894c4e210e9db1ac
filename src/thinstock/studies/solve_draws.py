"""The answer of a search over a population: every draw its own value, the one nearest to the answer of the file.

All draws are scanned and closed in together, in array runs. A draw in which no value gives the result counts as one
without an answer and is told; it is never left out of the share.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.chosen import Drawn
from thinstock.evidence.outputs import numbers
from thinstock.evidence.population import Population
from thinstock.formula.label import Array, worksheet
from thinstock.studies.intervals import SHARE, central_interval, position_in_draws
from thinstock.studies.solve import CLOSE, Solved
from thinstock.studies.spans import spaced
from thinstock.words.fault import fault_in

FAR, NEAR = 11, 9
"""Values of the scan over all that was searched, and about the answer."""
ABOUT = 0.3
"""Share of the answer within which the scan is close."""
TURNS, EDGES = 24, 7
JUMP = 1e-3
"""Relative distance from the wanted value beyond which a change of sign was a jump."""

Gaps = Callable[[Any, Array], Array]
"""(Draws, values) -> result less wanted; nan where a draw has none there."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Answers:
    """The value that gives the wanted result, over the draws of a population."""

    origin: str
    """"as believed", "runs" or "as read"."""
    draws: int
    without: float
    """Share of the draws in which no value gives the result."""
    low: float
    median: float
    high: float
    """Median and central 90 % of those that have one; nan where too few have."""
    position: float
    """Share of the draws below the answer of the file as it stands."""
    said: tuple[str, ...]
    """What is to be known of the population."""
    values: Array
    """The answer of every draw; nan where it has none."""


def answers(found: Solved, drawn: Population) -> Answers:
    """What a solved question answers in every draw of a population.

    Parameters
    ----------
    found : Solved
        The answer at the machine's own values.
    drawn : Population
        Draws of the machine before (without the answer in it).

    Returns
    -------
    Answers
        In the SI unit of the value that was searched.

    Raises
    ------
    Refused
        A measure of evenness, which is no number of the run.

    Source: DERIVED (false position in every draw, a definition of what is nearest). Status: derived.
    """
    if found.name not in numbers(found.result):
        raise Refused(fault_in("studies.solve_draws.no_number", found.name))
    gaps = _gaps(found, drawn)
    scan = _scan(found, Drawn(found.machine, drawn.take(1)))
    rows = np.arange(drawn.draws)
    table = gaps(np.repeat(rows, scan.size), np.tile(scan, drawn.draws)).reshape(drawn.draws, scan.size)
    roots = _roots(gaps, scan, table, found)
    good = np.isfinite(roots)
    middle = central_interval(roots[good], SHARE) if good.sum() >= 20 else (math.nan,) * 3
    return Answers(
        origin=drawn.origin,
        draws=drawn.draws,
        without=float(1.0 - good.mean()),
        low=middle[0],
        median=middle[1],
        high=middle[2],
        position=position_in_draws(found.value, roots[good]) if good.any() else math.nan,
        said=tuple(note.text for note in drawn.notes),
        values=roots,
    )


def _gaps(found: Solved, drawn: Population) -> Gaps:
    """Result less wanted; fast runs, moved by what the full run differs from the fast one at the answer."""
    runs = Drawn(found.machine, drawn)
    limit = found.machine.headbox.headbox_pressure_limit
    names = (found.name, "hold_status", "headbox_head")
    with worksheet(False):
        coarse = float(found.machine.run(fast=True)[found.name])
    shift = found.reached - coarse - found.wanted
    held = int(np.asarray(found.result.values.get("hold_status", 0))) == 0

    def gaps(rows: Any, values: Array) -> Array:
        cases = runs.run(rows, {found.address: values}, names)
        gap = cases[found.name] + shift
        if held:
            gap = np.where(np.nan_to_num(cases["hold_status"]) == 0, gap, np.nan)
        if limit is not None:
            gap = np.where(cases["headbox_head"] > float(limit), np.nan, gap)
        return np.asarray(gap, dtype=float)

    return gaps


def _scan(found: Solved, one: Drawn) -> Array:
    """Values to look at in every draw: where a machine of the first one gives a result, with a neighbour each side."""
    low, high = found.searched
    half = ABOUT * abs(found.value) if found.value else ABOUT * (high - low)
    near = np.clip(np.linspace(found.value - half, found.value + half, NEAR), low, high)
    scan = np.unique(np.concatenate([spaced(low, high, FAR), near]))
    cases = one.run(np.zeros(scan.size, dtype=int), {found.address: scan}, (found.name,))
    fine = np.isfinite(cases[found.name]) | (np.abs(scan - found.value) <= half)
    fine[1:] |= fine[:-1].copy()
    fine[:-1] |= fine[1:].copy()
    return np.asarray(scan[fine & cases.flags["possible"]], dtype=float)


def _roots(gaps: Gaps, scan: Array, table: Array, found: Solved) -> Array:
    """The root of each draw that lies nearest to the answer; nan where there is none."""
    close = CLOSE * max(abs(found.wanted), 1e-9)
    a, b = table[:, :-1], table[:, 1:]
    with np.errstate(invalid="ignore"):
        crossing = np.isfinite(a) & np.isfinite(b) & (a * b <= 0.0)
    middle = 0.5 * (scan[:-1] + scan[1:])
    distance = np.where(crossing, np.abs(middle - found.value), np.inf)
    place = np.argmin(distance, axis=1)
    rows = np.arange(len(table))
    has = np.isfinite(distance[rows, place])
    low, high = scan[place].copy(), scan[place + 1].copy()
    g_low, g_high = table[rows, place].copy(), table[rows, place + 1].copy()
    if not has.all():
        more = np.flatnonzero(~has)
        found_low, found_high = _at_edges(gaps, scan, table[more], more)
        ok = np.isfinite(found_low[0]) & np.isfinite(found_high[0])
        at = more[ok]
        low[at], g_low[at] = found_low[0][ok], found_low[1][ok]
        high[at], g_high[at] = found_high[0][ok], found_high[1][ok]
        has[at] = True
    roots = np.full(len(table), np.nan)
    roots[has] = _closed(gaps, rows[has], (low[has], high[has]), (g_low[has], g_high[has]), close)
    return roots


def _at_edges(gaps: Gaps, scan: Array, table: Array, rows: Any) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Spans of draws whose root lies between the last value that has a result and the next that has none."""
    count = len(rows)
    inside, outside = np.full(count, np.nan), np.full(count, np.nan)
    gap = np.full(count, np.nan)
    for k in range(count):
        fine = np.isfinite(table[k])
        ends = [(i, j) for i in range(len(scan)) for j in (i - 1, i + 1) if 0 <= j < len(scan) and fine[i] > fine[j]]
        if ends:
            i, j = min(ends, key=lambda pair: abs(table[k, pair[0]]))
            inside[k], outside[k], gap[k] = scan[i], scan[j], table[k, i]
    first, first_gap = inside.copy(), gap.copy()
    live = np.isfinite(inside)
    for _ in range(EDGES if live.any() else 0):
        trial = 0.5 * (inside + outside)
        got = np.full(count, np.nan)
        got[live] = gaps(rows[live], trial[live])
        fine = np.isfinite(got)
        inside, gap = np.where(fine, trial, inside), np.where(fine, got, gap)
        outside = np.where(fine, outside, trial)
    with np.errstate(invalid="ignore"):
        crossed = first_gap * gap <= 0.0
    return (first, first_gap), (np.where(crossed, inside, np.nan), gap)


def _closed(gaps: Gaps, rows: Any, ends: tuple[Array, Array], at: tuple[Array, Array], close: float) -> Array:
    """False position in every draw (an end that stays twice counts half); nan where the change of sign was a jump."""
    low, high = (end.copy() for end in ends)
    g_low, g_high = (gap.copy() for gap in at)
    best = np.where(np.abs(g_low) < np.abs(g_high), low, high)
    least = np.minimum(np.abs(g_low), np.abs(g_high))
    side = np.zeros(len(rows))
    for turn in range(TURNS):
        live = np.flatnonzero(least > close)
        if not live.size:
            break
        lo, hi, a, b = low[live], high[live], g_low[live], g_high[live]
        with np.errstate(invalid="ignore", divide="ignore"):
            trial = lo - a * (hi - lo) / (b - a)
        bad = ~np.isfinite(trial) | (turn % 4 == 3)
        trial = np.where(bad, 0.5 * (lo + hi), trial)
        got = gaps(rows[live], trial)
        got = np.where(np.isfinite(got), got, a)
        left = a * got > 0.0
        again = np.where(left, 1.0, -1.0) == side[live]
        low[live], high[live] = np.where(left, trial, lo), np.where(left, hi, trial)
        g_low[live] = np.where(left, got, np.where(again, 0.5, 1.0) * a)
        g_high[live] = np.where(left, np.where(again, 0.5, 1.0) * b, got)
        side[live] = np.where(left, 1.0, -1.0)
        better = np.abs(got) < least[live]
        best[live] = np.where(better, trial, best[live])
        least[live] = np.where(better, np.abs(got), least[live])
    return np.asarray(np.where(least <= JUMP / CLOSE * close, best, np.nan))
