"""What listens while formulas are used: the worksheet keeps steps and where inputs came from, the range watch
keeps masks only, and without a recorder nothing is kept."""

from __future__ import annotations

import copy
import json
import pickle
import threading
import weakref
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
import pytest

from thinstock.formula import expression
from thinstock.formula import label as recording
from thinstock.formula.label import RELATIONS, ValueWatch, label_of, range_watch, relation, watching, worksheet
from thinstock.formula.remembering import clip, where


class Pair(NamedTuple):
    flow: Any
    power: Any


@pytest.fixture(scope="module", autouse=True)
def formulas() -> Iterator[None]:
    """Formulas of this test alone; the registry is as before afterwards."""
    before = dict(RELATIONS)
    for function, gives, formula, holds in (
        (double, "speed", "v = 2*speed", None),
        (force_of, "force", "f = load*speed", {"speed": (0.0, 10.0)}),
        (pair, ("flow", "power"), "power = flow + 2.5; flow = flow + 1.5", None),
        (nested, "force", "f = 2*load*speed", None),
    ):
        label = relation(gives=gives, formula=formula, source="DERIVED", status="derived", holds=holds)
        MADE[function.__name__] = label(function)
    yield
    RELATIONS.clear()
    RELATIONS.update(before)


MADE: dict[str, Any] = {}


def double(speed: Any) -> Any:
    """Twice a speed."""
    return 2.0 * speed


def force_of(load: Any, speed: Any) -> Any:
    """A product."""
    return load * speed


def pair(flow: Any) -> Pair:
    """Two results."""
    return Pair(flow + 1.5, flow + 2.5)


def nested(load: Any, speed: Any) -> Any:
    """A formula that uses another."""
    return MADE["force_of"](load, MADE["double"](speed))


def test_a_worksheet_keeps_every_step_with_its_inputs_and_result() -> None:
    with worksheet() as sheet:
        result = MADE["force_of"](3.0, speed=4.0)
    assert result == 12.0
    (step,) = sheet.steps
    assert step.label.name == "test_recorder.force_of"
    assert (step.inputs, step.output) == ({"load": 3.0, "speed": 4.0}, 12.0)
    assert step.parent is None


def test_a_number_remembers_where_it_came_from() -> None:
    twin = float("7.25")
    with worksheet() as sheet:
        given = sheet.given("yankee.speed", twin)
        doubled = MADE["double"](given)
        MADE["force_of"](twin, doubled)
    first, second = sheet.steps
    assert first.origins == {"speed": "yankee.speed"}
    assert second.origins["speed"] == (0, "speed")
    assert second.origins["load"] is None, "an equal number that nobody gave has no origin"


def test_each_part_of_a_tuple_is_known_by_its_word() -> None:
    with worksheet() as sheet:
        both = MADE["pair"](1.0)
        MADE["force_of"](both.power, both.flow)
    assert sheet.steps[1].origins == {"load": (0, "power"), "speed": (0, "flow")}


def test_a_value_in_another_dress_keeps_its_origin() -> None:
    with worksheet() as sheet:
        many = np.array([1.0, 2.0])
        sheet.given("stock.share", many)
        one = recording.same(many[..., None], many)
        MADE["double"](one)
    assert sheet.steps[0].origins == {"speed": "stock.share"}


def test_formulas_inside_a_formula_are_folded_under_it() -> None:
    with worksheet() as sheet:
        MADE["nested"](2.0, 3.0)
        MADE["double"](1.0)
    names = [(s.label.name.rsplit(".", 1)[1], s.parent) for s in sheet.steps]
    assert names == [("nested", None), ("double", 0), ("force_of", 0), ("double", None)]


def test_a_step_outside_the_stated_range_says_so() -> None:
    with worksheet() as sheet:
        MADE["force_of"](1.0, 10.0)
        MADE["force_of"](1.0, 10.5)
    assert [s.outside for s in sheet.steps] == [{}, {"speed": (0.0, 10.0)}]


def test_a_muted_worksheet_keeps_nothing_and_gives_the_word_back() -> None:
    with worksheet() as sheet:
        with worksheet(False):
            assert recording.recorder() is None
            MADE["double"](1.0)
        MADE["double"](2.0)
    assert [s.inputs["speed"] for s in sheet.steps] == [2.0]
    assert recording.recorder() is None


def test_a_worksheet_survives_a_formula_that_fails() -> None:
    with worksheet() as sheet:
        with pytest.raises(TypeError):
            MADE["double"](object())
        MADE["double"](1.0)
    assert sheet.steps[1].parent is None


def test_a_range_watch_keeps_a_mask_of_the_cases_outside() -> None:
    speed = np.array([5.0, 11.0, -1.0, np.nan])
    with range_watch() as watch:
        result = MADE["force_of"](2.0, speed)
        MADE["force_of"](2.0, np.array([20.0, 1.0, 1.0, 1.0]))
        MADE["double"](speed)
    assert np.array_equal(result, 2.0 * speed, equal_nan=True)
    assert set(watch.outside) == {("test_recorder.force_of", "speed")}
    assert watch.outside["test_recorder.force_of", "speed"].tolist() == [True, True, True, True]


def test_nobody_listens_in_another_thread() -> None:
    heard: list[object] = []
    with worksheet() as sheet:
        other = threading.Thread(target=lambda: heard.append(recording.recorder()))
        other.start()
        other.join()
    assert heard == [None] and not sheet.steps


