"""Many cases without a compiler: the bodies of one case over arrays of cases, each ending up as it does alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest

import thinstock
from thinstock.kernels import abreast_marches, compiled, drainage, drainage_core, dryer, dryer_search
from thinstock.kernels.abreast import abreast
from thinstock.kernels.abreast_numbers import FEW, LEAST, begin, few_alone
from thinstock.kernels.dryer_march import AIR, CONVERGED, HIGHEST, LOWEST, MARCHES, STATUS, UNEVEN, WANTED
from thinstock.studies import bands

CASES = 40


def early(x: Any, y: Any) -> Any:
    """Branches that return, with and without another way."""
    if x > 0.5:
        if y > 0.5:
            return x + y, 1
        y = -y
    elif x < 0.1:
        return x, 2
    else:
        y += 1.0
    return (y if x > y else x), 3


def turns(x: Any, table: Any) -> Any:
    """Loops that break off, skip and return, tables that are written, places that differ from case to case."""
    total, k, best = 0.0, 0, -1
    for i in range(6):
        if table[i] < 0.2:
            continue
        if table[i] > 0.9:
            return -1.0
        total += table[i]
        table[i] = total
        if total > x:
            best = i
            break
    while k < 5 and table[k] < 0.5:
        k += 1
    if best >= 0:
        table[best] += 10.0
    return total + (table[k] if k < 6 and not total > 2.0 else 0.0)


def nested(x: Any, table: Any) -> Any:
    """A part that calls others, chained comparisons, the least and the most."""
    low, high = min(x, 0.3), max(x, 0.7, 0.2)
    found, kind = early(low, high)
    if 0.2 <= found <= 0.8 and (kind == 3 or x > 0.4):
        found = turns(found, table)
    return found, kind


def uncertain(x: Any, table: Any) -> Any:
    """What goes on until each case is content."""
    for _ in range(40):
        step = 0.5 * (x - table[0])
        table[0] += step
        if abs(step) < 1e-3 * table[1]:
            break
    return table[0]


@pytest.mark.parametrize("body", [early, turns, nested, uncertain])
def test_every_way_through_a_body_ends_over_arrays_as_it_does_for_one_case(body: Callable[..., Any]) -> None:
    random = np.random.default_rng(3)
    x, table = random.uniform(size=300), random.uniform(size=(6, 300))
    second = random.uniform(size=300) if body is early else table.copy()
    begin(300)
    made = abreast(body, lambda one: one in (early, turns, nested, uncertain))(True, x, second)
    for case in range(300):
        own = float(second[case]) if body is early else table[:, case].copy()
        said = body(float(x[case]), own)
        given = tuple(np.broadcast_to(one, 300)[case] for one in made) if isinstance(made, tuple) else made[case]
        assert given == said
        if body is not early:
            assert np.array_equal(own, second[:, case])


def guarded(x: Any) -> Any:
    """What no march may hold."""
    try:
        return 1.0 / x
    except ZeroDivisionError:
        return 0.0


def test_a_body_that_cannot_go_over_arrays_is_refused_with_what_stands_in_the_way() -> None:
    with pytest.raises(TypeError, match="holds no Try: try:"):
        abreast(guarded, lambda _: False)


def test_cases_that_do_not_go_on_are_left_alone() -> None:
    table, live = np.zeros((6, 50)), np.arange(50) % 2 == 0
    table[1] = 1.0
    begin(50)
    abreast(uncertain, lambda _: False)(live, np.ones(50), table)
    assert np.all(table[0, live] > 0.9) and np.all(table[0, ~live] == 0.0)


def test_a_rare_part_is_gone_through_case_by_case_by_few_and_side_by_side_by_many() -> None:
    many = abreast(uncertain, lambda _: False)
    calls: list[float] = []

    def alone(x: Any, table: Any) -> Any:
        calls.append(x)
        return uncertain(x, table)

    part = few_alone(alone, many)
    begin(50)
    for count in (0, 1, FEW, FEW + 1, 50):
        table = np.zeros((6, 50))
        table[1] = 1.0
        calls.clear()
        live: Any = True if count == 50 else np.arange(50) < count
        found = part(live, np.linspace(1.0, 2.0, 50), table)
        assert len(calls) == (count if count <= FEW else 0)
        assert np.array_equal(np.broadcast_to(found, 50)[:count], table[0, :count])
        assert np.all(table[0, :count] > 0.9) and np.all(table[0, count:] == 0.0)


@contextmanager
def both_ways(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[tuple[str, float, Any]]]:
    """Marches of many cases made one by one and abreast; what they differ by, and how many passes were needed."""
    seen: list[tuple[str, float, Any]] = []

    def apart(found: Any, alone: Any) -> float:
        same = (found == alone) | (np.isnan(found) & np.isnan(alone))
        return float(
            np.max(np.where(same, 0.0, np.abs(found - alone) / (np.max(np.abs(np.nan_to_num(alone)), axis=0) + 1e-3)))
        )

    def dried(rows: Any, way: Any, start: Any, out: Any) -> None:
        begun, found = start.copy(), np.empty_like(out)
        with np.errstate(all="ignore"):
            dryer_search.dry_cases.plain(rows, way, start, out)
            if len(rows) == CASES:
                abreast_marches.dry_abreast(rows, way, begun, found)
                seen.append(("dryer", apart(found, out), out[:, MARCHES] == found[:, MARCHES]))

    def drained(table: Any, materials: Any, first: int, stop: int, *made: Any) -> None:
        found = [np.empty_like(one) for one in made]
        with np.errstate(all="ignore"):
            drainage_core.march.plain(table, materials, first, stop, *made)
            if stop - first == CASES:
                abreast_marches.march_abreast(table, materials, first, stop, *found)
                seen.append(("drainage", max(map(apart, found, made)), True))

    monkeypatch.setattr(dryer, "dry_cases", dried)
    monkeypatch.setattr(drainage, "march", drained)
    yield seen


@pytest.mark.parametrize("name", ["facial-roll", "facial-flat-wire", "board-two-shoes"])
def test_draws_of_a_machine_are_marched_abreast_as_one_by_one(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    machine = thinstock.load(name)
    with both_ways(monkeypatch) as seen:
        bands.uncertainty(machine, draws=CASES)
    assert {what for what, _, _ in seen} >= ({"drainage"} if name.startswith("board") else {"drainage", "dryer"})
    assert max(by for _, by, _ in seen) < 1e-12
    assert all(np.all(same) for _, _, same in seen)


def rows_of(machine: Any, monkeypatch: pytest.MonkeyPatch, **changed: Any) -> tuple[Any, Any]:
    """Rows of a dryer's cases, and how they are marched."""
    kept: list[Any] = []
    monkeypatch.setattr(dryer, "dry_cases", lambda rows, way, *_: kept.append((rows.copy(), way)))
    with np.errstate(all="ignore"):
        machine.with_({key.replace("__", "."): value for key, value in changed.items()}).run(fast=True)
    (found,) = (one for one in kept if len(one[0]) > 1)
    rows, way = found
    return rows, way


