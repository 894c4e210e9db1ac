"""Dotted names find, list and replace values in any tree of parts, and refuse all doubtful ones at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
import pytest

from thinstock.errors import Fault, Refused
from thinstock.words import address


@dataclass(frozen=True, kw_only=True, eq=False)
class Box:
    name: str
    vacuum: float
    length: float = 0.3

    def __post_init__(self) -> None:
        if self.vacuum < 0:
            raise Refused(Fault(field="vacuum", value=str(self.vacuum), bound="below 0", remedy="Vacuum is positive."))


@dataclass(frozen=True, kw_only=True, eq=False)
class Headbox:
    consistency: float
    jet_ratio: float = 1.0

    def __post_init__(self) -> None:
        if not 0 < self.consistency < 1:
            raise Refused(Fault(field="consistency", value=str(self.consistency), bound="outside 0 to 1"))


class Level(NamedTuple):
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Machine:
    title: str
    headbox: Headbox
    boxes: tuple[Box, ...]
    limits: Any = field(default_factory=dict)
    level: Level = field(default_factory=lambda: Level(1.0, 2.0))
    share: tuple[float, ...] = (0.7, 0.3)


@pytest.fixture
def machine() -> Machine:
    return Machine(
        title="Machine 2",
        headbox=Headbox(consistency=0.002),
        boxes=(
            Box(name="wet box", vacuum=1e3),
            Box(name="flat box 1", vacuum=2e4),
            Box(name="couch", vacuum=4e4),
        ),
        limits={"rated speed": 33.0, "power": None},
    )


def test_every_value_is_listed_with_its_address(machine: Machine) -> None:
    listed = dict(address.listing(machine))
    assert list(listed)[:3] == ["title", "headbox.consistency", "headbox.jet_ratio"]
    assert listed["boxes.flat_box_1.vacuum"] == 2e4
    assert listed["limits.rated_speed"] == 33.0
    assert listed["limits.power"] is None
    assert listed["level.high"] == 2.0
    assert listed["share"] == (0.7, 0.3)
    for name, value in listed.items():
        assert address.get(machine, name) is value


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("boxes.wet_box.vacuum", 1e3),
        ("boxes.wet box.vacuum", 1e3),
        ('boxes."wet box".vacuum', 1e3),
        ("wet_box.vacuum", 1e3),
        ("consistency", 0.002),
        ("rated speed", 33.0),
    ],
)
def test_a_tail_is_enough_where_it_is_the_only_one(machine: Machine, name: str, value: float) -> None:
    assert address.get(machine, name) == value
    full = address.resolve(machine, name)
    assert dict(address.listing(machine))[full] == value


def test_a_part_can_be_had_as_a_whole(machine: Machine) -> None:
    assert address.get(machine, "couch") is machine.boxes[2]
    assert address.get(machine, "headbox") is machine.headbox


def test_a_doubtful_name_is_refused_with_all_it_could_be(machine: Machine) -> None:
    with pytest.raises(Refused, match=r"boxes\.wet_box\.vacuum.*boxes\.flat_box_1\.vacuum.*boxes\.couch\.vacuum"):
        address.get(machine, "vacuum")


def test_an_unknown_name_is_refused_with_the_nearest(machine: Machine) -> None:
    with pytest.raises(Refused, match=r"headbox\.consistency"):
        address.get(machine, "headbox.consistancy")
    with pytest.raises(Refused, match="rated_speed"):
        address.get(machine, "speed_rated")
    with pytest.raises(Refused, match="empty"):
        address.get(machine, "")


def test_values_are_replaced_from_the_bottom_up_and_the_rest_stays_itself(machine: Machine) -> None:
    many = np.array([0.001, 0.002])
    new = address.put(machine, {"headbox.jet_ratio": many, "couch.vacuum": 5e4, "rated_speed": 35.0, "level.low": 0.5})
    assert new.headbox.jet_ratio is many
    assert [box.vacuum for box in new.boxes] == [1e3, 2e4, 5e4]
    assert new.boxes[0] is machine.boxes[0]
    assert new.limits == {"rated speed": 35.0, "power": None}
    assert new.level == Level(0.5, 2.0)
    assert (machine.boxes[2].vacuum, machine.limits["rated speed"]) == (4e4, 33.0)


def test_replacing_nothing_gives_the_same_tree(machine: Machine) -> None:
    assert address.put(machine, {}) is machine


def test_all_unknown_names_are_refused_together_before_anything_is_built(machine: Machine) -> None:
    with pytest.raises(Refused) as caught:
        address.put(machine, {"headbox.consistancy": 1.0, "vacuum": 2.0, "headbox.jet_ratio": 1.0})
    assert [fault.field for fault in caught.value.faults] == ["headbox.consistancy", "vacuum"]


def test_all_values_that_parts_refuse_are_refused_together_with_their_place(machine: Machine) -> None:
    with pytest.raises(Refused) as caught:
        address.put(machine, {"headbox.consistency": 2.0, "couch.vacuum": -1.0, "wet_box.vacuum": -2.0})
    fields = [fault.field for fault in caught.value.faults]
    assert sorted(fields) == ["boxes.couch.vacuum", "boxes.wet_box.vacuum", "headbox.consistency"]


def test_one_place_is_not_given_twice(machine: Machine) -> None:
    with pytest.raises(Refused, match="same place"):
        address.put(machine, {"consistency": 0.003, "headbox.consistency": 0.004})
    with pytest.raises(Refused, match="same place"):
        address.put(machine, {"headbox": Headbox(consistency=0.1), "consistency": 0.004})


def test_twins_and_nameless_parts_are_told_apart() -> None:
    boxes = (Box(name="box", vacuum=1.0), Box(name="box", vacuum=2.0))
    assert [name for name, _ in address.listing({"b": boxes}) if name.endswith("vacuum")] == [
        "b.box.vacuum",
        "b.box_2.vacuum",
    ]
    heads = {"heads": (Headbox(consistency=0.1), Headbox(consistency=0.2))}
    assert address.get(heads, "heads.2.consistency") == 0.2


def test_a_frozen_mapping_stays_frozen() -> None:
    frozen = MappingProxyType({"a.b": 1.0})
    assert address.listing(frozen) == [('"a.b"', 1.0)]
    new = address.put(frozen, {'"a.b"': 2.0})
    assert isinstance(new, MappingProxyType) and new["a.b"] == 2.0
