"""Every drawing and every chart of every page goes along as a file: vector, points for print, its numbers."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from app_client import Client
from thinstock.app.pages import all_pages

HERE = "machine=facial-roll"
CIRCUITS = "file=circuits.toml"
BEGINS = {"svg": b"<svg", "png": b"\x89PNG", "csv": b"\xef\xbb\xbf"}
EXAMPLE = Path(__file__).parents[1] / "examples" / "water-circuits.toml"
PICTURE = re.compile(r'<figure\b[^>]*>|<svg\b[^>]*role="img"[^>]*>')
LINK = re.compile(r'<a\b[^>]*?href="([^"]+?\.(svg|png|csv)(?:\?[^"]*)?)"[^>]*\bdownload\b')
ASKED: dict[str, bytes] = {}
"""What addresses gave: each is asked for once."""
ELSEWHERE = {"study": "test_app_study.py", "survey": "test_app_survey.py"}
"""Pages whose pictures stand only when something was worked out, and the tests that then ask for them."""


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    folder = tmp_path_factory.mktemp("workspace")
    shutil.copy(EXAMPLE, folder / "circuits.toml")
    made = Client(folder)
    yield made
    made.close()
    assert made.reported == []


def pictures_with_links(html: str) -> list[tuple[str, list[tuple[str, str]]]]:
    """Every picture of a page with the links to files that stand between it and the next one."""
    found: list[tuple[str, list[tuple[str, str]]]] = []
    starts = [one for one in PICTURE.finditer(html) if "example" not in one[0] and not inside_figure(html, one)]
    for here, after in zip(starts, [*starts[1:], None], strict=False):
        part = html[here.start() : after.start() if after else len(html)]
        found.append((here[0], [(kind, unescape(address)) for address, kind in LINK.findall(part)]))
    return found


def inside_figure(html: str, one: re.Match[str]) -> bool:
    """Whether a picture is the inside of a figure that counts already, or an example of one."""
    before = html[: one.start()]
    return not one[0].startswith("<figure") and before.count("<figure") > before.count("</figure>")


def each_has_files(client: Client, html: str, least: int, query: str = "", most: int = 100) -> None:
    """Vector, points and numbers of every picture; photographs of a sheet are points alone."""
    found = pictures_with_links(html)
    assert len(found) >= least, f"{len(found)} pictures"
    whole = {kind for _, links in found for kind, _ in links}
    for picture, links in found:
        kinds = {kind for kind, _ in links}
        if kinds == {"png"} or 'data-sheet="' in picture or 'class="detail"' in picture:
            continue
        assert kinds >= {"svg", "png"} and "csv" in kinds | whole, (picture, kinds)
    points = next((address for kind, address in found[0][1] if kind == "png"), "")
    for kind, address in list(dict.fromkeys(link for _, links in found for link in links))[:most]:
        if kind == "png" and address != points:  # made from the vector, all in one way
            continue
        if address.startswith("/sheet/picture/"):
            continue
        place = address if "?" in address else f"{address}?{query}"
        if place in ASKED:
            continue
        reply = client.get(place)
        assert reply.status_code == 200 and reply.content.lstrip().startswith(BEGINS[kind]), (place, reply.status_code)
        ASKED[place] = reply.content
        if kind == "csv":
            assert len(reply.content.decode("utf-8-sig").splitlines()) > 2, place


def page(client: Client, place: str) -> str:
    reply = client.get(place)
    assert reply.status_code == 200, place
    return str(reply.text)


@pytest.mark.slow
def test_every_picture_of_the_machine_page_goes_along_with_its_circuits_and_what_happens_over_time(
    client: Client,
) -> None:
    each_has_files(client, page(client, f"/machine?{CIRCUITS}"), 8)
    watched = client.post("/machine/costs", {"query": CIRCUITS, "part": "watch"}).json()["pieces"]["watch"]
    each_has_files(client, watched, 2)
    courses = [text.decode("utf-8-sig").splitlines() for place, text in ASKED.items() if "course-1.csv" in place]
    assert courses[0][0].startswith("min,") and "g/m²" in courses[0][0] and courses[0][-1].startswith("30")


def test_a_machine_without_circuits_has_no_picture_of_them(client: Client) -> None:
    assert client.get(f"/download/chart/circuits.svg?{HERE}").status_code == 404
    assert client.get(f"/download/chart/course-1.svg?{HERE}").status_code == 422, "and says why"
    for name in ("course-9.svg", "drawing.pdf", "nothing.svg"):
        assert client.get(f"/download/chart/{name}?{HERE}").status_code == 404
    assert "download/chart/circuits" not in page(client, f"/machine?{HERE}")


@pytest.mark.slow
def test_every_picture_of_formers_options_sheet_and_truth_goes_along(client: Client) -> None:
    whole = page(client, f"/formers?{HERE}")
    told = client.post("/formers/answer", {"query": HERE, "part": "full"}).json()["pieces"]
    each_has_files(client, whole, 1, HERE, most=0)
    each_has_files(client, told["shown"], 9, HERE, most=1)
    each_has_files(client, page(client, f"/options?{HERE}&other=machine%3Dfacial-shoe"), 2, most=0)
    each_has_files(client, page(client, f"/sheet?{HERE}"), 3, most=2)
    each_has_files(client, page(client, "/truth"), 1)


@pytest.mark.slow
def test_every_picture_of_the_class_page_and_of_its_walk_goes_along(client: Client) -> None:
    each_has_files(client, page(client, f"/class?{HERE}&with=machine,water,price,along,limits"), 6)
    for step in ("whole", "former"):
        each_has_files(client, page(client, f"/class/walk?{HERE}&step={step}"), 1)


def test_no_page_is_forgotten() -> None:
    asked = {"machine", "formers", "options", "sheet", "truth", "class", *ELSEWHERE}
    assert {one.name for one in all_pages()} - asked == {"lessons"}, "a lesson's scenes are taken along from the stage"
