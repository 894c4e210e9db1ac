"""Every part keeps the contract of `machine/part.py`: what it leaves out it says, and what it tells adds up."""

from __future__ import annotations

import ast
import importlib.util
import itertools
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import thinstock
from thinstock.machine.dryer import Drying, SteadyDryer, YankeeDryer
from thinstock.machine.elements import KINDS, FormingElement
from thinstock.machine.felt import FeltBoxes
from thinstock.machine.forming import Forming
from thinstock.machine.headbox import Headbox
from thinstock.machine.line import Place
from thinstock.machine.loop import Circuit
from thinstock.machine.nips import NIPS
from thinstock.machine.nips.base import Nip
from thinstock.machine.part import Done, Kind, Part
from thinstock.machine.press import PressSection
from thinstock.machine.pumps import Pump
from thinstock.machine.reel import Reel
from thinstock.machine.run import run_line, surroundings
from thinstock.machine.surfaces import SURFACES, Surface
from thinstock.machine.told import Stream
from thinstock.machine.vacuum import Slot, VacuumSection
from thinstock.machine.web import Around, Web
from thinstock.words.cautions import all_cautions
from thinstock.words.phrase import known

HOOKS = ("outline", "limits", "streams")
PARTS: list[type[Part]] = [
    Circuit, Headbox, Forming, VacuumSection, PressSection, YankeeDryer, SteadyDryer, Reel,
]  # fmt: skip
ALL: list[type[Kind]] = [*PARTS, *KINDS.values(), Slot, *NIPS.values(), *SURFACES.values()]
SOURCE = Path(thinstock.__file__).parent


@pytest.fixture(scope="module")
def results() -> dict[str, Any]:
    return {name: thinstock.load(name).run() for name in ("facial-roll", "facial-flat-wire", "board-three-nips")}


def has(kind: type[Kind], hook: str) -> bool:
    """Whether a kind, or a base of its own, gives what the hook is for; streams of a part come from its `Done`."""
    if hook == "streams":
        return any(
            done.streams is not Done.streams for done in dones() if done.__annotations__.get("part") == kind.__name__
        )
    return any(hook in vars(base) for base in kind.__mro__ if base.__module__ not in SHARED)


SHARED = ("thinstock.machine.part", "thinstock.machine.outlines.former", "thinstock.words.quantity")
"""Where the hooks are declared: to inherit one from here is not to have it."""


def dones(kind: type[Done] = Done) -> Iterator[type[Done]]:
    for one in kind.__subclasses__():
        yield one
        yield from dones(one)


@pytest.mark.parametrize("hook", HOOKS)
@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.__name__)
def test_every_kind_has_its_hooks_or_says_why_not(kind: type[Kind], hook: str) -> None:
    reason = kind.WITHOUT.get(hook, "")
    if has(kind, hook):
        assert not reason, f"{kind.__name__} has {hook} and says that it does without: drop one of them"
    else:
        assert len(reason) > 15, f'{kind.__name__}: give it {hook}, or say why not in WITHOUT = {{"{hook}": "..."}}'


def test_every_part_of_every_bundled_machine_runs_by_the_one_contract() -> None:
    for listed in thinstock.machines():
        machine = thinstock.load(listed.name)
        around = surroundings(machine, single=True)
        parts = run_line(machine, around)
        assert list(parts.line) == [place.name for place in machine.line]
        for place in machine.line:
            done = parts.line[place.name]
            assert isinstance(place.part, Part) and isinstance(done.out, Web) and isinstance(done.around, Around)


def test_what_a_part_leaves_is_what_the_next_one_gets(results: dict[str, Any]) -> None:
    for result in results.values():
        done = list(result.parts.line.values())
        for before, after in itertools.pairwise(done):
            for name in ("moisture_ratio", "temperature", "width", "fines_share"):
                assert float(getattr(after.into, name)) == float(getattr(before.out, name)), (before, name)
        assert result.webs["reel"].carrier == "reel"
        assert float(result.webs["press"].water) == pytest.approx(
            float(result.webs["press"].moisture_ratio) * float(result.webs["press"].fibre)
        )


def test_streams_limits_users_and_notes_have_ids_and_words(results: dict[str, Any]) -> None:
    for result in results.values():
        for use in result.energy:
            assert known(f"consumers.{use.id}"), f"add {use.id} to words/phrases/en/consumers.toml"
        assert all(stream.id.isidentifier() for stream in result.streams)
        assert all(note.id for note in result.notes)
        assert len({(s.id, s.of) for s in result.streams}) == len(result.streams)
        for row in thinstock.limits(result.machine):
            assert row.id.isidentifier() and row.part and row.duty


class Spray(Part):
    """A spray of water on the sheet ahead of the dryer, as somebody might add it."""

    def run(self, web: Web, around: Around) -> tuple[Web, Sprayed]:
        out = web.with_(moisture_ratio=web.moisture_ratio + 0.05)
        return out, Sprayed(into=web, out=out, around=around)


class Sprayed(Done):
    """The spray at work."""

    def streams(self) -> Iterator[Stream]:
        water = (self.out.moisture_ratio - self.into.moisture_ratio) * self.into.fibre_flow
        yield Stream(id="spray", source="outside", sink="yankee", water=water)


