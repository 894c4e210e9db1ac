"""One step of a slider: what of an answer goes over the wire, in counts that do not hang on the computer."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app_client import Client
from thinstock.app import pictures
from thinstock.app.changes import changes
from thinstock.app.pages import machine as page
from thinstock.case.read import load
from thinstock.drawing import layout, still, svg
from thinstock.drawing.labels import Box, Room
from thinstock.drawing.panel import Panel
from thinstock.drawing.svg import View
from thinstock.machine.geometry import Turtle
from thinstock.machine.line import Machine
from thinstock.machine.outlines.said import in_units
from thinstock.studies import bands
from thinstock.words import address

STEPS = [f"headbox.consistency={value} %" for value in (0.19, 0.191, 0.192, 0.2)]
SIGHT = ["drawing", "notes", "more", "chart-water_staircase"]
MACHINES = ("facial-roll", "facial-flat-wire", "board-two-shoes", "napkin-flat-wire-foils")


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    made = Client(Path(tmp_path_factory.mktemp("workspace")))
    yield made
    made.close()


def moved(client: Client, machine: str, changed: list[str], sight: list[str] | None = None) -> list[Any]:
    """The answers to a slider that takes these values, as a page gets them that shows what it was sent."""
    found: list[Any] = []
    shown: dict[str, str] = {}
    structure = ""
    for one in changed:
        more: dict[str, Any] = {} if sight is None else {"sight": sight}
        reply = client.answer(f"machine={machine}&set={one}", "quick", shown=shown, structure=structure, **more)
        assert reply.status_code == 200
        told = reply.json()
        shown = shown | told["marks"]
        structure = told.get("structure", structure)
        found.append(reply)
    return found


def test_a_step_of_the_slider_brings_few_bytes_and_changes_few_elements(client: Client) -> None:
    first, *later = moved(client, "facial-roll", STEPS, SIGHT)
    elements = len(re.findall(r"<[a-zA-Z]", first.json()["pieces"]["drawing"]))
    assert elements > 500
    for reply in later:
        told = reply.json()
        assert len(reply.content) <= 35_000
        assert "drawing" not in told["pieces"] and "form" not in told
        assert 0 < len(told["moved"]["changes"]) <= 0.25 * elements
        assert set(told["charts"]) == {"water_staircase"}


@pytest.mark.parametrize("machine", MACHINES)
def test_the_drawing_changed_in_place_is_the_drawing_of_the_new_value(machine: str) -> None:
    one, other = (
        load(machine).with_({"headbox.consistency": load(machine).headbox.consistency * f}) for f in (1, 1.01)
    )
    before, after = (pictures.drawing(made.run()) for made in (one, other))
    told = changes(before, after)
    if told is None:
        assert machine != "facial-roll" and before.count("<") != after.count("<"), "a name came or went"
        return
    root = ET.fromstring(before)
    nodes = list(root.iter())
    for number, attributes, text in told:
        for name, value in attributes.items():
            if value is None:
                del nodes[number].attrib[name]
            else:
                nodes[number].set(name, value)
        if text is not None:
            nodes[number].text = text
    assert ET.canonicalize(ET.tostring(root)) == ET.canonicalize(ET.tostring(ET.fromstring(after)))


def test_a_drawing_of_another_build_is_not_told_as_changes() -> None:
    one, other = (pictures.drawing(load(name).run()) for name in ("facial-roll", "facial-flat-wire"))
    assert changes(one, other) is None
    assert changes("<g><path/></g>", "<g><rect/></g>") is None
    assert changes("<g><path/></g>", "<g><path></g>") is None
    assert changes('<g a="1"><path/></g>', '<g b="&lt;2"><path/></g>') == [(0, {"b": "<2", "a": None}, None)]


def test_a_drawing_that_the_server_does_not_know_comes_whole(client: Client) -> None:
    query = "machine=facial-roll&set=headbox.consistency=0.2 %"
    told = client.answer(query, "quick", shown={"drawing": "not one of ours"}).json()
    assert told["moved"] is None and told["pieces"]["drawing"].startswith("<svg")


def test_what_the_page_shows_already_is_not_sent_again(client: Client) -> None:
    query = "machine=facial-roll&set=headbox.consistency=0.2 %"
    first = client.answer(query).json()
    again = client.answer(query, shown=first["marks"]).json()
    assert again["pieces"] == {} and again["moved"] is None and again["marks"] == first["marks"]
    one_less = {name: mark for name, mark in first["marks"].items() if name != "energy"}
    assert client.answer(query, shown=one_less).json()["pieces"] == {"energy": first["pieces"]["energy"]}


def test_a_page_opened_by_its_address_knows_the_marks_of_what_it_shows(client: Client) -> None:
    page = client.get("/machine?machine=facial-roll").text
    told = re.search(r'data-marks="([^"]*)"', page)
    assert told is not None
    for name, mark in client.answer("machine=facial-roll").json()["marks"].items():
        assert f"&#34;{name}&#34;: &#34;{mark}&#34;" in told[1], name


def test_what_is_out_of_sight_comes_with_the_whole_answer(client: Client) -> None:
    (quick,) = moved(client, "facial-roll", STEPS[1:2], ["notes"])
    told = quick.json()
    assert not {"drawing", "energy", "water", "stations", "furnish"} & set(told["marks"]) and told["charts"] == {}
    assert {"notes", "fact-production", "fact-forming"} <= set(told["marks"]), "numbers at the head are always told"
    whole = client.answer(f"machine=facial-roll&set={STEPS[1]}", "full", sight=["notes"]).json()
    assert {"drawing", "energy", "water", "stations", "furnish"} <= set(whole["marks"])
    assert len(whole["charts"]) == len(pictures.CHARTS)


def test_a_question_that_a_later_one_of_its_tab_has_made_useless_is_not_worked_out(client: Client) -> None:
    query = "machine=facial-roll"
    assert client.answer(query, "quick", tab="one", turn=5).status_code == 200
    assert client.answer(query, "limits", tab="one", turn=4).status_code == 409
    assert client.answer(query, "quick", tab="other", turn=1).status_code == 200
    assert client.answer(query, "quick", tab="one", turn=6).status_code == 200


@pytest.mark.parametrize("wrong", [{"shown": []}, {"shown": {"notes": 1}}, {"sight": "notes"}, {"sight": [1]},
                                   {"tab": 3}, {"tab": "x", "turn": "last"}])  # fmt: skip
def test_a_page_that_tells_nonsense_of_itself_is_refused(client: Client, wrong: dict[str, Any]) -> None:
    assert client.answer("machine=facial-roll", "quick", **wrong).status_code == 400


@pytest.mark.parametrize("narrow", [False, True])
def test_what_is_kept_of_parts_that_stay_never_shows_in_a_drawing(narrow: bool) -> None:
    machine = load("facial-roll")
    made = [machine.with_({"headbox.consistency": value}).run() for value in (0.0019, 0.0021)]
    other = load("facial-shoe").run()
    still.still.cache_clear()
    fresh = pictures.drawing(made[1], narrow=narrow)
    for result in (other, made[0], made[1], made[0]):
        pictures.drawing(result, narrow=narrow)
        pictures.drawing(result, narrow=not narrow)
    assert pictures.drawing(made[1], narrow=narrow) == fresh


@pytest.mark.parametrize("machine", MACHINES)
def test_the_addresses_of_a_changed_machine_are_walked_in_its_new_parts_only(
    machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = load(machine)
    assert list(address.names(first)) == [name for name, _ in first.addresses()]
    moved_on = first.with_({"headbox.consistency": first.headbox.consistency * 1.01})
    walked = []
    real = address._children
    monkeypatch.setattr(address, "_children", lambda node: walked.append(node) or real(node))
    found = address.names(moved_on)
    monkeypatch.undo()
    assert list(found) == [name for name, _ in moved_on.addresses()]
    parts = {type(node) for node in walked if dataclasses.is_dataclass(node)}
    inner = {type(node) for node in (moved_on.forming.element[0], moved_on.press.nip[0], moved_on.stock.furnish or 0)}
    assert type(moved_on.headbox) in parts and not parts & inner


def test_values_outside_their_usual_range_are_looked_for_once_in_a_part_that_stays() -> None:
    first = load("facial-roll").with_({"yankee.steam_pressure": "2.2 bar(g)"})
    after = first.with_({"headbox.consistency": first.headbox.consistency * 1.01})
    assert first.run().notes and after.yankee is not None and "unusual_within" in after.yankee.__dict__
    assert "unusual_within" not in after.headbox.__dict__
    fresh = first.yankee.unusual_within if first.yankee is not None else ()
    assert after.yankee.unusual_within is fresh


def test_answers_to_one_question_share_its_run_its_limits_and_its_drawing(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []

    def counted(place: Any, name: str) -> None:
        real = getattr(place, name)
        monkeypatch.setattr(place, name, lambda *given, **more: done.append(name) or real(*given, **more))

    counted(page, "limits_at")
    counted(page.pictures, "drawing")
    counted(Machine, "run")
    for number in (1, 2):  # two who stop at the same time
        assert client.answer(f"machine=facial-roll&set=headbox.consistency=0.21{number} %", "quick").status_code == 200
    assert done == ["run", "drawing"] * 2
    for number in (1, 2):
        assert client.answer(f"machine=facial-roll&set=headbox.consistency=0.21{number} %", "limits").status_code == 200
    assert done[4:] == ["limits_at"] * 2
    query = "machine=facial-roll&set=headbox.consistency=0.211 %"
    monkeypatch.setattr(bands, "uncertainty", lambda machine, **more: {})
    short = client.answer(query, "full", drawn=True).json()
    assert done[6:] == [], "run, limits and drawing stand"
    whole = client.answer(query, "full").json()
    assert "drawing" in whole["pieces"] and "drawing" not in short["pieces"] and "drawing" not in short["marks"]
    assert {k: v for k, v in whole["pieces"].items() if k != "drawing"} == short["pieces"]
    assert "drawing" in client.answer(query, "quick", drawn=True).json()["pieces"], "a quick answer always draws"


def test_where_only_the_dryer_moves_the_enlarged_former_is_not_drawn_again(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = load("facial-roll")
    drawn: list[Panel] = []
    real = Panel.markup
    monkeypatch.setattr(Panel, "markup", lambda panel, *given: drawn.append(panel) or real(panel, *given))
    for pressure, panels in ((7.0e5, 3), (7.1e5, 2), (7.2e5, 2)):
        drawn.clear()
        pictures.drawing(machine.with_({"yankee.steam_pressure": pressure, "grade.crepe": 0.16}).run())
        assert len(drawn) == panels
    drawn.clear()
    pictures.drawing(machine.with_({"headbox.consistency": 0.00191}).run())
    assert len(drawn) == 3


@pytest.mark.parametrize("name", ["facial-roll", "board-two-shoes"])
def test_after_many_edits_a_drawing_is_that_of_a_fresh_process(name: str) -> None:
    machine = load(name)
    random = np.random.default_rng(20)
    load_at = next(one for one in address.names(machine) if one.endswith(".line_load"))
    where = ["headbox.consistency", machine.speed_address, load_at, "stock.temperature", "grade.reel_grammage"]
    where += ["yankee.steam_pressure", "hood.jet_velocity"] if machine.yankee is not None else []
    for number in range(15):
        one = where[int(random.integers(len(where)))]
        machine = machine.with_({one: machine.get(one) * random.uniform(0.985, 1.015)})
        result = machine.run()
        kept = [pictures.drawing(result, narrow=narrow, unit_set="us") for narrow in (False, True)]
        if number % 3 == 2:  # otherwise what is kept comes from several edits before
            still.still.cache_clear()
            assert kept == [pictures.drawing(result, narrow=narrow, unit_set="us") for narrow in (False, True)], one


def test_where_the_ink_stays_no_name_looks_for_room_again(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = load("facial-roll")
    looked: list[int] = []
    real = Room._best
    monkeypatch.setattr(Room, "_best", lambda room, *given: looked.append(1) or real(room, *given))
    many = []
    for pressure in (7.0e5, 7.001e5, 7.002e5, 7.0e5):
        looked.clear()
        pictures.drawing(machine.with_({"yankee.steam_pressure": pressure, "grade.crepe": 0.161}).run())
        many.append(len(looked))
    assert many[0] > 10 and many[1:] == [0, 0, 0]


def test_a_room_whose_ink_has_changed_puts_its_names_elsewhere() -> None:
    first, again = Room(Box(0.0, 0.0, 300.0, 200.0)), Room(Box(0.0, 0.0, 300.0, 200.0))
    for room in (first, again):
        room.lines([np.array([(20.0, 100.0), (280.0, 100.0)])])
    placed = [room.place(("felt",), [(150.0, 100.0)], 14.0) for room in (first, again)]
    assert placed[0] == placed[1] is not None
    beside = first.place(("wire",), [(150.0, 100.0)], 14.0)
    again.area(np.array([(0.0, 0.0), (300.0, 0.0), (300.0, 99.0), (0.0, 99.0)]))
    below = again.place(("wire",), [(150.0, 100.0)], 14.0)
    assert beside is not None and below is not None and below.y > 100.0
    assert beside.box != below.box and not beside.box.meets(placed[0].box)


def test_a_plan_is_said_in_the_units_and_the_language_of_its_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    result = load("facial-roll").run()
    plans = []
    for unit_set, language in (("mill", "en"), ("us", "en"), ("us", "none such"), ("mill", "en")):
        monkeypatch.setattr(layout, "spoken", lambda language=language: language)
        with in_units(unit_set):  # type: ignore[arg-type]
            plans.append(layout.lay_out(result))
    first, american, foreign, again = plans
    assert first is again and american is not first and foreign is not american
    assert [one.text for one in american.outlines] != [one.text for one in first.outlines]


def test_a_traced_path_moved_aside_is_the_path_moved_aside() -> None:
    view = View(37.3, 11.0, 240.0)
    turtle = Turtle(1.0, 2.0, 0.3)
    for step in ((1.4, 0.0), (0.55, 2.1), (0.0, 0.4), (0.8, -5.9)):
        turtle.turn(*step) if step[1] and step[0] else turtle.straight(max(step))
    path = turtle.path()
    for at in np.linspace(-0.2, 0.2, 9):
        assert svg.Traced(path).beside(float(at), view) == svg.path_data(path.beside(float(at)), view)
