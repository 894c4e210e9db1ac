"""What listens while formulas are used: the worksheet keeps steps and where inputs came from, the range watch
keeps masks only, and without a recorder nothing is kept."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
import pytest

from thinstock.formula import label as recording
from thinstock.formula.label import RELATIONS, label_of, range_watch, relation, worksheet


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


def test_where_an_input_came_from_is_found_by_the_object_itself() -> None:
    given, twin = float("7.25"), float("7.25")
    with worksheet() as sheet:
        sheet.given("yankee.speed", given)
        doubled = MADE["double"](given)
        MADE["force_of"](twin, doubled)
    first, second = sheet.steps
    assert first.origins == {"speed": "yankee.speed"}
    assert second.origins["speed"] == (0, "speed")
    assert second.origins["load"] is None, "an equal number that is another object has no origin"


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
    assert set(watch.labels) == {"test_recorder.force_of", "test_recorder.double"}


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
