"""The class page: choices stand in the address, pieces obey the page's policy, every number opens its working."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from app_client import Client, plain
from thinstock import load
from thinstock.errors import Refused
from thinstock.tell import class_page
from thinstock.tell.chapters import CHAPTERS
from thinstock.tell.problems import Order
from thinstock.tell.teller import Teller
from thinstock.tell.worked import names_of

ALL = ",".join(CHAPTERS)


@pytest.fixture(scope="module")
def teller() -> Teller:
    return Teller(load("facial-roll"))


@pytest.fixture
def client(tmp_path: Path) -> Any:
    made = Client(tmp_path)
    yield made
    made.close()


def address(part: str, name: str, picture: Any) -> str:
    return f"/somewhere/{part}/{name}"


# -------------------------------------------- pieces


def test_every_chapter_is_offered_and_can_be_shown(teller: Teller) -> None:
    assert [c.key for c in class_page.chapters()] == list(CHAPTERS)
    made = class_page.piece_of(class_page.chapter(teller, "machine"), address)
    assert made["key"] == "machine" and 'src="/somewhere/machine/elevation.svg"' in made["html"]
    assert class_page.exercises(teller, Order(count=2), key=False).count("<li id=") == 2
    with pytest.raises(Refused, match="machine, water"):
        class_page.chapter(teller, "weather")


def test_pieces_carry_no_style_no_script_and_no_address_of_their_own(teller: Teller) -> None:
    made = [class_page.piece_of(class_page.chapter(teller, key), address)["html"] for key in CHAPTERS]
    made.append(class_page.exercises(teller, Order(count=3), key=True))
    made.append(class_page.working(teller, "dryness_press")["html"])
    for html in made:
        assert "<style" not in html and "<script" not in html and " style=" not in html and "data:" not in html
        assert all(a.startswith(("/somewhere/", "#")) for a in re.findall(r'(?:src|href)="([^"]*)"', html))


def test_the_walk_goes_from_the_whole_machine_to_the_reel_and_up_the_ladder(teller: Teller) -> None:
    titles = class_page.step_titles(teller)
    assert titles[0][0] == "whole" and [k for k, _, p in titles if p == "machine"][-1] == "loop"
    assert next(k for k, _, p in titles if p == "ladder") == "flat_wire"
    for key in ("whole", "stock", "former", "yankee", "wire_felt_c"):
        made = class_page.step(teller, key, address)
        assert made.html and titles[made.number - 1][0] == key
        assert set(re.findall(r'src="/somewhere/[^/]+/([^"]+)"', made.html)) == set(class_page.picture_of(teller, key))
    assert class_page.step(teller, "former", address).explains
    with pytest.raises(Refused, match="whole, stock"):
        class_page.step(teller, "cellar", address)


def test_every_number_of_a_run_can_be_opened(teller: Teller) -> None:
    known = class_page.numbers(teller)
    assert [name for name, _ in known] == names_of(teller.result) and all(said for _, said in known)
    assert class_page.working(teller, "flow_per_width")["text"].split() == ["14500", "L/(min·m)"]


# -------------------------------------------- routes


def links(text: str) -> list[str]:
    return [unescape(a) for a in re.findall(r'(?:href|src)="(/class[^"]*)"', text)]


def test_all_links_of_the_class_page_lead_somewhere(client: Client) -> None:
    page = client.get("/class?with=machine,tension&level=1&count=4")
    assert page.status_code == 200 and client.reported == []
    found = list(dict.fromkeys(links(page.text)))
    assert len(found) > 15
    for one in found:
        reply = client.get(one)
        assert reply.status_code == 200, one
        if "picture" in one:
            assert reply.headers["content-type"].startswith("image/")
        if ".pdf" in one:
            assert reply.content.startswith(b"%PDF") and "attachment" in reply.headers["content-disposition"]


def test_choices_stand_in_the_address(client: Client) -> None:
    page = client.get("/class?with=price&level=2&count=8&seed=5&machine=facial-shoe&units=us")
    toggles = {k: unescape(a) for a, k in re.findall(r'href="([^"]*)" data-chapter="([a-z]+)"', page.text)}
    assert "with=none" in toggles["price"] and "with=machine,price" in toggles["machine"]
    for one in toggles.values():
        assert "level=2" in one and "seed=5" in one and "machine=facial-shoe" in one and "units=us" in one
    assert "Sheet 5" in plain(page.text) and "lb of water" in plain(client.get("/class?with=machine&units=us").text)


def test_the_key_is_shown_only_when_asked_for(client: Client) -> None:
    without, with_key = (client.get(f"/class?with=none&level=1&count=4{more}").text for more in ("", "&key=yes"))
    assert 'class="blank"' in without and 'class="answer"' not in without and 'class="working"' not in without
    assert 'class="answer"' in with_key and 'class="working"' in with_key and 'class="blank"' not in with_key
    assert "<math" in without, "the formulas its answers need stand with the problems"


def test_a_change_of_the_machine_reaches_the_class(client: Client) -> None:
    page = plain(client.get("/class?with=machine&set=headbox.consistency=0.25 %25").text)
    assert "0.250 %" in page
    walk = plain(client.get("/class/walk?step=headbox&set=headbox.consistency=0.25 %25").text)
    assert f"{1 / 0.0025 - 1:.0f} kg of water" in walk


def test_the_working_of_a_number_opens_by_its_address(client: Client) -> None:
    page = client.get("/class/working?number=press_impulse").text
    assert "press impulse, worked" in page and "<math" in page and "3 kPa s" in plain(page)
    listed = client.get("/class/working").text
    assert "number=dryness_press" in listed and "number=stations.reel.dryness" in unescape(listed)


def test_a_headline_number_of_the_machine_page_opens_its_working(client: Client) -> None:
    from thinstock.app.pages.machine import WORKED

    # the page puts its own address behind every link that is marked as one to a page
    opens = r'<a class="how" data-page-link href="(/class/working/([a-z_]+))"'
    found = re.findall(opens, client.get("/machine?machine=facial-shoe").text)
    assert {number for _, number in found} == set(WORKED.values())
    for link, _ in found:
        reply = client.get(f"{link}?machine=facial-shoe&set=headbox.consistency=0.2 %25&units=us")
        assert reply.status_code == 200
        if "flow" in link:
            assert "0.2 %" in plain(reply.text) and "gal/min/in" in reply.text
    wet = {n for _, n in re.findall(opens, client.get("/machine?set=stock.resistance_factor=40").text)}
    assert "flow_per_width" in wet and "dryness_press" not in wet


@pytest.mark.parametrize(
    "path",
    ["/class?with=weather", "/class?level=9", "/class?count=many", "/class?seed=-1", "/class/working?number=none",
     "/class/walk?step=cellar", "/class/key.pdf?count=900", "/class/handout.pdf?paper=a9"],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(client: Client, path: str) -> None:
    reply = client.get(path)
    assert reply.status_code == 422 and client.reported == []


def test_what_is_not_there_is_not_found(client: Client) -> None:
    for path in ("/class/picture/machine/none.svg", "/class/picture/none/elevation.svg", "/class/none.pdf"):
        assert client.get(path).status_code == 404
    assert client.reported == []


def test_a_machine_that_forms_no_sheet_has_a_class_page_too(client: Client) -> None:
    for path in ("/class?with=machine,water,price,tension&", "/class/walk?step=former&", "/class/walk?"):
        reply = client.get(f"{path}set=stock.resistance_factor=40")
        assert reply.status_code == 200 and client.reported == []


def test_text_of_a_machine_file_is_escaped(client: Client) -> None:
    import dataclasses

    from thinstock import save

    machine = dataclasses.replace(load("facial-roll"), title="<b>bold</b> & co", scenario="<i>x</i>")
    save(machine, client.workspace.folder / "odd.toml")
    for path in (
        "/class?with=machine,along&file=odd.toml",
        "/class/walk?file=odd.toml",
        "/class/working?file=odd.toml",
    ):
        text = client.get(path).text
        assert "<b>bold" not in text and "<i>x" not in text and "&lt;b&gt;bold" in text