def test_a_part_more_is_one_more_place_in_the_line() -> None:
    machine = thinstock.load("facial-roll")
    places = list(machine.line)
    places.insert(3, Place("spray", Spray()))
    sprayed = thinstock.load("facial-roll")
    sprayed.__dict__["line"] = tuple(places)
    parts = run_line(sprayed, surroundings(sprayed, single=True))
    plain = run_line(machine, surroundings(machine, single=True))
    assert list(parts.line) == ["loop", "vacuum", "press", "spray", "dryer", "reel"]
    more = float(parts.dryer.into.moisture_ratio) - float(plain.dryer.into.moisture_ratio)
    assert more == pytest.approx(0.05)
    assert float(parts.dryer.moisture_ratio_out) > float(plain.dryer.moisture_ratio_out)
    stream = next(s for s in parts.line["spray"].streams())
    assert float(stream.water) == pytest.approx(0.05 * float(plain.press.out.fibre_flow))


def test_no_room_takes_apart_what_is_said() -> None:
    """Words are for people: names, parts, notes and duties are compared by id."""
    said, methods = (
        {"part", "note", "duty", "text"},
        {"startswith", "removeprefix", "removesuffix", "partition", "split"},
    )
    named_by_id = {"stream", "consumer", "use", "s"}
    rows = {"row", "r", "limit", "note", "stream", "consumer", "use", "s", "c", "binding"}
    found = []
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in methods):
                continue
            inner = node.func.value
            if not (isinstance(inner, ast.Attribute) and isinstance(inner.value, ast.Name)):
                continue
            owner, named = inner.value.id, inner.attr
            if (owner in rows and named in said) or (owner in named_by_id and named == "name"):
                found.append(f"{path.relative_to(SOURCE)}:{node.lineno}")
    assert not found


def test_felt_boxes_are_told_by_the_press(results: dict[str, Any]) -> None:
    press = results["facial-roll"].parts.press
    assert isinstance(press.part.felt.boxes, FeltBoxes)
    assert [drawn.of for drawn in press.air()] == ["suction pressure roll", "suction pressure roll, felt boxes"]
    assert all(np.isfinite(float(drawn.flow)) for drawn in press.air())


def test_a_result_says_itself_in_a_few_lines_a_table_and_plain_data(results: dict[str, Any]) -> None:
    result = results["facial-roll"]
    lines = repr(result).splitlines()
    assert lines[0] == result.machine.title and any("m/min" in line for line in lines) and len(lines) < 50
    assert result._repr_html_().startswith("<table>") and "<script" not in result._repr_html_()
    found = result.to_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert found["values"]["speed"] == pytest.approx(float(result["speed"]))
    assert [row["name"] for row in found["streams"]] == [stream.name for stream in result.streams]
    assert result.along("forming").length > 0 and result.along("reel") is None


def test_a_result_becomes_a_data_frame_where_there_is_pandas(results: dict[str, Any]) -> None:
    result = results["facial-roll"]
    if importlib.util.find_spec("pandas") is None:
        with pytest.raises(ImportError, match="to_dict"):
            result.to_pandas()
    else:
        assert float(result.to_pandas()["speed"].iloc[0]) == float(result["speed"])


@pytest.mark.parametrize(
    ("base", "hook", "asked"),
    [
        (Part, "run", "self, web, around"),
        (FormingElement, "build", "self, arriving"),
        (Nip, "width", "self, yankee_diameter"),
        (Nip, "hazards", "self, place"),
        (Surface, "outline", "self, place"),
        (Pump, "flow", "self, vacuum"),
        (Drying, "heat_given", "self"),
    ],
)
def test_a_kind_that_forgets_a_hook_is_refused_where_it_is_written(base: type, hook: str, asked: str) -> None:
    rest = {name: getattr(base, name) for name in base.OWED if name != hook}
    given = {name: lambda self, *args, **named: None for name in rest}
    with pytest.raises(TypeError) as told:
        type("Newcomer", (base,), given)
    assert f"Newcomer has no {hook}: give it `{hook}({asked})`" in str(told.value)
    assert all(f"no {name}:" not in str(told.value) for name in rest)
    assert not type("Whole", (base,), {**given, hook: lambda self, *args, **named: None}).OWED
    assert hook in type("Between", (base,), given, base=True).OWED


def test_a_reason_stands_for_an_outline_but_not_for_what_a_kind_does() -> None:
    def nothing(self: object, *args: object) -> None:
        return None

    said = {"outline": "it is the fabric itself", "build": "it drains nothing"}
    assert type("Free", (FormingElement,), {"build": nothing, "WITHOUT": said})().outline(None) is None
    with pytest.raises(TypeError, match="Idle has no build: give it"):
        type("Idle", (FormingElement,), {"WITHOUT": said})


def test_parts_name_what_can_hurt_in_them_and_no_caution_is_left_without_a_part() -> None:
    told = {name: set(thinstock.load(name).cautions()) for name in ("facial-roll", "board-three-nips")}
    assert told["facial-roll"] | {"general", "formation", "survey"} == set(all_cautions())
    assert told["facial-roll"] - told["board-three-nips"] == {"yankee", "hood"}
