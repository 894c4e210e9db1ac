"""The pages by their routes: what they show is what the machine says, and nothing of the person's is lost."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from html import unescape
from pathlib import Path
from typing import Any

import pytest

import thinstock
from app_client import Client, plain
from thinstock.app import forms, pages
from thinstock.app.state import parse
from thinstock.app.words import catalogue
from thinstock.machine.numbers import headline
from thinstock.words.figures import Edge

MACHINES = [m.name for m in thinstock.machines()]
SOURCE = Path(thinstock.__file__).parent / "app"


@pytest.fixture
def client(tmp_path: Path) -> Any:
    made = Client(tmp_path)
    yield made
    made.close()


# -- all pages -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", [page.name for page in pages.all_pages()])
@pytest.mark.parametrize("machine", ["facial-roll", "facial-shoe-steel"])
def test_every_page_opens_with_every_kind_of_machine(client: Client, page: str, machine: str) -> None:
    reply = client.get(f"/{page}?machine={machine}")
    assert reply.status_code == 200
    assert client.reported == []
    for other in pages.all_pages():
        assert f'href="/{other.name}?' in reply.text or f'href="/{other.name}"' in reply.text


@pytest.mark.parametrize("machine", MACHINES)
def test_the_machine_page_opens_with_every_bundled_machine(client: Client, machine: str) -> None:
    reply = client.get(f"/machine?machine={machine}")
    assert reply.status_code == 200
    assert thinstock.load(machine).title in plain(reply.text)


@pytest.mark.parametrize("unit_set", ["mill", "si", "us"])
def test_headline_numbers_are_those_of_the_run(client: Client, unit_set: str) -> None:
    machine = thinstock.load("facial-roll")
    result = machine.run()
    edge = Edge(unit_set=unit_set, air=float(machine.site.atmospheric_pressure()))  # type: ignore[arg-type]
    told = client.answer(f"machine=facial-roll&units={unit_set}", "quick").json()["pieces"]
    facts = {"production": "production", "moisture": "reel_moisture", "consistency": "consistency",
             "flow": "flow_per_width"}  # fmt: skip
    for fact, name in facts.items():
        wanted = edge.text(headline()[name].word, result[name], headline()[name].digits)
        assert plain(wanted) in plain(told[f"fact-{fact}"])


def test_the_headline_stands_in_its_order(client: Client) -> None:
    text = client.get("/machine?machine=facial-roll").text
    order = [text.index(f'id="p-fact-{name}"') for name in
             ("production", "first", "moisture", "consistency", "flow", "forming", "press", "energy")]  # fmt: skip
    assert order == sorted(order)
    assert "values are assumed; these move the answer most" in plain(text)
    below = plain(text)
    for never in ("NPV", "net present value"):
        assert never not in below


def test_uncertain_numbers_are_shown_as_such(client: Client) -> None:
    told = client.answer("machine=facial-roll").json()["pieces"]
    for name in ("press", "energy", "flow"):
        assert re.search(r"\([\d.]+ to [\d.]+\)", plain(told[f"fact-{name}"])), told[f"fact-{name}"]
    assert "not calibrated" in told["fact-forming"]


def test_notes_are_numbered_and_the_headline_points_to_them(client: Client) -> None:
    text = client.get("/machine?machine=facial-roll").text
    used = set(re.findall(r'href="#note-(\d+)"', text))
    there = set(re.findall(r'id="note-(\d+)"', text))
    assert used and used <= there
    assert len(there) == len(thinstock.load("facial-roll").run().notes)


def test_what_can_hurt_is_said_for_every_part_of_the_machine(client: Client) -> None:
    text = plain(client.get("/machine?machine=facial-roll").text)
    for title in ("Press", "Yankee", "Hood, burners and hot air", "Felts, felt showers and felt boxes"):
        assert title in text
    assert "pressure vessel" in text


def test_streams_are_there_as_a_table(client: Client) -> None:
    told = client.answer("machine=facial-roll").json()["pieces"]["streams"]
    result = thinstock.load("facial-roll").run()
    assert told.count("<tr>") == len(result.streams) + 1


# -- the form ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("machine", MACHINES)
@pytest.mark.parametrize("unit_set", ["mill", "si", "us"])
def test_the_form_holds_every_value_of_the_machine_once(machine: str, unit_set: str) -> None:
    made = thinstock.load(machine)
    form = forms.Form(made, made, unit_set)  # type: ignore[arg-type]
    listed = [row.address for row in forms.all_rows(form.group())]
    there = [where for where, _ in made.addresses() if made.get(where) is not None or "." in where]
    names = {where for where in there if where.rsplit(".", 1)[-1] == "name"}
    assert len(listed) == len(set(listed))
    assert set(listed) == {
        w for w in there if w not in names and w not in ("press.steam_box", "grade.formation_target")
    }
    for row in forms.all_rows(form.group()):
        assert not row.changed
        if row.sort == "quantity":
            assert row.meaning and (row.unit or row.text == "" or float(row.text) is not None)


@pytest.mark.parametrize("machine", MACHINES)
@pytest.mark.parametrize("unit_set", ["mill", "si", "us"])
def test_what_a_box_shows_can_be_typed_back(machine: str, unit_set: str) -> None:
    from thinstock.app.state import changed

    made = thinstock.load(machine)
    rows = [r for r in forms.all_rows(forms.Form(made, made, unit_set).group()) if r.sort == "quantity" and r.text]  # type: ignore[arg-type]
    _, again = changed(made, {row.address: row.text for row in rows if "share" not in row.address}, unit_set)  # type: ignore[arg-type]
    for row in rows:
        assert float(again.get(row.address)) == pytest.approx(float(made.get(row.address)), rel=2e-5, abs=1e-12)


@pytest.mark.parametrize("machine", MACHINES)
def test_sliders_hold_their_value_and_never_leave_what_is_possible(machine: str) -> None:
    from thinstock.app.state import changed

    made = thinstock.load(machine)
    form = forms.Form(made, made, "mill")
    for name in forms.twelve(made):
        if "." not in name:
            continue
        row = form.row(name)
        assert float(row.low) <= float(row.text) <= float(row.high)
        for end in (row.low, row.high):
            if name.endswith(("width", "speed")):
                continue
            changed(made, {name: end})


def test_the_twelve_are_twelve() -> None:
    names = forms.twelve(thinstock.load("facial-roll"))
    assert len(names) == 13
    assert names.count("former") == names.count("press") == 1, "press and its load count as one"


# -- the address is the state --------------------------------------------------------------------------------------


def test_the_address_reproduces_the_state(client: Client) -> None:
    query = "machine=facial-roll&set=yankee.speed=1800&set=headbox.consistency=0.25 %"
    told = client.answer(query).json()
    assert parse(told["query"]).changes == (("yankee.speed", "1800 m/min"), ("headbox.consistency", "0.25 %"))
    text = plain(client.get(f"/machine?{told['query']}").text)
    for name in ("production", "first", "consistency", "flow"):
        assert plain(told["pieces"][f"fact-{name}"]) in text
    assert "0.250" in plain(told["pieces"]["fact-consistency"])


def test_an_address_means_the_same_in_another_set_of_units(client: Client) -> None:
    fixed = client.answer("machine=facial-roll&units=us&set=yankee.speed=6000").json()["query"]
    assert parse(fixed).changes == (("yankee.speed", "6000 ft/min"),)
    told = client.answer(fixed.replace("&units=us", "").replace("units=us&", "")).json()["pieces"]
    assert "1829 m/min" in plain(told["fact-production"])


def test_two_pages_do_not_know_of_each_other(client: Client) -> None:
    one = client.answer("machine=facial-roll&set=yankee.speed=1500 m/min").json()["pieces"]["fact-production"]
    client.answer("machine=facial-shoe&set=headbox.consistency=0.3 %")
    again = client.answer("machine=facial-roll&set=yankee.speed=1500 m/min").json()["pieces"]["fact-production"]
    assert one == again


def test_a_short_name_that_is_the_only_one_is_enough(client: Client) -> None:
    told = client.answer("machine=facial-roll&set=reel_grammage=16").json()
    assert parse(told["query"]).changes == (("grade.reel_grammage", "16 g/m²"),)


def test_a_gauge_pressure_is_read_at_the_air_pressure_of_the_site(client: Client) -> None:
    query = "machine=facial-roll&set=site.altitude=1500 m&set=yankee.steam_pressure=7 bar(g)"
    rows = {row["address"]: row for row in client.answer(query).json()["rows"]}
    assert float(rows["yankee.steam_pressure"]["text"]) == pytest.approx(7 + 0.8456, abs=0.002)


# -- what cannot be ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ("yankee.speed=99999", "yankee.speed", "must lie between"),
        ("yankee.speed=fast", "yankee.speed", "number"),
        ("yankee.speed=1800 kPa", "yankee.speed", "kPa"),
        ("yankee.steam_pressure=9 bar", "yankee.steam_pressure", "bar(a)"),
        ("yankee.steam_pressure=9", "yankee.steam_pressure", "certificate"),
        ("headbox.consistency=1,200 %", "headbox.consistency", "comma"),
        ("grade.crepe=not given", "grade.crepe", "value is needed"),
        ("hold_reel_dryness_by=luck", "hold_reel_dryness_by", "one of"),
        ("yankee.sped=1800", "yankee.sped", "yankee speed"),
        ("yankee=1", "yankee", "part"),
    ],
)
def test_an_impossible_value_is_told_at_its_field_with_the_remedy(
    client: Client, change: str, field: str, words: str
) -> None:
    reply = client.answer(f"machine=facial-roll&set={change}")
    assert reply.status_code == 422
    (fault,) = reply.json()["faults"]
    assert fault["field"] == field
    assert words in fault["text"]


def test_all_impossible_values_are_told_at_once(client: Client) -> None:
    reply = client.answer("machine=facial-roll&set=yankee.speed=x&set=headbox.consistency=900 %&set=nonsense=1")
    assert {f["field"] for f in reply.json()["faults"]} == {"yankee.speed", "headbox.consistency", "nonsense"}


def test_a_page_opened_with_an_impossible_value_says_so_and_shows_its_numbers_as_old(client: Client) -> None:
    reply = client.get("/machine?machine=facial-roll&set=yankee.speed=99999 m/min")
    assert reply.status_code == 200
    assert 'data-state="before"' in reply.text
    assert "must lie between" in plain(reply.text)


def test_a_broken_file_is_told_line_by_line(client: Client) -> None:
    (client.workspace.folder / "bad.toml").write_text('format = 1\ntitle = "x"\n[yankee]\nspeed = "1800 kPa"\n')
    text = plain(client.get("/machine?file=bad.toml").text)
    assert "line 4" in text and "yankee.speed" in text


def test_undrained_stock_is_the_headline(client: Client) -> None:
    told = client.answer("machine=facial-roll&former=flat wire, table rolls&set=stock.resistance_factor=5").json()[
        "pieces"
    ]
    assert "no sheet" in plain(told["fact-production"])
    assert "is not drained" in plain(told["fact-production"])
    assert json.dumps(told)


# -- another former, another press ---------------------------------------------------------------------------------


def test_another_former_says_what_it_takes_over_and_what_not(client: Client) -> None:
    told = client.answer("machine=facial-roll&former=twin wire, C-wrap", structure="old").json()
    words = plain(told["form"])
    assert "Carried over" in words and "forming fabric" in words and "1.5 m" in words
    assert "Not carried over" in words and "wrap of the forming roll" in words


def test_a_change_of_a_part_that_is_gone_is_dropped_and_told(client: Client) -> None:
    query = "machine=facial-roll&former=suction breast roll&set=forming.element.forming_roll.wrap=100 deg"
    told = client.answer(query, structure="old").json()
    assert parse(told["query"]).changes == ()
    assert "were dropped" in plain(told["form"])


@pytest.mark.parametrize("press", ["shoe press", "two pressure rolls"])
def test_a_certificates_limit_does_not_go_to_another_kind_of_nip(client: Client, press: str) -> None:
    told = client.answer(f"machine=facial-roll&press={press}", structure="old").json()
    assert "ask the vessel's certificate" in plain(told["form"]).replace("&#39;", "'")
    assert "NOT checked against" in plain(told["pieces"]["notes"])
    assert "Not known" in plain(told["pieces"]["limits"])


def test_every_former_and_press_of_the_lists_can_be_taken(client: Client) -> None:
    from thinstock.studies.exchange import formers, presses

    for former in formers():
        assert client.answer(f"machine=facial-roll&former={former}", "quick").status_code == 200
    for press in presses():
        assert client.answer(f"machine=facial-shoe&press={press}", "quick").status_code == 200


# -- files ---------------------------------------------------------------------------------------------------------


def test_a_saved_machine_opens_again_as_the_same(client: Client) -> None:
    query = "machine=facial-roll&press=shoe press&set=yankee.speed=1800 m/min&set=title=Mine"
    before = client.answer(query).json()["pieces"]
    told = client.post("/files/save", {"query": query, "name": "mine"}).json()
    assert told["name"] == "mine.toml" and parse(told["query"]).file == "mine.toml"
    after = client.answer(told["query"]).json()["pieces"]
    for name in ("fact-production", "fact-press", "limits", "energy"):
        assert plain(before[name]) == plain(after[name])
    text = (client.workspace.folder / "mine.toml").read_text()
    assert "# A machine file" in text, "the comments of the file it came from stay"
    assert 'title = "Mine"' in text


def test_saving_never_overwrites_another_file_silently(client: Client) -> None:
    (client.workspace.folder / "there.toml").write_text("someone's")
    reply = client.post("/files/save", {"query": "machine=facial-roll", "name": "there.toml"})
    assert reply.status_code == 409
    assert (client.workspace.folder / "there.toml").read_text() == "someone's"


def test_a_file_that_changed_on_disk_is_not_overwritten_until_told(client: Client) -> None:
    told = client.post("/files/save", {"query": "machine=facial-roll", "name": "m.toml"}).json()
    place = client.workspace.folder / "m.toml"
    place.write_text(place.read_text().replace("1800 m/min", "1750 m/min"))
    answer = client.answer(told["query"]).json()
    assert answer["known"] != told["known"], "the page is told that the file is another one"
    change = told["query"] + "&set=grade.crepe=18 %"
    reply = client.post("/files/save", {"query": change, "name": "m.toml", "known": told["known"]})
    assert reply.status_code == 409
    assert "changed on disk" in reply.json()["changed"]
    assert "18 %" not in place.read_text()
    reply = client.post("/files/save", {"query": change, "name": "m.toml", "known": reply.json()["known"]})
    assert reply.status_code == 200
    assert "18 %" in place.read_text() and "1750 m/min" in place.read_text()


def test_a_dropped_file_is_taken_in_beside_those_that_are_there(client: Client) -> None:
    text = client.get("/download/toml?machine=facial-shoe").text
    first = client.post("/files/drop", {"name": "C:\\mills\\shoe.toml", "text": text}).json()
    again = client.post("/files/drop", {"name": "shoe.toml", "text": text}).json()
    other = client.post("/files/drop", {"name": "../shoe.toml", "text": text + "\n# another\n"}).json()
    assert first["name"] == again["name"] == "shoe.toml"
    assert other["name"] == "shoe 2.toml"
    assert client.workspace.files() == ["shoe 2.toml", "shoe.toml"]
    listed = client.get("/files").json()
    assert [f["name"] for f in listed["files"]] == ["shoe 2.toml", "shoe.toml"]
    assert {m["name"] for m in listed["bundled"]} == set(MACHINES)


def test_a_dropped_file_that_is_no_machine_is_refused_with_its_faults(client: Client) -> None:
    reply = client.post("/files/drop", {"name": "x.toml", "text": "format = 1\n[yankee]\nspeed = 1800\n"})
    assert reply.status_code == 422
    assert any("Line 3" in f["text"] for f in reply.json()["faults"])
    assert client.workspace.files() == []


# -- downloads -----------------------------------------------------------------------------------------------------


def test_the_machine_file_of_a_changed_machine_reads_back(client: Client) -> None:
    reply = client.get("/download/toml?machine=facial-roll&set=yankee.speed=1800 m/min")
    assert 'filename="facial-roll changed.toml"' in reply.headers["content-disposition"]
    assert float(thinstock.loads(reply.text).speed) == 30.0


def test_the_run_as_json_holds_no_nan_and_closes(client: Client) -> None:
    record = json.loads(client.get("/download/json?machine=facial-roll").text, parse_constant=lambda c: pytest.fail(c))
    assert record["closure"]["water"] < 1e-9


def test_tables_come_as_csv_and_workbook_with_numbers_as_numbers(client: Client) -> None:
    from python_calamine import CalamineWorkbook

    archive = zipfile.ZipFile(io.BytesIO(client.get("/download/zip?machine=facial-roll").content))
    rows = list(csv.reader(io.StringIO(archive.read("streams.csv").decode("utf-8-sig"))))
    book = CalamineWorkbook.from_filelike(io.BytesIO(client.get("/download/xlsx?machine=facial-roll").content))
    sheet = book.get_sheet_by_name("streams").to_python()
    assert len(sheet) == len(rows) == len(thinstock.load("facial-roll").run().streams) + 1
    numbers = [cell for row in sheet[1:] for cell in row[3:] if cell != ""]
    assert numbers and all(isinstance(cell, float | int) for cell in numbers)


def test_texts_a_spreadsheet_would_run_are_escaped_and_numbers_are_not() -> None:
    from python_calamine import CalamineWorkbook

    from thinstock.app.files import workbook
    from thinstock.tell.tables import csv_text

    texts = ["=1+1", "+1+1", "-1+x", "@sum", "\t=1", "plain", "http://x.example", "-5", "3e2"]
    book = CalamineWorkbook.from_filelike(io.BytesIO(workbook({"t.csv": [["text"], *([t] for t in texts)]})))
    cells = [row[0] for row in book.get_sheet_by_index(0).to_python()[1:]]
    assert cells[:5] == ["'=1+1", "'+1+1", "'-1+x", "'@sum", "'\t=1"]
    assert cells[5:7] == ["plain", "http://x.example"]
    assert cells[7:] == [-5, 300]
    held = csv_text([["=1+1", -5.0]])
    assert held == "'=1+1,-5.0\n"


def test_the_drawing_comes_as_svg_and_png(client: Client) -> None:
    from xml.etree import ElementTree

    svg = client.get("/download/svg?machine=facial-roll")
    assert ElementTree.fromstring(svg.text).tag.endswith("svg")
    assert svg.headers["content-disposition"].startswith("attachment")
    assert client.get("/download/png?machine=facial-roll").content.startswith(b"\x89PNG")
    assert client.get("/download/exe?machine=facial-roll").status_code == 404


@pytest.mark.parametrize("name", ["water_staircase", "drainage", "yankee"])
def test_charts_come_as_pictures(client: Client, name: str) -> None:
    from xml.etree import ElementTree

    svg = client.get(f"/download/chart/{name}.svg?machine=facial-roll")
    assert ElementTree.fromstring(svg.text).tag.endswith("svg")
    assert client.get(f"/download/chart/{name}.png?machine=facial-roll").content.startswith(b"\x89PNG")
    assert client.get("/download/chart/nothing.svg?machine=facial-roll").status_code == 404
    assert client.get(f"/download/chart/{name}.exe?machine=facial-roll").status_code == 404


# -- the other pages -----------------------------------------------------------------------------------------------


def test_the_sheet_page_shows_theory_at_once_and_the_target_consistency(client: Client) -> None:
    told = client.post("/sheet/answer", {"query": "machine=facial-roll&c=0.1 %&c=0.4&target=cv&aim=10 %&v=0.3"}).json()
    words = plain(told["pieces"]["table"])
    assert "0.1 %" in words and "0.4 %" in words
    assert "crowding number" in words
    assert "dilute to 0.17" in plain(told["pieces"]["answer"]) and "not by dilution" in plain(told["pieces"]["answer"])
    lines = {row["order"] for row in told["charts"]["zones"]["curve"]}
    assert lines == {0, 1, 98, 99}
    curve = told["charts"]["pinholes"]["curve"]
    assert {row["order"] for row in curve} == {0, 1}
    assert all(row["low"] <= row["holes"] * (1 + 1e-9) and row["holes"] <= row["high"] * (1 + 1e-9) for row in curve)


def test_the_sheet_page_goes_from_board_to_tea_bag(client: Client) -> None:
    answers = [client.post("/sheet/answer", {"query": f"machine=facial-roll&grade={n}"}).json() for n in range(6)]
    said = [plain(one["pieces"]["of"]) for one in answers]
    assert "Facial, wire and felt former" in said[0] and "board ply" in said[1] and "tea-bag type" in said[5]
    assert [one["grammage"] for one in answers[1:]] == ["120", "42.0", "18.0", "14.0", "13.0"]
    assert answers[1]["texts"] != answers[5]["texts"]
    assert all("that no dilution removes" in plain(one["pieces"]["table"]) for one in answers)


def test_holes_from_elsewhere_stand_apart_as_assumed(client: Client) -> None:
    def row(query: str) -> str:
        told = client.post("/sheet/answer", {"query": f"machine=facial-roll&c=0.19 %&{query}"}).json()
        return next(row for row in told["pieces"]["table"].split("<tr") if "spots per m²" in row)

    assert "0 spots per m², assumed" in plain(row("")) and "&lt; 0" in row("")
    for left, holes in (("30 %", "20"), ("50 %", "17"), ("70 %", "1.8")):
        told = plain(row(f"spots=20&spot=3 mm&left={left}")).replace(" .", ".")
        assert "20.0 spots per m², assumed" in told and told.rstrip().endswith(holes), told


@pytest.mark.parametrize(
    "query",
    [
        "c=9 %",
        "c=x",
        "v=2",
        "orientation=1",
        "size=huge",
        "seed=-1",
        "zone=1 kg",
        "target=luck",
        "aim=0",
        "grade=9",
        "spots=-1",
        "left=0",
    ],
)
def test_the_sheet_page_refuses_what_cannot_be(client: Client, query: str) -> None:
    reply = client.post("/sheet/answer", {"query": f"machine=facial-roll&{query}"})
    assert reply.status_code == 422 and reply.json()["faults"]


def test_a_target_below_chance_is_refused_in_words(client: Client) -> None:
    told = client.post("/sheet/answer", {"query": "machine=facial-roll&target=cv&aim=1 %"}).json()
    assert "at most" not in plain(told["pieces"]["answer"])
    assert len(plain(told["pieces"]["answer"])) > 20


def test_formers_stand_drawn_and_can_be_taken_over(client: Client) -> None:
    query = "machine=facial-roll&set=yankee.speed=1200 m/min"
    shell = client.get(f"/formers?{query}").text
    assert "suction breast roll" in plain(shell) and 'class="ts-elevation' not in shell, "the page before its ladder"
    told = client.post("/formers/answer", {"query": query, "part": "former"}).json()["pieces"]
    words = plain(told["shown"])
    for name in ("suction breast roll", "twin wire, C-wrap", "wire and felt, S-wrap", "inclined wire"):
        assert name in words
    for said in ("headbox flow per metre", "time in the forming elements", "open sides", "highest pulse",
                 "mat five times", "sheet transfers", "Why it was replaced:", "What was new:", "window of practice",
                 "not limits"):  # fmt: skip
        assert said in words
    assert told["row"].count("<svg") == told["row"].count("<button") == 10, "every former is drawn"
    assert told["field"].count('class="rung"') == 10
    takes = re.findall(r'data-take="[^"]+" href="([^"]+)"', told["shown"])
    assert len(takes) == 9
    reply = client.get(takes[0].replace("&amp;", "&"))
    assert reply.status_code == 200 and "1200" in reply.text


def test_no_former_stands_equal_to_another_without_a_word_why(client: Client) -> None:
    ask = {"query": "machine=facial-roll", "part": "former"}
    shown = client.post("/formers/answer", ask).json()["pieces"]["shown"]
    rows = re.findall(
        r'<article.*?<p class="first">(.*?)</p>.*?<dl class="bars">(.*?)</dl>(.*?)</article>', shown, re.S
    )
    assert len(rows) == 10
    seen: set[str] = set()
    for first, bars, rest in rows:
        assert plain(first).strip() and "<b></b>" not in bars, "no row is empty"
        assert bars not in seen or "It drains exactly as" in rest
        seen.add(bars)


def test_every_drawing_and_chart_of_sheet_formers_and_options_goes_along_as_a_file(client: Client) -> None:
    here, other = "machine=facial-roll", "&other=machine%3Dtea-bag-inclined-wire"
    wanted = {
        "/sheet/file/zones": ("svg", "png", "csv"), "/sheet/file/pinholes": ("svg", "csv"),
        "/formers/file/field": ("svg", "csv"), "/formers/file/flat_wire": ("svg", "png", "csv"),
        "/options/file/A": ("svg",), "/options/file/B": ("png",), "/options/file/numbers": ("csv",),
        "/download/chart/energy": ("svg", "csv"),
    }  # fmt: skip
    begins = {"svg": b"<svg", "png": b"\x89PNG", "csv": b"\xef\xbb\xbf"}
    for place, kinds in wanted.items():
        for kind in kinds:
            reply = client.get(f"{place}.{kind}?{here}{other if 'options' in place else ''}")
            assert reply.status_code == 200 and reply.content.startswith(begins[kind]), (place, kind)
            assert "attachment" in reply.headers["content-disposition"]
            if kind == "csv":
                heads, *rows = reply.content.decode("utf-8-sig").splitlines()
                assert len(rows) > 3 and "," in heads and "order" not in heads, place
    for place in ("/sheet/file/other.svg", "/formers/file/nobody.csv", "/options/file/C.svg", "/options/file/A.csv"):
        assert client.get(f"{place}?{here}").status_code == 404


def test_options_draw_all_machines_at_one_scale_of_metres_and_of_water() -> None:
    from thinstock.drawing import elevation

    runs = [thinstock.load(name).run() for name in ("facial-roll", "tea-bag-inclined-wire")]
    drawn = [elevation(run, inset=False, whole=True, beside=runs) for run in runs]
    scales = []
    for markup, run in zip(drawn, runs, strict=True):
        width = float(run.machine.width)
        flows = [
            (float(w), float(f) * width) for f, w in re.findall(r'data-flow="([^"]+)" data-width="([^"]+)"', markup)
        ]
        scales += [w / f for w, f in flows if w > 1.0]
    assert max(scales) < 1.01 * min(scales), "a kilogram a second is as wide on each"
    reels = [re.search(r"<text[^>]*>(2|5|10) m</text>", markup) for markup in drawn]
    assert reels[0] is not None and reels[1] is not None and reels[0][1] == reels[1][1]


def test_options_mark_only_differences_larger_than_their_uncertainty(client: Client) -> None:
    from thinstock.studies.compare import compare

    query = "machine=facial-roll&other=machine%3Dfacial-shoe"
    text = client.get(f"/options?{query}").text
    compared = compare(thinstock.load("facial-roll"), thinstock.load("facial-shoe"))
    wanted = [
        r for r in compared.numbers if r.name in headline() and r.differences[1] is not None and r.differences[1].sure
    ]
    main = text.split("All other numbers")[0]
    assert main.count('class="difference sure"') == len(wanted) > 0
    assert "Change card: from A to B" in plain(text)


def test_options_take_up_to_four_machines(client: Client) -> None:
    other = "&other=machine%3Dfacial-shoe"
    assert client.get("/options?machine=facial-roll" + other * 3).status_code == 200
    reply = client.post("/options/answer", {"query": "machine=facial-roll" + other * 4})
    assert reply.status_code == 422


# -- words ---------------------------------------------------------------------------------------------------------


def test_every_word_the_page_asks_for_is_in_the_catalogue() -> None:
    known = {f"{group}.{name}" for group, rows in catalogue().items() for name in rows}
    used = set()
    for place in [*SOURCE.rglob("*.html"), *SOURCE.rglob("*.py"), *SOURCE.rglob("*.js")]:
        used |= set(re.findall(r"""\bsay\(\s*["'](\w+\.\w+)["']\s*[,)]""", place.read_text(encoding="utf-8")))
    assert used and used <= known


def test_templates_and_scripts_do_no_arithmetic_with_numbers_of_the_machine() -> None:
    for place in SOURCE.rglob("*.html"):
        for code in re.findall(r"\{[{%](.*?)[%}]\}", place.read_text(encoding="utf-8")):
            code = re.sub(r"\"[^\"]*\"|'[^']*'", "", code)
            assert not re.search(r"\w\s*[*/]\s*\w|\bround\b|\bint\b|\bfloat\b", code), (place.name, code)
    for place in SOURCE.rglob("*.js"):
        text = place.read_text(encoding="utf-8")
        assert not re.search(r"parseFloat|Number\(|\.toFixed|valueAsNumber|toPrecision", text), place.name


# -- truth ---------------------------------------------------------------------------------------------------------


def test_the_truth_page_shows_every_point_with_its_source_and_misses_first(client: Client) -> None:
    from thinstock.formula.writing import citation
    from thinstock.studies.truth import truth

    reply = client.get("/truth")
    text, found = unescape(plain(reply.text)), truth()
    assert reply.status_code == 200
    for one in found:
        assert plain(one.point.says) in text and plain(citation(one.point.source).rstrip(".")) in text
    order = [text.index(plain(f"{one.point.key}: ")) for one in found]
    assert order == sorted(order), "in the order of the verdicts"
    rows = json.loads(reply.text.split('id="figures"')[1].split(">", 1)[1].split("</script>")[0])[0]["data"]["rows"]
    assert {row["point"] for row in rows} == {one.point.key for one in found if one.answers}
    assert all(0.1 <= row["ratio"] <= 10 and row["low"] < row["high"] for row in rows)


def test_limits_come_before_the_rest_and_are_the_same(client: Client) -> None:
    query = "machine=facial-roll&set=headbox.consistency=0.2 %25"
    first = client.answer(query, "limits").json()["pieces"]
    whole = client.answer(query).json()["pieces"]
    assert set(first) == {"fact-first", "limits"}
    assert {name: whole[name] for name in first} == first
