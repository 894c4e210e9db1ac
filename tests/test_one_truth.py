"""Whoever tells a limit, a name, a unit or a consistency to dilute to tells the same for the same machine."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import thinstock
from app_client import Client, plain
from thinstock.app.state import State
from thinstock.case.write import dumps
from thinstock.cli import status
from thinstock.machine.limits import margins, words_of
from thinstock.machine.line import Machine
from thinstock.studies.exchange import with_former
from thinstock.studies.solve import solve
from thinstock.tell import handout, limits, run
from thinstock.tell.compare import Side
from thinstock.tell.explained import explain
from thinstock.tell.handout import page
from thinstock.tell.teller import Teller
from thinstock.words.figures import Edge

SLOW = ("yankee.speed=1200 m/min",)
"""So slow that the sheet lets more air through than the pumps draw."""


@cache
def machine() -> Machine:
    return thinstock.load("facial-roll").with_({"yankee.speed": "1200 m/min"})


@cache
def teller() -> Teller:
    return Teller(machine())


@pytest.fixture(scope="module")
def client(tmp_path_factory: Any) -> Iterator[Client]:
    made = Client(tmp_path_factory.mktemp("work"))
    yield made
    made.close()


def printed(capsys: Any, *command: str) -> str:
    capsys.readouterr()
    assert status(list(command)) == 0
    return " ".join(capsys.readouterr().out.split())


def chapter(key: str) -> str:
    return " ".join(html.unescape(plain(page(teller(), handout.chapters(teller(), [key])))).split())


def spaced(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


# -------------------------------------------- limits


def test_what_is_past_its_limit_is_told_alike_everywhere(client: Client, capsys: Any) -> None:
    found = thinstock.limits(machine())
    part = found.binding.part
    edge = Edge(unit_set="mill", air=float(machine().site.atmospheric_pressure()))
    over = {words_of(key) for key, margin in margins(machine().run()).items() if margin < 0}
    assert over == {row.part for row in found.over} == {part}
    used = spaced(limits.past(found.binding, edge))
    holds = spaced(limits.holds(found.binding, edge))
    answered = client.answer(State(machine="facial-roll", changes=(("yankee.speed", "1200 m/min"),)).query()).json()
    places = {
        "limits": printed(capsys, "limits", "facial-roll", "--set", *SLOW),
        "run": printed(capsys, "run", "facial-roll", "--set", *SLOW),
        "machine page": spaced(html.unescape(plain(answered["pieces"]["fact-first"]))),
        "limits on the page": spaced(html.unescape(plain(answered["pieces"]["limits"]))),
        "handout": spaced(chapter("limits")),
        "comparison": _compared(edge),
    }
    for place, said in places.items():
        assert part in said and used in said and holds in said, (place, said[:600])
        assert not re.search(r"\bat 0 m/min", said), place
    answer = json.loads(printed(capsys, "limits", "facial-roll", "--json", "--set", *SLOW))
    row = next(one for one in answer["limits"] if one["binding"])
    assert answer["over"] == [part] == [row["part"]]
    assert row["now"]["over"] and row["now"]["share"] == pytest.approx(row["now"]["value"] / row["now"]["bound"])
    assert row["speed_low"] == found.binding.speed_low and row["speed_high"] is None


def _compared(edge: Edge) -> str:
    side = Side(thinstock.compare(machine(), thinstock.load("facial-roll")), edge)
    return spaced(" ".join(one.text for one in side.machines()))


def test_a_map_finds_the_same_parts_past_their_limits(capsys: Any) -> None:
    answer = json.loads(printed(
        capsys, "map", "facial-roll", "--x", "headbox.consistency=0.18 %..0.19 % x 2", "--y",
        "yankee.speed=1200..1800 m/min x 2", "--result", "dryness_press", "--json",
    ))  # fmt: skip
    over = [row.part for row in thinstock.limits(machine()).over]
    assert answer["beyond"] == dict.fromkeys(over, 2) and answer["state"] == [["beyond a limit"] * 2, ["runs"] * 2]


def test_what_gives_out_first_and_when_is_the_same_in_every_table(capsys: Any) -> None:
    usual = thinstock.load("facial-roll")
    found = thinstock.limits(usual)
    edge = Edge(unit_set="mill", air=float(usual.site.atmospheric_pressure()))
    part, speed = found.binding.part, found.binding.speed
    side = thinstock.compare(usual, machine())
    assert [one.binding.part for one in side.limits] == [part, thinstock.limits(machine()).binding.part]
    told = edge.text("speed", speed, 4).replace("\u00a0", " ")
    for place, said in {
        "run": printed(capsys, "run", "facial-roll"),
        "limits": printed(capsys, "limits", "facial-roll"),
        "handout": spaced(html.unescape(plain(page(Teller(usual), handout.chapters(Teller(usual), ["machine"]))))),
    }.items():
        assert part in said and told in said, (place, told)
    row = next(
        one for one in json.loads(printed(capsys, "limits", "facial-roll", "--json"))["limits"] if one["binding"]
    )
    assert (row["part"], row["speed"]) == (part, pytest.approx(speed, rel=1e-12))


def test_the_thinnest_stock_that_a_machine_supplies_is_where_its_pump_is_at_its_limit() -> None:
    usual = thinstock.load("facial-roll")
    ((part, consistency),) = thinstock.formers(usual, speeds=[25.0]).supply
    there = usual.with_({"yankee.speed": 25.0, "headbox.consistency": consistency}).run()
    tight = {words_of(key): float(margin) for key, margin in margins(there).items()}
    assert abs(tight[part]) < 0.005, tight


def test_a_solution_names_the_same_part_as_passed() -> None:
    found = solve(machine(), "grade.reel_grammage", ("flow_per_width", 1.01 * float(machine().run()["flow_per_width"])))
    assert [one.split(":")[0] for one in found.passed] == [row.part for row in thinstock.limits(found.machine).over]


# -------------------------------------------- names


def test_a_machine_is_called_alike_everywhere_after_its_former_was_exchanged(client: Client) -> None:
    changed = with_former(thinstock.load("facial-roll"), "open breast roll").machine
    assert "open breast roll" in changed.title.lower() and "wire and felt" not in changed.title.lower()
    told = Teller(changed)
    answered = client.answer(State(machine="facial-roll", former="open breast roll").query()).json()
    record = run.told(changed, "mill", full=False)
    titles = {
        "run": record.screen()[0].title,
        "page": answered["title"],
        "handout": handout.head(told)["title"],
        "figure": changed.title if changed.title in page(told, handout.chapters(told, ["machine"])) else "",
        "file": re.search(r'^title = "(.*)"$', dumps(changed), re.M)[1],  # type: ignore[index]
    }
    assert set(titles.values()) == {changed.title}, titles


def test_every_command_calls_a_file_by_its_title(tmp_path: Path, capsys: Any) -> None:
    changed = with_former(thinstock.load("facial-roll"), "open breast roll").machine
    file = tmp_path / "mine.toml"
    file.write_text(dumps(changed), encoding="utf-8")
    solved = ("--for", "headbox.consistency", "--so-that", "flow_per_width = 13000 L/(min m)")
    asked = {"run": (), "limits": (), "check": (), "compare": ("facial-roll",), "formers": (), "solve": solved,
             "explain": ("jet_speed",)}  # fmt: skip
    for command, more in asked.items():
        assert changed.title in printed(capsys, command, str(file), *more), command


# -------------------------------------------- units and numbers


@pytest.mark.parametrize("name", ["headbox_flow", "flow_per_width", "dryness_press", "production", "consistency"])
def test_a_number_has_one_text_with_its_unit(name: str, capsys: Any) -> None:
    text = spaced(teller().run.text(name))
    head = str(explain(machine().run(), name)).splitlines()[0]
    assert head.endswith(f": {text}")
    assert spaced(teller().value(name)) == text
    if name not in ("dryness_press", "flow_per_width"):  # these stand there with what they are unsure by
        assert text.split(" ")[0] in printed(capsys, "run", "facial-roll", "--set", *SLOW)


# -------------------------------------------- how dilute


def test_how_dilute_has_one_answer(capsys: Any, client: Client, tmp_path: Path) -> None:
    asked = machine().with_({"grade.formation_target.cv": "11 %"})
    answer = asked.run().evenness().answers[1]
    told = f"dilute to {100 * answer.consistency:.3g} %"
    given = ("--set", *SLOW, "--set", "grade.formation_target.cv=11 %")
    sheet = printed(capsys, "sheet", "facial-roll", "--set", *SLOW, "--target", "11 %", "--size", "10 mm", "--pixel",
                    "100 µm")  # fmt: skip
    places = {
        "run": printed(capsys, "run", "facial-roll", *given),
        "sheet": sheet,
        "solve": printed(capsys, "solve", "facial-roll", "--set", *SLOW, "--for", "headbox.consistency", "--so-that",
                         "cv = 11 %"),
        "handout": spaced(html.unescape(plain(page(Teller(asked), handout.chapters(Teller(asked), ["sheet"]))))),
        "sheet page": _sheet_page(client),
    }  # fmt: skip
    for place, said in places.items():
        assert told in spaced(said), (place, said[-1500:])
        assert "not by dilution" in said, place


def _sheet_page(client: Client) -> str:
    query = State(
        machine="facial-roll", changes=(("yankee.speed", "1200 m/min"), ("grade.formation_target.cv", "11 %"))
    ).query()
    return spaced(html.unescape(plain(client.get(f"/sheet?{query}").text)))


def test_options_and_the_class_page_name_the_machine_and_what_gives_out_first_as_a_run_does(tmp_path: Path) -> None:
    found = thinstock.limits(thinstock.load("facial-roll"))
    speed = next(one.speed for one in found if one.binding)
    assert speed is not None
    at = f"{speed * 60:.0f}"  # its unit stands at the number on one page and in the head of the row on the other
    client = Client(tmp_path)
    for place in ("/class?machine=facial-roll", "/options?machine=facial-roll&other=machine%3Dfacial-shoe"):
        said = plain(client.get(place).text).replace("\u00a0", " ")
        assert at in said and thinstock.load("facial-roll").title in said, place
    client.close()
