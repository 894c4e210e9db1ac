"""The furnish on the machine page, what a lower freeness costs and what can be switched off: as the command says it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

import thinstock
from app_client import Client, plain
from thinstock.words.figures import Edge

MACHINES = [m.name for m in thinstock.machines()]


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    made = Client(tmp_path)
    yield made
    made.close()


@pytest.mark.parametrize("unit_set", ["mill", "us"])
def test_the_furnish_stands_with_how_each_number_is_known_and_the_lines_of_explain(
    client: Client, unit_set: str
) -> None:
    from thinstock.tell.press_parts import press_parts

    query = f"machine=facial-roll&units={unit_set}&set=stock.freeness=480 mL CSF"
    told = plain(client.answer(query, "quick").json()["pieces"]["furnish"])
    for said in ("freeness", "480 mL CSF", "water retention value", "swollen volume", "resistance of the mat",
                 "permeability in the press", "entered (what-if)", "(assumed)", "(derived)"):  # fmt: skip
        assert said in told
    machine = thinstock.load("facial-roll").with_({"stock.freeness": 480e-6})
    edge = Edge(unit_set=unit_set, air=float(machine.site.atmospheric_pressure()))  # type: ignore[arg-type]
    lines = list(press_parts(machine.run(), edge))
    assert len(lines) >= 3 and all(plain(line) in unescape(told) for line in lines)


def test_a_water_retention_value_that_is_entered_is_told_as_such(client: Client) -> None:
    told = plain(client.answer("machine=facial-roll&set=stock.water_retention_value=1.6").json()["pieces"]["furnish"])
    assert "1.6 kg/kg entered (what-if)" in told


def test_a_furnish_without_a_sheet_says_that_nothing_reaches_the_press(client: Client) -> None:
    query = "machine=facial-roll&set=headbox.consistency=0.002 %"
    assert "nothing reaches the press" in plain(client.answer(query).json()["pieces"]["furnish"])
    for part in ("freeness", "vacuum"):
        told = client.post("/machine/costs", {"query": query, "part": part}).json()["pieces"][part]
        assert "nothing to compare" in plain(told)


@pytest.mark.parametrize("machine", MACHINES)
@pytest.mark.parametrize("part", ["freeness", "vacuum"])
def test_what_refining_and_vacuum_cost_is_what_the_command_says(
    client: Client, machine: str, part: str, capsys: pytest.CaptureFixture[str]
) -> None:
    from thinstock.cli import status

    reply = client.post("/machine/costs", {"query": f"machine={machine}", "part": part})
    assert reply.status_code == 200 and client.reported == []
    told = reply.json()["pieces"][part]
    assert status(["study", part, machine]) == 0
    printed = capsys.readouterr().out
    cells = re.findall(r"<td>(.*?)</td>", told)
    shown = [text for text in (re.sub(r"<[^>]+>", "", cell) for cell in cells) if text.strip()]
    assert len(shown) > 10 and all(text in printed for text in shown)


@pytest.mark.parametrize("machine", ["facial-roll", "facial-flat-wire", "tea-bag-inclined-wire"])
def test_what_a_more_even_sheet_saves_is_told_on_the_page_as_by_the_command(
    client: Client, machine: str, capsys: pytest.CaptureFixture[str]
) -> None:
    from thinstock.cli import status

    told = client.post("/machine/costs", {"query": f"machine={machine}", "part": "evenness"}).json()["pieces"]
    assert status(["study", "evenness", machine]) == 0
    printed = capsys.readouterr().out
    if machine.startswith("tea-bag"):
        assert "No Yankee here" in plain(told["evenness"]) and "No Yankee here" in printed
        return
    cells = [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<td>(.*?)</td>", told["evenness"])]
    assert len(cells) > 20 and all(cell in printed for cell in cells if "→" in cell or cell[:1] in "+−")
    assert "measure it before paying" in plain(told["evenness"])


def test_a_lower_freeness_changes_with_the_machine_on_the_page(client: Client) -> None:
    one, other = (
        client.post("/machine/costs", {"query": f"machine=facial-roll&set=stock.freeness={n}", "part": "freeness"})
        for n in (520, 400)
    )
    words = plain(one.json()["pieces"]["freeness"])
    for said in ("before", "after, as refined", "fines only", "swelling at its most", "dryness out of the press",
                 "evaporation", "steam heat", "gas per tonne", "electricity per tonne", "money"):  # fmt: skip
        assert said in words
    assert one.json() != other.json() and "from 400 mL CSF" in plain(other.json()["pieces"]["freeness"])


def test_a_stock_without_a_freeness_is_told_so_in_its_section(client: Client) -> None:
    text = thinstock.case.dumps(
        thinstock.load("facial-roll").with_({"stock.freeness": None, "stock.resistance_coefficient": 1e9})
    )
    (client.workspace.folder / "bare.toml").write_text(text)
    reply = client.post("/machine/costs", {"query": "file=bare.toml", "part": "freeness"})
    assert "A stock whose freeness is given is needed" in plain(reply.json()["pieces"]["freeness"])


def test_another_question_is_refused(client: Client) -> None:
    assert client.post("/machine/costs", {"query": "machine=facial-roll", "part": "luck"}).status_code == 400
    reply = client.post("/machine/costs", {"query": "machine=facial-roll&set=yankee.speed=x", "part": "vacuum"})
    assert reply.status_code == 422
