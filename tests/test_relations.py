"""Every labelled formula: its text is its code, its words are known, its dimensions are right, and it agrees
with the check values at hand. A new formula is tested here by being there; nothing needs to be added.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from itertools import islice
from typing import Any

import numpy as np
import pint
import pytest

import harness
from harness import BROKEN, EQUATIONS, FORMULAS, LABELS
from printed_calls import CALLS
from thinstock.formula.label import RELATIONS, STATUSES
from thinstock.words import constants, nomenclature

SOURCES = tomllib.loads(files("thinstock.words").joinpath("sources.toml").read_text(encoding="utf-8"))
ROWS = dict(harness.check_rows())


def test_every_module_of_formulas_can_be_imported() -> None:
    assert not BROKEN, "\n".join(f"{name}: {error!r}" for name, error in BROKEN.items())


# -------------------------------------------- words, sources, status


@pytest.mark.parametrize("name", LABELS)
def test_every_word_of_a_formula_is_in_the_nomenclature(name: str) -> None:
    label = LABELS[name]
    known = {**nomenclature.words(), **constants.TABLE}
    unknown = [word for word in (*label.arguments, *label.gives, *label.holds, *label.in_units) if word not in known]
    assert not unknown, f"add to nomenclature.toml: {unknown}"
    own = (*label.arguments, *label.gives, *constants.TABLE)
    strays = [word for word in (*label.holds, *label.in_units) if word not in own]
    assert not strays, f"{strays} are no words of {name}"


@pytest.mark.parametrize("name", LABELS)
def test_every_formula_says_where_it_is_from(name: str) -> None:
    label = LABELS[name]
    assert label.source in SOURCES, f"add {label.source} to sources.toml"
    assert label.status in STATUSES
    assert (label.function.__doc__ or "").strip(), "a formula needs a sentence that says what it is"
    if label.status == "published":
        assert SOURCES[label.source]["held"] != "none", "a formula of no source cannot be published"


@pytest.mark.parametrize("name", LABELS)
def test_no_formula_has_a_default_argument(name: str) -> None:
    function = LABELS[name].function
    kept = {"mat_memory": 0.0} if name == "drainage.drain" else {}  # older callers stay as they are
    assert not function.__defaults__ and (function.__kwdefaults__ or {}) == kept


# -------------------------------------------- text and code


def same(got: Any, wanted: Any, relative: float) -> bool:
    got, wanted = np.asarray(got, dtype=float), np.asarray(wanted, dtype=float)
    got, wanted = np.broadcast_arrays(got, wanted)
    scale = np.nanmax(np.abs(np.where(np.isfinite(wanted), wanted, 0.0)), initial=0.0)
    return np.allclose(got, wanted, rtol=relative, atol=1e-14 * scale, equal_nan=True)


@pytest.mark.parametrize("name", FORMULAS)
def test_the_text_of_a_formula_is_its_code(name: str) -> None:
    label = LABELS[name]
    finite = 0
    for point in harness.random_points(label):
        text, code = harness.result_of_text(label, point), harness.call(label, point)
        assert len(text) == len(code) == len(label.gives)
        for word, by_text, by_code in zip(label.gives, text, code, strict=True):
            assert same(by_code, by_text, 1e-9), f"{word} at {point}: code {by_code}, text {by_text}"
        finite += all(np.isfinite(np.asarray(part, dtype=float)).all() for part in code)
    assert finite >= 12, f"only {finite} of 24 random points give a number: narrow `holds` or the usual ranges"


@pytest.mark.parametrize("name", EQUATIONS)
def test_the_answer_of_an_equation_put_back_leaves_nothing(name: str) -> None:
    label = LABELS[name]
    good = 0
    for point in islice(harness.good_points(label), 12):
        answer = harness.call(label, point)
        left = _residual(label, point, answer)
        moved = max(_moved_residual(label, point, answer, k, f) for k in range(len(answer)) for f in (0.99, 1.01))
        if moved == 0.0 or not np.isfinite(moved):
            continue
        assert left <= 1e-4 * moved, f"residual {left} at the answer, {moved} one per cent beside it; {point}"
        good += 1
    assert good >= 6, f"only {good} of 40 random points could be tested"


def _residual(label: Any, point: Any, answer: tuple[Any, ...]) -> float:
    found = harness.lines_worked_out(label, harness.answered(label, point, answer))
    assert "0" in found, "the last line of an equation is a residual, `0 = ...`"
    return float(np.max(np.abs(np.asarray(found["0"], dtype=float))))


def _moved_residual(label: Any, point: Any, answer: tuple[Any, ...], k: int, factor: float) -> float:
    moved = tuple(np.asarray(p, dtype=float) * factor if i == k else p for i, p in enumerate(answer))
    return float(np.nan_to_num(_residual(label, point, moved), nan=0.0))


@pytest.mark.parametrize("name", FORMULAS)
def test_arrays_give_what_scalars_give_one_by_one(name: str) -> None:
    label = LABELS[name]
    if not label.arguments:
        pytest.skip("takes no argument")
    vectors = harness.components(label)
    points = harness.random_points(label, count=3, parts=3)  # as many cases as components
    together = {a: np.stack([np.asarray(p[a]) for p in points]) for a in label.arguments}
    results = harness.call(label, together)
    for number, point in enumerate(points):
        for part, alone in zip(results, harness.call(label, point), strict=True):
            assert same(np.asarray(part)[number], alone, 1e-12), f"case {number}"
    if not vectors:
        one_row = {a: np.asarray(points[0][a])[None] for a in label.arguments}
        assert all(np.shape(part) == (1,) for part in harness.call(label, one_row))
        assert all(np.ndim(part) == 0 for part in harness.call(label, points[0]))


# -------------------------------------------- dimensions

DIMENSIONAL_CONSTANTS = 33
"""How many formulas hold constants with a dimension (they say so by `in_units`)."""


def test_formulas_with_dimensional_constants_are_counted() -> None:
    stripped = [name for name in (*FORMULAS, *EQUATIONS) if LABELS[name].in_units]
    assert len(stripped) == DIMENSIONAL_CONSTANTS, "\n".join(stripped)


@pytest.mark.parametrize("name", (*FORMULAS, *EQUATIONS))
def test_the_dimensions_of_a_formula_are_right(name: str) -> None:
    label = LABELS[name]
    try:
        found = harness.dimensions_of_text(label, stripped=bool(label.in_units))
    except harness.DimensionError as error:
        pytest.fail(f"{error}\n{label.formula}")
    for word, quantity in zip(label.gives, found, strict=bool(found)):
        unit = nomenclature.word(word).unit
        got = harness.registry().Quantity(quantity)
        fits = got.is_compatible_with(harness.quantity_of(unit)) or (bool(label.in_units) and got.dimensionless)
        assert fits, f"{word} comes out in {got.to_base_units().units}, not {unit!r}"


@pytest.mark.parametrize("name", [name for name in (*FORMULAS, *EQUATIONS) if LABELS[name].in_units])
def test_a_formula_is_stripped_of_units_only_where_it_must_be(name: str) -> None:
    label = LABELS[name]
    try:
        found = harness.dimensions_of_text(label, stripped=False)
    except (harness.DimensionError, pint.PintError):
        return
    units = [harness.quantity_of(nomenclature.word(word).unit) for word in label.gives]
    fits = all(harness.registry().Quantity(q).is_compatible_with(u) for q, u in zip(found, units, strict=bool(found)))
    assert not fits, "the dimensions are right without `in_units`: leave it out"


# -------------------------------------------- check values


@pytest.mark.parametrize("key", ROWS)
def test_agrees_with_the_check_value(key: str) -> None:
    row = ROWS[key]
    assert row["status"] in STATUSES
    assert ("relation" in row) != ("call" in row), "a row names a formula or a function to call"
    assert row["relation"] in RELATIONS if "relation" in row else row["call"] in CALLS, "no such formula"
    got = harness.worked_row(row)
    printed = row["printed"] if isinstance(row["printed"], list) else [row["printed"]]
    values = np.ravel(np.asarray(got, dtype=float))
    assert len(values) == len(printed), f"{len(values)} values against {len(printed)} printed ones"
    factor, offset = (row["in_si"], 0.0) if "in_si" in row else harness.row_factor_offset(row.get("unit", "1"))
    if "within" in row or row.get("misses"):
        assert row.get("because"), "a widened tolerance and a miss say why"
    outside = [
        told
        for value, text in zip(values, printed, strict=True)
        if (told := compare(value, str(text), row, factor, offset))
    ]
    if row.get("misses"):
        assert outside, "it no longer misses: take the mark away"
    else:
        assert not outside, "; ".join(outside)


def compare(value: float, text: str, row: dict[str, Any], factor: float, offset: float) -> str:
    """Nothing, or by how much a value lies outside the printed one."""
    wanted = float(text) * factor + offset
    if not np.isfinite(wanted):
        alike = (np.isnan(value) and np.isnan(wanted)) or value == wanted
        return "" if alike else f"{value!r} against {text}"
    if "within" not in row:
        tolerance = harness.half_last_digit(text) * factor
    elif row.get("relative"):
        tolerance = abs(row["within"] * wanted)
    else:
        tolerance = abs(row["within"] * factor)
    scale = max(abs(wanted - offset), row.get("scale", 0.0) * factor)
    if float(text) != 0.0:
        assert tolerance < 0.05 * scale or row.get("misses"), "a tolerance this wide proves nothing"
    else:
        assert "scale" in row or "within" not in row, "a zero needs a scale to be measured by"
    # a hair for the last digit of a value that was rounded half way
    if abs(value - wanted) <= tolerance * (1.0 + 1e-9) + 1e-15 * abs(wanted):
        return ""
    return f"{(value - offset) / factor!r} against {text} {row.get('unit', '1')} ± {tolerance / factor:g}"


# -------------------------------------------- print

PRINT = {key: row for key, row in ROWS.items() if key.startswith("published/")}
HOW = ("read", "excerpt", "abstract", "quoted", "from memory")
"""How a printed value was read: the page, its beginning, the abstract, as another page gives it, or not again."""


@pytest.mark.parametrize("key", PRINT)
def test_a_printed_value_says_where_it_stands_and_how_it_was_read(key: str) -> None:
    row = PRINT[key]
    assert row["source"] in SOURCES, f"add {row.get('source')} to sources.toml"
    assert SOURCES[row["source"]]["held"] != "none", "what no source prints is no print: it belongs in tests/checks"
    assert row["where"].strip()
    assert row["read"].startswith(HOW)
    assert (row["status"] == "from memory") == row["read"].startswith("from memory")
    assert row["status"] in ("published", "from memory")
    assert all(isinstance(text, str) for text in np.ravel(row["printed"])), "digits as printed need quotes"


def test_at_least_two_hundred_printed_values_are_checked() -> None:
    assert sum(np.size(row["printed"]) for row in PRINT.values()) >= 200


def test_what_is_printed_and_not_checked_says_why() -> None:
    entries = tomllib.loads(harness.NOT_REACHED.read_text(encoding="utf-8"))["not_reached"]
    assert len({entry["what"] for entry in entries}) == len(entries)
    for entry in entries:
        assert entry["printed"].strip() and len(entry["because"].split()) >= 4, entry["what"]
