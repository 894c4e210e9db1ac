"""Every kind of part says what it looks like or why it shows nothing; a new kind is drawn where it stands."""

from __future__ import annotations

import ast
import dataclasses
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import pytest

import thinstock
import thinstock.drawing
from thinstock import library
from thinstock.case.formers import former
from thinstock.drawing.layout import lay_out
from thinstock.drawing.track import start_heading, walk
from thinstock.kernels.drainage import Element, Law
from thinstock.machine.dryer import SteadyDryer
from thinstock.machine.elements import KINDS, Arriving, FormingBoard, FormingBox, FormingElement, FormingRoll, JetImpact
from thinstock.machine.felt import Felt, FeltBoxes, SteamBox
from thinstock.machine.geometry import Point, Pose
from thinstock.machine.headbox import Headbox
from thinstock.machine.hood import Hood
from thinstock.machine.nips import NIPS
from thinstock.machine.outlines import former as shapes
from thinstock.machine.outlines.former import OnFabric, Stretch
from thinstock.machine.outlines.shape import Outline
from thinstock.machine.part import missing
from thinstock.machine.reel import Reel
from thinstock.machine.surfaces import SURFACES
from thinstock.machine.vacuum import Slot
from thinstock.machine.yankee import Yankee
from thinstock.words.quantity import Num, Q, Words

ALL = [
    *KINDS.values(), *NIPS.values(), *SURFACES.values(), Slot, FeltBoxes, Felt, SteamBox, Headbox, Yankee, Hood,
    SteadyDryer, Reel,
]  # fmt: skip


def fault(kind: type) -> str:
    """What is wrong with the outline of a kind of part; nothing if it has one or says why not."""
    own = any("outline" in vars(base) for base in kind.__mro__ if base is not OnFabric)
    reason = getattr(kind, "WITHOUT", {}).get("outline", "")
    if own and reason:
        return f"{kind.__name__} has an outline and says that it does without: drop one of them."
    return "" if own or len(reason) > 15 else missing(kind)


@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.__name__)
def test_every_kind_of_part_has_an_outline_or_says_why_not(kind):
    assert fault(kind) == "", fault(kind)


@dataclass(frozen=True, kw_only=True, eq=False)
class Shoe(FormingElement):
    """A closed shoe with vacuum, as somebody might add it."""

    name: Annotated[str, Words()] = "forming shoe"
    length: Annotated[Num, Q("length", possible=(0, 30), unit="m")] = 0.6
    vacuum: Annotated[Num, Q("vacuum", possible=(0, 9e4), unit="kPa")] = 8e3

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        law = Law(
            load=self.vacuum, fabric_resistance=arriving.fabric_resistance, fabric_inertia=arriving.fabric_inertia
        )
        return [Element(name=self.name, length=self.length, wire_side=law, back_side=None)]

    def outline(self, place: Stretch) -> Outline:
        """A box under the wire."""
        return Outline(
            part=self.name, name=self.name, label=self.name, text="a shoe", shapes=shapes.box_below(place, 0.2),
            anchor=shapes.box_anchor(place, 0.2),
        )  # fmt: skip


def with_shoe(kind: type[Shoe]):
    machine = thinstock.load("facial-flat-wire")
    elements = (machine.forming.element[0], kind(), *machine.forming.element[1:])
    return dataclasses.replace(machine, forming=dataclasses.replace(machine.forming, element=elements)).run()


def test_an_element_that_forgot_its_outline_is_refused_where_it_is_written_with_what_to_add():
    with pytest.raises(TypeError, match=r"Bare has no outline: give it `outline\(self, place\)`") as told:

        class Bare(FormingElement):
            def build(self, arriving: Arriving) -> list[Element]:
                return []

    assert 'WITHOUT = {"outline": "..."}' in str(told.value)


def test_a_new_element_with_its_outline_is_drawn_with_its_water():
    plan = lay_out(with_shoe(Shoe))
    shoe = plan.outline("forming shoe")
    assert shoe.shapes[0].role == "box"
    assert any(band.part == "forming shoe" and band.flow > 0 for band in plan.leaving)


@pytest.mark.parametrize("key", library.KEYS)
def test_every_element_of_every_former_of_the_library_stands_on_its_drawing(key):
    machine = dataclasses.replace(thinstock.load("facial-roll"), forming=former(key))
    plan = lay_out(machine.run())
    for element in machine.forming.element:
        if "outline" in element.WITHOUT:
            continue
        part = "breast roll" if isinstance(element, JetImpact) else element.name
        assert plan.outline(part).shapes, element.name


@pytest.mark.parametrize("key", library.KEYS)
def test_the_path_along_a_former_is_as_long_as_its_elements(key):
    machine = dataclasses.replace(thinstock.load("facial-roll"), forming=former(key))
    formed = machine.run().wet.formed
    turned = 1.0 if machine.forming.carrier == "felt" else -1.0
    track = walk(machine, formed, Pose(Point(0.0, 0.0), start_heading(machine.forming)), turned)
    made, rows = machine.forming.build(formed.arriving)
    for (start, end), (_, first, last) in zip(track.listed, rows, strict=True):
        assert end - start == pytest.approx(math.fsum(float(e.length) for e in made[first:last]), rel=1e-9)
    assert track.path.gap() < 1e-9
    assert track.path.length >= track.listed[-1][1] - 1e-9


def test_the_library_and_the_bundled_machines_show_every_kind_of_element():
    machines = [thinstock.load(m.name).forming for m in thinstock.machines()]
    shown = {type(e) for forming in (*machines, *(former(key) for key in library.KEYS)) for e in forming.element}
    assert set(KINDS.values()) - shown <= {FormingBox}


def test_only_a_forming_roll_stands_between_two_fabrics_and_only_it_bends_them_back():
    assert [kind for kind in KINDS.values() if kind.between] == [FormingRoll]
    assert FormingRoll(outer="back").second and not FormingRoll().second
    assert FormingBoard().bend(1.0) is None
    assert FormingRoll(outer="back").bend(1.0).turn == -FormingRoll().bend(1.0).turn


def test_no_drawing_knows_a_kind_of_part():
    kinds = {kind.__name__ for kind in (*KINDS.values(), *NIPS.values(), *SURFACES.values())}
    for path in sorted(Path(thinstock.drawing.__file__).parent.glob("*.py")):
        names = {n.id for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Name)}
        assert not names & kinds, f"{path.name} asks which kind a part is; let the part say it in a hook"
