"""A lesson of one's own: states of pages become scenes, words change, comments stay, and nothing wrong is written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest

from app_client import Client, plain
from thinstock.lesson.library import lesson_names, lesson_text
from thinstock.lesson.read import read

STATE = "machine=facial-roll&set=headbox.consistency=0.25 %25"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    made = Client(tmp_path)
    yield made
    made.close()


@pytest.mark.parametrize("page", ["machine", "sheet", "formers", "options"])
def test_the_present_state_of_a_page_becomes_a_scene(client: Client, tmp_path: Path, page: str) -> None:
    other = "&other=" + quote("machine=facial-shoe") if page == "options" else ""
    assert "Add to a lesson" in client.get(f"/{page}?{STATE}{other}").text
    assert client.get(f"/lessons/add/{page}?{STATE}{other}").status_code == 200
    told = client.post("/lessons/add", {"page": page, "state": STATE + other, "title": "Mine", "lesson": "My class"})
    assert told.status_code == 200
    file = tmp_path / told.json()["file"]
    (scene,) = read(file.read_text()).scenes
    assert dict(scene.source.set) == {"headbox.consistency": "0.25 %"} and scene.source.machine == "facial-roll"
    if page == "options":
        assert scene.beside is not None and scene.beside.machine == "facial-shoe"
    again = client.post("/lessons/add", {"page": "machine", "state": STATE, "title": "More", "file": file.name})
    assert [s.title for s in read((tmp_path / again.json()["file"]).read_text()).scenes] == ["Mine", "More"]


def test_words_and_order_change_in_the_editor_and_every_comment_stays(client: Client, tmp_path: Path) -> None:
    told = client.post("/lessons/copy", {"lesson": lesson_names()[0]}).json()
    file = tmp_path / told["file"]
    assert file.read_text() == lesson_text(lesson_names()[0])
    shown = client.get(f"/lessons/edit?file={quote(told['file'])}")
    assert shown.status_code == 200 and "Hold it to the light" in plain(shown.text)
    body = {"file": told["file"], "known": told["known"]}
    moved = client.post("/lessons/change", {**body, "what": "move", "index": 0, "to": 1}).json()
    assert [s.name for s in read(file.read_text()).scenes][:2] == ["far-apart", "hold-it-to-the-light"]
    stale = client.post("/lessons/change", {**body, "what": "remove", "index": 0})
    assert stale.status_code == 409, "somebody changed it in the meantime"
    body["known"] = moved["known"]
    before = file.read_text()
    long = client.post("/lessons/change", {**body, "what": "words", "index": 0, "say": "word " * 60})
    assert long.status_code == 422 and file.read_text() == before
    fine = client.post("/lessons/change", {**body, "what": "words", "index": 0, "say": "Only this.", "title": "New"})
    assert fine.status_code == 200
    assert read(file.read_text()).scenes[0].say == "Only this."
    assert file.read_text().startswith("# Why tissue machines look as they do")


def test_a_lesson_that_cannot_be_read_says_why_in_the_list_and_spares_the_others(
    client: Client, tmp_path: Path
) -> None:
    (tmp_path / "bad.lesson.toml").write_text('format = 1\ntitle = "Bad"\n[[scene]]\nname = "a"\nshow = "cinema"\n')
    text = plain(client.get("/lessons").text)
    assert "bad.lesson.toml" in text and "cinema" not in text and "is not known here" in text
    assert "Why tissue machines look as they do" in text


def test_no_path_leads_out_of_the_workspace(client: Client) -> None:
    for name in ("../x.lesson.toml", "/etc/passwd", "con.lesson.toml", "facial-roll.toml"):
        assert client.get(f"/lessons/edit?file={quote(name)}").status_code == 422
        assert (
            client.post("/lessons/add", {"page": "machine", "state": STATE, "title": "x", "file": name}).status_code
            == 422
        )


def test_scenes_asked_for_wrongly_are_refused(client: Client) -> None:
    wanted = {"query": "lesson=1-why-tissue-machines", "index": 0, "width": 1024}
    for wrong in ({"index": 99}, {"index": "0"}, {"share": 2}, {"width": -5}, {"share": "x"}):
        assert client.post("/lessons/scene", {**wanted, **wrong}).status_code == 400
    assert client.post("/lessons/scene", {**wanted, "query": "lesson=none"}).status_code == 422
