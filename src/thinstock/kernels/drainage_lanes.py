"""The drainage march of several cases side by side.

The stages of a step take all lanes at once (`drainage_stages`); what becomes of a step is judged lane by lane by the
bodies of the march of one case, whose table `p` is the view `table[:, :, i]`. Each lane goes its own way through the
elements and takes the next case when it is through, so that none waits for another.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.kernels.abreast_marches import march
from thinstock.kernels.compiled import can_compile, in_all, machine, njit, wanted
from thinstock.kernels.drainage_core import begin, behind, close, close_at, enter, formed, leave, noted, pulse
from thinstock.kernels.drainage_input import Table
from thinstock.kernels.drainage_stages import (
    END_TIME,
    FLOWS,
    LANES,
    RUN,
    SIZE,
    TOTAL,
    TOTAL_AFTER,
    WAITS,
    got,
    put,
    rates_of_states,
    step_lanes,
)
from thinstock.kernels.drainage_steps import (
    AFTER,
    AGAIN,
    ATTEMPTS,
    LANDED,
    LAW,
    LENGTH,
    MEMORY,
    NIP_RADIUS,
    RATES,
    ROW,
    ROWS,
    SLOPE,
    SPEED,
    STATE,
    STEPS,
    STUFF,
    TIME,
    activate,
    first_size,
    judged,
    last_bit,
    slopes_of,
    straight_on,
    take,
)
from thinstock.kernels.uncounted import uncounted

FEW, SOME, MANY = 8, 100, 2000
"""Cases from which on they go side by side: where the machine code is in use, where it is at hand, and where it has to
be made first."""
WORTH = 8000
"""Cases that are drained one by one before kept machine code is fetched: so many take as long as fetching it does."""
CASE, ELEMENT, TRIES, TAKEN = range(4)
"""What a lane counts: its case (-1: none), element, tries of a step, steps of the element."""
GOES, ENDS, FORMS = range(3)
"""Whether a lane goes on in its element, or comes to its end or to the dry line."""


class Hand(NamedTuple):
    """The lanes: numbers of the march, rows of the elements of their cases, and what they count."""

    table: Num
    rows: Num
    count: Num
    place: Num
    ended: Num
    line: Num


class Work(NamedTuple):
    """All that is to be done, and where results go."""

    table: Num
    materials: Num
    single: Num
    by_element: Num
    impulses: Num


class Waited:
    """Cases of this process that could have been drained side by side."""

    cases = 0


@njit
def work_of(work: Work) -> Work:
    """The same work, whose tables are not counted."""
    table = Table(
        uncounted(work.table.base), uncounted(work.table.opened), uncounted(work.table.slots),
        uncounted(work.table.columns),
    )  # fmt: skip
    return Work(
        table, uncounted(work.materials), uncounted(work.single), uncounted(work.by_element), uncounted(work.impulses)
    )  # fmt: skip


@njit
def hand_of(hand: Hand) -> Hand:
    """The same lanes, whose tables are not counted."""
    return Hand(
        uncounted(hand.table), uncounted(hand.rows), uncounted(hand.count), uncounted(hand.place),
        uncounted(hand.ended), uncounted(hand.line),
    )  # fmt: skip


@njit
def load_case(hand: Hand, i: Num, work: Work) -> Num:
    """Put the next case into a lane; False where there is none."""
    case = hand.line[0]
    if case == hand.line[1]:
        hand.count[i, CASE] = -1
        return False
    hand.line[0] += 1
    p, rows, slots = hand.table[:, :, i], hand.rows[i], work.table.slots
    rows[:, :] = work.table.base
    for k in range(slots.shape[0]):
        rows[slots[k, 0], slots[k, 1]] = work.table.columns[slots[k, 2], case]
    for k in range(work.materials.shape[1]):
        p[STUFF, k] = work.materials[case, k]
    begin(p, work.single[case])
    hand.count[i, CASE], hand.count[i, ELEMENT] = case, -1
    hand.place[i] = 0.0
    return True


@njit
def next_element(hand: Hand, i: Num, work: Work) -> Num:
    """Leave an element and come to the next one that is to be marched through; False behind the last."""
    p, count, table = hand.table[:, :, i], hand.count[i], work.table
    case = count[CASE]
    out, taken, impulses = work.single[case], work.by_element[case], work.impulses[case]
    while True:
        if count[ELEMENT] >= 0:
            hand.place[i] += behind(p, count[ELEMENT], taken, impulses)
        count[ELEMENT] += 1
        e = count[ELEMENT]
        if e == hand.rows.shape[1]:
            leave(p, taken, out)
            return False
        enter(p, hand.rows[i, e], table.opened[e])
        if formed(out):
            close(p, 0.0)
        elif p[LAW, NIP_RADIUS] > 0.0:
            if pulse(p):
                close_at(p, hand.place[i], e, out)
        elif p[LAW, LENGTH] > 0.0:
            p[RUN, END_TIME] = p[LAW, LENGTH] / p[STUFF, SPEED]
            count[TAKEN] = 0
            ask_rates(p)
            return True


@njit
def ask_rates(p: Num) -> None:
    """The state is a new one: its rates are asked for."""
    activate(p)
    p[RUN, WAITS] = 1.0


@njit
def begin_in_lane(p: Num, count: Num) -> Num:
    """Size and slope of the next step; whether the lane goes on."""
    noted(p)
    total, end_time = p[RUN, TOTAL], p[RUN, END_TIME]
    left = end_time - p[STATE, TIME]
    if not total > 0.0 or left <= 1e-8 * end_time or count[TAKEN] >= STEPS:
        return ENDS
    p[RUN, SIZE] = first_size(p, total, left, end_time)
    slopes_of(p, RATES, total, SLOPE)
    p[RUN, TOTAL_AFTER] = total
    count[TAKEN] += 1
    count[TRIES] = 0
    return GOES


@njit
def end_in_lane(p: Num, count: Num) -> Num:
    """What becomes of the step of a lane; whether it goes on."""
    total, total_after, size, end_time = p[RUN, TOTAL], p[RUN, TOTAL_AFTER], p[RUN, SIZE], p[RUN, END_TIME]
    count[TRIES] += 1
    verdict, smaller = judged(p, (total, total_after), end_time, size, p[RUN, FLOWS] > 0.0)
    if verdict == AGAIN:
        if last_bit(p, total, end_time):
            total_after = straight_on(p, size)
        elif count[TRIES] < ATTEMPTS:
            p[RUN, SIZE] = smaller
            return GOES
    done, full = take(p)
    if done:
        return FORMS
    for k in range(8):
        p[RATES, k] = p[AFTER, k]
    p[RUN, TOTAL] = total_after
    if verdict == LANDED or full:
        ask_rates(p)
        return GOES
    return begin_in_lane(p, count)


@njit
def onward(hand: Hand, i: Num, work: Work) -> None:
    """To the next element of a lane's case, or to the next case."""
    going = hand.count[i, CASE] >= 0 and next_element(hand, i, work)
    while not going:
        if not load_case(hand, i, work):
            break
        going = next_element(hand, i, work)