def test_the_label_travels_with_the_function() -> None:
    label = label_of(MADE["force_of"])
    assert label.arguments == ("load", "speed")
    assert label.gives == ("force",)
    assert RELATIONS["test_recorder.force_of"] is MADE["force_of"]
    assert MADE["force_of"].__wrapped__ is force_of


# -------------------------------------------- numbers that remember


def test_plain_arithmetic_between_formulas_is_a_step_of_its_own() -> None:
    with worksheet() as sheet:
        speed, draw = sheet.given("yankee.speed", 20.0, "speed"), sheet.given("forming.wire_draw", 0.01)
        MADE["double"](speed * (1.0 - draw))
    (used,) = sheet.steps
    number, word = used.origins["speed"]
    step = sheet.steps[number]
    assert (word, step.label.formula) == ("speed", "speed = speed*(1 - wire_draw)")
    assert step.origins == {"speed": "yankee.speed", "wire_draw": "forming.wire_draw"}
    assert expression.evaluate(step.label, step.inputs) == step.output == used.inputs["speed"]
    assert used.place > step.place, "arithmetic is read before the formula it goes into"


def test_a_number_without_memory_in_between_is_named_as_a_loose_end() -> None:
    with worksheet() as sheet:
        speed = sheet.given("yankee.speed", 20.0, "speed")
        product = speed * np.float64(1.1)
        MADE["double"](np.float64(product))
    assert sheet.steps[0].origins == {"speed": None}, "a number made anew has forgotten"
    number, _ = sheet.origin(product)
    assert sheet.steps[number].origins == {"speed": "yankee.speed", "number": None}


@pytest.mark.parametrize(
    ("arithmetic", "text"),
    [
        (lambda a, b: a - (b - a), "a - (b - a)"),
        (lambda a, b: 2 * a / (b * a), "2*a/(b*a)"),
        (lambda a, b: -(a**b) + 3, "-a**b + 3"),
        (lambda a, b: (a + b) ** 2, "(a + b)**2"),
        (lambda a, b: -a * b, "(-a)*b"),
        (lambda a, b: np.maximum(a, 0.5) / np.sqrt(b), "max(a, 0.5)/sqrt(b)"),
        (lambda a, b: abs(a - np.pi) % b, "abs(a - pi) - b*floor(abs(a - pi)/b)"),
        (lambda a, b: sum([a, b, a]), "a + b + a"),
    ],
)
def test_arithmetic_is_written_as_it_was_done(arithmetic: Any, text: str) -> None:
    with worksheet() as sheet:
        a, b = sheet.given("part.a", 2.5), sheet.given("part.b", 1.5)
        made = arithmetic(a, b)
        number, _ = sheet.origin(made)
    step = sheet.steps[number]
    assert step.label.formula == f"intermediate_result = {text}"
    assert expression.evaluate(step.label, step.inputs) == pytest.approx(float(arithmetic(2.5, 1.5)), rel=1e-15)


def test_nothing_is_remembered_while_nothing_listens_or_inside_a_formula() -> None:
    with worksheet() as sheet:
        speed = sheet.given("yankee.speed", 20.0)
        with worksheet(False):
            assert type(speed * 2.0) is np.float64
        MADE["double"](speed)
    assert type(speed * 2.0) is np.float64
    assert type(sheet.steps[0].output) is np.float64


def test_a_remembering_number_is_a_float_everywhere_else() -> None:
    with worksheet() as sheet:
        number = sheet.given("yankee.speed", 2.5)
        array = number * np.array([1.0, 2.0])
        grown = np.array([1.0, 2.0])
        grown *= number
    assert isinstance(number, float) and number == 2.5 and hash(number) == hash(2.5) and number < 3 and number > 2
    assert (f"{number:.2f}", str(number), json.dumps(number), repr(number)) == ("2.50", "2.5", "2.5", "np.float64(2.5)")
    for copied in (pickle.loads(pickle.dumps(number)), copy.copy(number), copy.deepcopy(number), +number):
        assert type(copied) is np.float64 and copied == 2.5
    assert type(array) is np.ndarray and array.tolist() == grown.tolist() == [2.5, 5.0]
    assert np.isclose(number, 2.5) and np.isfinite(number) and number[()] is number


def test_a_number_keeps_no_worksheet_alive() -> None:
    with worksheet() as sheet:
        kept = MADE["double"](sheet.given("yankee.speed", 2.5)) * 3.0
        gone = weakref.ref(sheet)
    del sheet
    assert gone() is None and kept == 15.0


def test_choosing_and_clipping_do_not_forget() -> None:
    with worksheet() as sheet:
        low, high = sheet.given("part.low", 1.0), sheet.given("part.high", 2.0)
        assert where(low < high, low, high) is low
        assert sheet.origin(where(high < low, low, high)) == "part.high"
        assert sheet.knows(clip(5.0, low, high)) and clip(5.0, low, high) == 2.0
    assert where(np.array([True, False]), low, high).tolist() == [1.0, 2.0]


def test_a_watch_over_one_case_keeps_the_values_outside_and_their_range() -> None:
    with watching(ValueWatch()) as watch:
        MADE["force_of"](1.0, 10.0)
        MADE["force_of"](1.0, speed=10.5)
        MADE["nested"](2.0, 8.0)
    key = ("test_recorder.force_of", "speed")
    assert watch.outside == {key: [10.5, 16.0]} and watch.bounds == {key: (0.0, 10.0)}