def test_cases_at_their_bounds_over_dried_even_and_with_five_spots_end_as_they_do_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    machine = thinstock.load("facial-roll")
    rows, way = rows_of(machine, monkeypatch, yankee__speed=np.linspace(12.0, 45.0, CASES))
    tight, even = rows.copy(), rows.copy()
    tight[:, HIGHEST] = tight[:, LOWEST] + 5.0
    tight[:, WANTED] *= np.linspace(0.05, 2.0, CASES)
    even[:, UNEVEN] = 0.0
    hard = rows[:12].repeat(4, axis=0)[:CASES]
    hard[:, AIR] = hard[:, HIGHEST]
    spots = way._replace(spots=5)
    for given, how in ((rows, way), (tight, way), (even, way), (hard, way._replace(hold=0)), (rows[:LEAST], spots)):
        alone, found = np.empty((len(given), 37)), np.empty((len(given), 37))
        with np.errstate(all="ignore"):
            dryer_search.dry_cases(given, how, np.full((len(given), 12), np.nan), alone)
            abreast_marches.dry_abreast(given, how, np.full((len(given), 12), np.nan), found)
        assert np.array_equal(alone[:, [STATUS, CONVERGED]], found[:, [STATUS, CONVERGED]])
        assert found == pytest.approx(alone, rel=1e-9, abs=1e-9, nan_ok=True)


def test_a_machine_that_nobody_compiled_for_marches_its_draws_abreast(monkeypatch: pytest.MonkeyPatch) -> None:
    one_by_one: list[int] = []
    for face in (dryer_search.dry_cases, drainage_core.march):
        monkeypatch.setattr(face, "made", None)
        monkeypatch.setattr(face, "_plainly", lambda _expected: True)
        alone = face.ways[0].work

        def counted(*given: Any, alone: Any = alone) -> None:
            one_by_one.append(1)
            alone(*given)

        monkeypatch.setattr(face.ways[0], "work", counted)
    with np.errstate(all="ignore"):
        bands.uncertainty(thinstock.load("facial-roll"), draws=100)
    assert len(one_by_one) <= 12


def test_draws_go_abreast_and_thousands_of_cases_have_machine_code_made(monkeypatch: pytest.MonkeyPatch) -> None:
    march = drainage_core.march
    seen: list[int] = []
    (suits,) = (way.suits for way in march.ways if way.work is abreast_marches.march_abreast)
    for cases in (8, 400, 5000):
        compiled.over_cases(lambda start, stop: seen.append(suits(None, None, start, stop)), cases, least=500)
        assert set(seen) == {cases == 400}
        seen.clear()
    monkeypatch.setattr(abreast_marches, "can_compile", lambda: False)
    compiled.over_cases(lambda start, stop: seen.append(suits(None, None, start, stop)), 5000, least=500)
    assert set(seen) == {True}