@njit
def rates_asked(table: Num, count: Num, s: Num, packing: Num, ended: Num) -> Num:
    """Rates of the states that are new, and the steps from there; how many lanes come to the end of an element."""
    waiting = ends = 0
    for i in range(LANES):
        ended[i] = GOES
        waiting += 1 if got(s, RUN * ROW + WAITS, i) > 0.0 else 0
    if waiting == 0:
        return 0
    rates_of_states(s, packing)
    for i in range(LANES):
        if got(s, RUN * ROW + WAITS, i) > 0.0:
            put(s, RUN * ROW + WAITS, i, 0.0)
            ended[i] = begin_in_lane(table[:, :, i], count[i])
            ends += 1 if ended[i] != GOES else 0
    return ends


@njit
def one_step(table: Num, count: Num, s: Num, packing: Num, ended: Num) -> Num:
    """A step in all lanes that have a case; how many come to the end of an element, -1 where no lane has a case."""
    going = ends = 0
    for i in range(LANES):
        going += 1 if count[i, CASE] >= 0 else 0
    if going == 0:
        return -1
    step_lanes(s, packing)
    for i in range(LANES):
        ended[i] = GOES
        if count[i, CASE] >= 0:
            ended[i] = end_in_lane(table[:, :, i], count[i])
            ends += 1 if ended[i] != GOES else 0
    return ends


@njit
def all_onward(hand: Hand, work: Work) -> None:
    """Lanes at the end of an element go on."""
    for i in range(LANES):
        if hand.ended[i] == FORMS:
            case = hand.count[i, CASE]
            close_at(hand.table[:, :, i], hand.place[i], hand.count[i, ELEMENT], work.single[case])
        if hand.ended[i] != GOES:
            onward(hand, i, work)


@machine
def march_lanes(given_hand: Hand, given_work: Work, packing: Num) -> None:
    """Every case of a table, as `march`; `packing`: whether any mat keeps some of it."""
    hand, work = hand_of(given_hand), work_of(given_work)
    table, count, ended = hand.table, hand.count, hand.ended
    s = table.reshape(-1)
    count[:, CASE] = -1
    ended[:] = ENDS
    ends = LANES
    while ends >= 0:
        while ends > 0:
            all_onward(hand, work)
            ends = rates_asked(table, count, s, packing, ended)
        ends = one_step(table, count, s, packing, ended)
        if ends == 0:
            ends = rates_asked(table, count, s, packing, ended)


def march_side_by_side(
    table: Table, materials: Array, first: int, stop: int, single: Array, by_element: Array, impulses: Array
) -> None:
    """All cases from `first` to `stop`, as `march`."""
    hand = Hand(
        np.zeros((ROWS + 1, ROW, LANES)),
        np.empty((LANES, table.base.shape[0], ROW)),
        np.zeros((LANES, 4), np.int64),
        np.zeros(LANES),
        np.zeros(LANES, np.int64),
        np.array([first, stop]),
    )
    packing = bool(np.any(materials[first:stop, MEMORY] > 0.0))
    march_lanes(hand, Work(table, materials, single, by_element, impulses), packing)


def side_by_side(cases: int, of: int) -> bool:
    """Whether cases go side by side that are a part of so many."""
    if march_lanes.made is not None:
        return of >= FEW
    if of < SOME or wanted():
        return of >= SOME
    Waited.cases += cases
    return Waited.cases >= WORTH and (march_lanes.ready() or (of >= MANY and can_compile()))


def march_many(table: Table, materials: Array, first: int, stop: int, *made: Array) -> None:
    """All cases from `first` to `stop`: side by side where that is the quicker way."""
    way = march_side_by_side if side_by_side(stop - first, in_all(stop - first)) else march
    way(table, materials, first, stop, *made)
