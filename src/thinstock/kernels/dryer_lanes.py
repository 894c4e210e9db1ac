"""The dryers of many cases side by side: the marches of a pass in lanes, the rest case by case as in `dryer_search`.

Each case is searched for as alone, with the same end test; one that does not settle goes the slow and sure way alone.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Num
from thinstock.kernels.compiled import can_compile, machine, njit
from thinstock.kernels.dryer_march import LENGTH, MARCHES, ROW, SHEET, STATUS, Case, behind_march, set_hood
from thinstock.kernels.dryer_search import (
    BOOK,
    PASSES,
    Way,
    advanced,
    dry_cases,
    ends_of,
    finish,
    followed_of,
    left,
    marched_on,
    opened,
    prepared,
    surely,
)
from thinstock.kernels.dryer_spots import EXTRA
from thinstock.kernels.uncounted import uncounted
from thinstock.kernels.yankee_lanes import (
    AHEAD,
    CASE_ROWS,
    LANES,
    MOIST,
    NODE,
    ROWS,
    STRETCHES,
    SUMS,
    WALL,
    WARM,
    march_lanes,
)
from thinstock.kernels.yankee_march import ISOTHERM, path_length

SOME, MANY = 100, 2000
"""Cases from which on they go side by side where machine code is at hand, and where it has to be made first."""
BLOCK = 1024
"""Cases kept in hand at a time: so many that few lanes run empty, so few that they stay near the processor."""


class Hand(NamedTuple):
    """Cases in hand: what `Case` has of each, what is known of its inverse, and the book of its search."""

    d: Num
    c: Num
    segments: Num
    state: Num
    inverse: Num
    known: Num
    book: Num
    settled: Num


class Lanes(NamedTuple):
    """The tables of the march in lanes, and the nodes of one case."""

    s: Num
    course: Num
    nodes: Num


@njit
def case_of(hand: Hand, way: Way, nodes: Num, i: Num, out: Num) -> Num:
    """One of the cases in hand, as the search for one case knows it."""
    record = nodes if marched_on(hand.d[i]) else nodes[:0]
    return Case(
        hand.d[i], hand.c[i], hand.segments[i], way.steps, way.tolerance, way.hold, hand.state[i], hand.inverse[i],
        out[i], record, followed_of(way),
    )  # fmt: skip


@njit
def into_lane(hand: Hand, i: Num, s: Num, lane: Num) -> None:
    """Put a case into a lane."""
    segments = hand.segments[i]
    if hand.d[i, LENGTH] > 0.0:
        set_hood(hand.d[i], hand.state[i, 1], segments)
    for r in range(CASE_ROWS):
        s[r * LANES + lane] = hand.c[i, r]
    s[WALL * LANES + lane] = hand.state[i, 0]
    for j in range(3):
        for k in range(8):
            s[(STRETCHES + 8 * j + k) * LANES + lane] = segments[j, k]


@njit
def out_of_lane(lanes: Lanes, lane: Num, out: Num, record: Num, beyond: Num) -> None:
    """Results and course of a case from its lane."""
    s, course = lanes.s, lanes.course
    out[0], out[1] = s[MOIST * LANES + lane], s[WARM * LANES + lane]
    for f in range(6):
        out[2 + f] = s[(SUMS + f) * LANES + lane]
    for node in range(record.shape[0]):
        for f in range(NODE):
            record[node, f] = course[(node * NODE + f) * LANES + lane]
    for k in range(EXTRA):
        beyond[k] = s[(AHEAD + k) * LANES + lane]


@njit
def pass_of(hand: Hand, way: Way, lanes: Lanes, open_cases: Num, results: Num) -> Num:
    """March these cases once and move each on; those that go on come first, their number is returned."""
    ends, beyond, going_on = ends_of(way.tolerance), np.empty(EXTRA), 0
    count = open_cases.shape[0]
    for first in range(0, count, LANES):
        for lane in range(LANES):
            into_lane(hand, open_cases[min(first + lane, count - 1)], lanes.s, lane)
        isotherm = hand.c[open_cases[first], ISOTHERM]
        march_lanes(lanes.s, way.steps, way.tolerance, isotherm, lanes.course)
        for lane in range(min(LANES, count - first)):
            i = open_cases[first + lane]
            w = case_of(hand, way, lanes.nodes, i, results)
            out_of_lane(lanes, lane, w.out, w.record, beyond)
            f, x_new = behind_march(w, w.state[0], w.state[1], beyond)
            found = advanced(w, ends, hand.known[i], hand.book[i], f, x_new)
            hand.settled[i] = found > 0
            if found == 0:
                open_cases[going_on] = i
                going_on += 1
    return going_on


@njit
def free_of_counts(hand: Hand) -> Hand:
    """The same cases in hand, whose tables are not counted."""
    return Hand(
        uncounted(hand.d), uncounted(hand.c), uncounted(hand.segments), uncounted(hand.state), uncounted(hand.inverse),
        uncounted(hand.known), uncounted(hand.book), uncounted(hand.settled),
    )  # fmt: skip


@njit
def dry_block(rows: Num, way: Way, lanes: Lanes, start: Num, results: Num) -> None:
    """Some of the cases, in tables that are kept until they are through."""
    count = rows.shape[0]
    hand = Hand(
        rows.copy(), np.empty((count, len(SHEET))), np.empty((count, 3, 8)), np.empty((count, 2)),
        np.empty((count, 3, 3)), np.zeros(count, np.bool_), np.empty((count, BOOK)), np.zeros(count, np.bool_),
    )  # fmt: skip
    dry_in_hand(hand, way, lanes, start, results)


@njit
def dry_in_hand(kept: Hand, given_way: Way, given_lanes: Lanes, given_start: Num, given_results: Num) -> None:
    """Cases in hand from beginning to end."""
    hand, start, results = free_of_counts(kept), uncounted(given_start), uncounted(given_results)
    lanes = Lanes(uncounted(given_lanes.s), uncounted(given_lanes.course), uncounted(given_lanes.nodes))
    way = Way(uncounted(given_way.steps), given_way.tolerance, given_way.hold, given_way.spots, given_way.chained)
    count = start.shape[0]
    open_cases = np.arange(count)
    for i in range(count):
        w = case_of(hand, way, lanes.nodes, i, results)
        hand.known[i] = prepared(w.d, way, w.segments, start[i], w.c, w.state)
        for k in range(9):
            w.inverse[k // 3, k % 3] = start[i, 3 + k]
        w.out[MARCHES] = w.out[STATUS] = 0.0
        opened(w, hand.known[i], hand.book[i])
    for _ in range(PASSES):
        going_on = pass_of(hand, way, lanes, open_cases, results)
        open_cases = open_cases[:going_on]
        if going_on == 0:
            break
    for i in range(count):
        w = case_of(hand, way, lanes.nodes, i, results)
        settled = hand.settled[i] or surely(w)
        left(w, start[i])
        finish(w.d, w.c, path_length(w.segments), settled, w.out)


def alike(rows: Num, way: Way) -> bool:
    """Whether these cases can go side by side: spots read off the course, one isotherm, the same stretches in all."""
    stretches = rows[:, [ROW.index(name) for name in ("open_length_before", "hood_length", "open_length_after")]] > 0.0
    isotherm = rows[:, SHEET[ISOTHERM]]
    return way.spots == 0 and bool(np.all(stretches == stretches[0]) and np.all(isotherm == isotherm[0]))


@machine
def dry_lanes(rows: Num, way: Way, start: Num, out: Num) -> None:
    """Every row of a table of cases that are `alike`, as `dry_cases`."""
    room = way.steps.sum() + 1
    lanes = Lanes(np.zeros(ROWS * LANES), np.empty(room * NODE * LANES), np.empty((room, 9)))
    for first in range(0, rows.shape[0], BLOCK):
        last = min(first + BLOCK, rows.shape[0])
        dry_block(rows[first:last], way, lanes, start[first:last], out[first:last])


def side_by_side(cases: int, way: Way) -> bool:
    """Whether so many cases go side by side: a few hundred do where machine code is at hand, thousands compile it."""
    if way.spots > 0 or way.chained > 0 or cases < SOME:
        return False
    return dry_lanes.ready() or (cases >= MANY and can_compile())


def dry_many(rows: Num, way: Way, start: Num, out: Num) -> None:
    """Many rows, as `dry_cases`: side by side where they are alike."""
    (dry_lanes if alike(rows, way) else dry_cases)(rows, way, start, out)
