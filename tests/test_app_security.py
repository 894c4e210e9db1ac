"""Tries to get at the page's server from outside, and to get out of it from inside."""

from __future__ import annotations

import asyncio
import json
import os
import types
from pathlib import Path
from typing import Any

import pytest

from app_client import ORIGIN, PORT, TOKEN, Client, TestClient
from thinstock.app import guard, server
from thinstock.app.guard import LARGE, SMALL, Guard
from thinstock.app.reply import environment
from thinstock.cli import status
from thinstock.errors import Refused
from thinstock.work.workspace import Changed, Workspace

EVERYWHERE = ("/", "/machine", "/sheet", "/formers", "/options", "/static/page.css", "/drawing.css", "/files",
              "/download/toml", "/jobs/x", "/nothing")  # fmt: skip


@pytest.fixture
def client(tmp_path: Path) -> Client:
    return Client(tmp_path)


# -- who is let in -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", EVERYWHERE)
def test_nothing_is_shown_without_the_cookie_of_this_start(tmp_path: Path, path: str) -> None:
    stranger = Client(tmp_path, let_in=False)
    reply = stranger.get(path, follow_redirects=False)
    assert reply.status_code == 403
    assert "facial" not in reply.text.lower()


@pytest.mark.parametrize("value", ["", "x", TOKEN[:-1], TOKEN + "x", TOKEN.upper(), '"' + TOKEN + '"'])
def test_a_guessed_cookie_opens_nothing(tmp_path: Path, value: str) -> None:
    stranger = Client(tmp_path, let_in=False)
    reply = stranger.get("/machine", headers={"cookie": f"thinstock-{PORT}={value}"})
    assert reply.status_code == 403


def test_the_opened_address_gives_a_cookie_no_script_can_read_and_no_other_site_can_send(tmp_path: Path) -> None:
    stranger = Client(tmp_path, let_in=False)
    reply = stranger.get(f"/open/{TOKEN}/machine?machine=facial-roll", follow_redirects=False)
    assert reply.status_code == 303
    assert reply.headers["location"] == "/machine?machine=facial-roll"
    cookie = reply.headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and "Path=/" in cookie and "Domain" not in cookie
    assert TOKEN not in reply.headers["location"]
    assert stranger.get("/machine").status_code == 200


def test_the_address_a_browser_is_started_with_opens_once_and_that_of_the_terminal_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    started: list[str] = []
    built: list[Guard] = []
    build = server.build
    monkeypatch.setattr("webbrowser.open", started.append)
    monkeypatch.setattr("thinstock.cli.open._prepare", lambda: None)
    monkeypatch.setattr(server, "build", lambda *given, **named: built.append(build(*given, **named)) or built[0])
    monkeypatch.setattr(server, "compile_behind", lambda work: None)
    monkeypatch.setattr(server, "gc", types.SimpleNamespace(collect=int, freeze=int, set_threshold=lambda *_: None))
    monkeypatch.setattr("uvicorn.Server.run", lambda self, sockets: None)
    assert status(["open", "facial-roll", "--workspace", str(tmp_path)]) == 0
    (opened,) = started
    port, _, place = opened.removeprefix("http://127.0.0.1:").partition("/")
    printed = next(word for word in capsys.readouterr().out.split() if word.startswith("http://"))

    def tab() -> TestClient:
        return TestClient(built[0], base_url=f"http://127.0.0.1:{port}", follow_redirects=False)  # type: ignore[arg-type]

    first, other = tab(), tab()
    assert first.get(f"/{place}").status_code == 303
    assert first.get("/machine").status_code == 200
    assert other.get(f"/{place}").status_code == 403, "who read the command line of the browser comes too late"
    assert first.get(f"/{place}").status_code == 303, "but the browser itself may go back to it"
    assert printed != opened and other.get("/" + printed.split("/", 3)[3]).status_code == 303
    built[0].app.app.state.jobs.close()  # type: ignore[attr-defined]


@pytest.mark.parametrize("token", ["", "x", TOKEN[:-1], "%00", "é"])
def test_a_wrong_token_gives_no_cookie(tmp_path: Path, token: str) -> None:
    reply = Client(tmp_path, let_in=False).get(f"/open/{token}/machine", follow_redirects=False)
    assert reply.status_code == 403
    assert "set-cookie" not in reply.headers


@pytest.mark.parametrize(
    "rest", ["/evil.example/", "//evil.example", "\\\\evil.example", "/\\evil.example", "http://evil.example"]
)
def test_the_opened_address_never_leads_elsewhere(tmp_path: Path, rest: str) -> None:
    reply = Client(tmp_path, let_in=False).get(f"/open/{TOKEN}/{rest}", follow_redirects=False)
    place = reply.headers["location"]
    assert place.startswith("/") and not place.startswith(("//", "/\\"))


def test_a_line_break_in_the_opened_address_sets_no_header(tmp_path: Path) -> None:
    reply = Client(tmp_path, let_in=False).get(
        f"/open/{TOKEN}/m%0d%0aset-cookie:%20a=b?x=%0d%0aa:b", follow_redirects=False
    )
    assert reply.headers.get_list("set-cookie") == [f"thinstock-{PORT}={TOKEN}; Path=/; HttpOnly; SameSite=Strict"]


def test_every_start_has_its_own_long_token() -> None:
    tokens = {guard.new_token() for _ in range(50)}
    assert len(tokens) == 50
    assert min(len(token) for token in tokens) >= 40


def test_the_server_listens_on_this_computer_only() -> None:
    made = server.bound_socket(None)
    try:
        assert made.getsockname()[0] == "127.0.0.1"
    finally:
        made.close()


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        f"evil.example:{PORT}",
        "127.0.0.1",
        "127.0.0.1:1",
        f"127.0.0.1.evil.example:{PORT}",
        f"0.0.0.0:{PORT}",
        "",
    ],
)
def test_a_foreign_host_name_is_not_answered(client: Client, host: str) -> None:
    assert client.get("/machine", headers={"host": host}).status_code == 403


def test_two_host_names_are_not_answered() -> None:
    status, _, called = _raw([(b"host", f"127.0.0.1:{PORT}".encode()), (b"host", b"evil.example")])
    assert status == 403 and not called


# -- who may change something --------------------------------------------------------------------------------------

QUERY = {"query": "machine=facial-roll", "part": "quick"}


@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", f"https://127.0.0.1:{PORT}", "http://127.0.0.1", f"http://localhost:{PORT}",
               f"{ORIGIN}.evil.example"],
)  # fmt: skip
def test_a_change_from_another_origin_is_refused(client: Client, origin: str | None) -> None:
    headers = {} if origin is None else {"origin": origin}
    for path in ("/machine/answer", "/machine/costs", "/files/save", "/files/drop", "/sheet/answer", "/jobs/x/stop"):
        assert client.http.post(path, json=QUERY, headers=headers).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site", "none"])
def test_what_the_browser_says_comes_from_another_site_is_refused(client: Client, site: str) -> None:
    assert client.post("/machine/answer", QUERY, **{"sec-fetch-site": site}).status_code == 403
    assert client.post("/machine/answer", QUERY, **{"sec-fetch-site": "same-origin"}).status_code == 200


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", ""]
)
def test_a_change_that_a_plain_form_could_send_is_refused(client: Client, kind: str) -> None:
    body = json.dumps(QUERY).encode()
    reply = client.http.post("/machine/answer", content=body, headers={"origin": ORIGIN, "content-type": kind})
    assert reply.status_code == 415


@pytest.mark.parametrize("method", ["DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_not_used(client: Client, method: str) -> None:
    assert client.http.request(method, "/machine", headers={"origin": ORIGIN}).status_code == 405


@pytest.mark.parametrize("path", ["/files/save", "/files/drop", "/machine/answer", "/machine/costs", "/sheet/answer"])
def test_looking_changes_nothing(client: Client, path: str) -> None:
    assert client.get(path).status_code == 405
    assert os.listdir(client.workspace.folder) == []


@pytest.mark.parametrize("body", [b"", b"[", b"[1]", b'"x"', b"null", b"{" * 100000, b'{"query": 1}', b"{}"])
def test_a_body_that_is_no_request_is_refused_quietly(client: Client, body: bytes) -> None:
    reply = client.http.post(
        "/machine/answer", content=body, headers={"origin": ORIGIN, "content-type": "application/json"}
    )
    assert reply.status_code == 400
    assert client.reported == []


# -- sizes ---------------------------------------------------------------------------------------------------------


def _raw(
    headers: list[tuple[bytes, bytes]],
    *,
    method: str = "GET",
    path: str = "/machine",
    chunks: list[bytes] | None = None,
) -> tuple[int, int, bool]:
    """Status, bytes taken and whether the application was called, for a request made by hand."""
    called, taken, status = [], [0], [0]

    async def app(scope: Any, receive: Any, send: Any) -> None:
        called.append(True)
        await receive()
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    waiting = list(chunks or [])

    async def receive() -> dict[str, Any]:
        body = waiting.pop(0) if waiting else b""
        taken[0] += len(body)
        return {"type": "http.request", "body": body, "more_body": bool(waiting)}

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            status[0] = message["status"]

    made = Guard(app, token=TOKEN, port=PORT, large=("/files/drop",))
    scope = {"type": "http", "method": method, "path": path, "query_string": b"", "headers": headers}
    asyncio.run(made(scope, receive, send))
    return status[0], taken[0], bool(called)


def _post_headers(*more: tuple[bytes, bytes]) -> list[tuple[bytes, bytes]]:
    cookie = f"thinstock-{PORT}={TOKEN}".encode()
    mine = {b"host": f"127.0.0.1:{PORT}".encode(), b"origin": ORIGIN.encode(), b"cookie": cookie}
    return [*mine.items(), (b"content-type", b"application/json"), *more]


@pytest.mark.parametrize("length", [str(SMALL + 1), "99999999999999999999", "-1", "1e3", "x"])
def test_a_body_told_too_large_is_refused_before_it_is_read(length: str) -> None:
    headers = _post_headers((b"content-length", length.encode()))
    status, taken, called = _raw(headers, method="POST", path="/machine/answer", chunks=[b"x" * 100])
    assert (status, taken, called) == (413, 0, False)


def test_a_body_that_does_not_tell_its_size_is_read_no_further_than_its_limit() -> None:
    status, taken, called = _raw(_post_headers(), method="POST", path="/machine/answer", chunks=[b"x" * 65536] * 1000)
    assert status == 413 and not called
    assert taken <= SMALL + 65536
    status, taken, called = _raw(_post_headers(), method="POST", path="/files/drop", chunks=[b"x" * 65536] * 1000)
    assert status == 413 and not called
    assert taken <= LARGE + 65536


def test_a_body_within_its_limit_arrives_whole() -> None:
    status, taken, called = _raw(_post_headers(), method="POST", path="/machine/answer", chunks=[b"{", b"}"])
    assert (status, taken, called) == (200, 2, True)


def test_an_endless_address_is_refused(client: Client) -> None:
    assert client.get("/machine?set=" + "a" * 20000).status_code == 414
    assert client.get("/machine?" + "&".join("x=1" for _ in range(3000))).status_code == 422


def test_a_dropped_file_that_is_too_large_is_refused(client: Client) -> None:
    reply = client.post("/files/drop", {"name": "big.toml", "text": "#" * 1_000_001})
    assert reply.status_code == 422
    assert os.listdir(client.workspace.folder) == []


# -- what every answer carries -------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", (*EVERYWHERE, "/machine?file=none.toml", "/machine?units=miles", "/charts/1.js"))
def test_every_answer_carries_the_strict_policy(client: Client, path: str) -> None:
    headers = client.get(path, follow_redirects=False).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy and "style-src 'self'" in policy
    assert "unsafe" not in policy and "http" not in policy and "*" not in policy
    assert "frame-ancestors 'none'" in policy and "form-action 'none'" in policy and "base-uri 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert "cache-control" in headers
    assert "access-control-allow-origin" not in headers


@pytest.mark.parametrize("page", ["machine", "sheet", "formers", "options"])
def test_no_page_holds_anything_inline_or_from_outside(client: Client, page: str) -> None:
    import re

    text = client.get(f"/{page}").text
    assert not re.search(r"<script(?![^>]*\b(src=|type=\"application/json\"))", text)
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", text)
    assert not re.search(r"(?:src|href)=\"(?:https?:)?//", text)


# -- what comes from files is words, never markup ------------------------------------------------------------------

EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>"


def _evil_file(client: Client) -> str:
    text = Path(__file__).parents[1].joinpath("src/thinstock/library/machines/facial-roll.toml").read_text("utf-8")
    quoted = json.dumps(EVIL)
    for name in ("title", "scenario"):
        line = next(line for line in text.splitlines() if line.startswith(f"{name} ="))
        text = text.replace(line, f"{name} = {quoted}")
    text = text.replace('name = "forming roll"', f"name = {quoted}", 1).replace(
        'name = "felt vacuum"', f"name = {quoted}"
    )
    text = text.replace('certificate = "invented certificate A"', f"certificate = {quoted}")
    client.workspace.write("evil.toml", text)
    return "evil.toml"


@pytest.mark.parametrize("page", ["machine", "sheet", "formers", "options"])
def test_markup_in_a_machine_file_stays_text(client: Client, page: str) -> None:
    name = _evil_file(client)
    reply = client.get(f"/{page}?file={name}")
    assert reply.status_code == 200
    assert "<script>alert" not in reply.text and "<img src=x" not in reply.text
    assert "&lt;script&gt;alert" in reply.text or "\\u003cscript" in reply.text


def test_markup_in_a_machine_file_stays_text_in_answers_and_drawings(client: Client) -> None:
    from xml.etree import ElementTree

    name = _evil_file(client)
    told = client.answer(f"file={name}").json()
    for piece in told["pieces"].values():
        assert "<script>alert" not in piece and "<img src=x" not in piece
    svg = client.get(f"/download/svg?file={name}")
    root = ElementTree.fromstring(svg.text)
    assert not [e for e in root.iter() if e.tag.endswith(("script", "img", "foreignObject"))]
    assert not [k for e in root.iter() for k in e.attrib if k.lower().startswith("on")]


def test_markup_in_the_address_stays_text(client: Client) -> None:
    for query in (f"set=yankee.speed={EVIL}", f"file={EVIL}", f"machine={EVIL}", f"units={EVIL}", f"set={EVIL}=1"):
        text = client.get("/machine", params=query).text
        assert "<script>alert" not in text and "<img src=x" not in text


@pytest.mark.parametrize("ending", ["html", "svg", "xml", "txt"])
def test_templates_escape_whatever_their_ending(ending: str) -> None:
    from jinja2 import DictLoader

    made = environment().overlay(loader=DictLoader({f"x.{ending}": "{{ value }}"}))
    assert "<" not in made.get_template(f"x.{ending}").render(value=EVIL)
    assert "<" not in environment().from_string("{{ value }}").render(value=EVIL)


# -- what goes wrong says nothing of the inside --------------------------------------------------------------------


def test_a_fault_of_the_program_shows_no_trace_and_the_server_goes_on(client: Client, monkeypatch: Any) -> None:
    from thinstock.app.pages import machine

    def broken(*args: Any, **more: Any) -> Any:
        raise RuntimeError("/home/someone/secret broke")

    with monkeypatch.context() as patch:
        patch.setattr(machine, "told", broken)
        reply = client.answer("machine=facial-roll")
        page = client.get("/machine")
    for one in (reply, page):
        assert one.status_code == 500
        assert "secret" not in one.text and "Traceback" not in one.text and ".py" not in one.text
    assert any("secret" in text for text in client.reported)
    assert client.answer("machine=facial-roll").status_code == 200


@pytest.mark.parametrize("name", ["../outside.toml", "missing.toml", "/etc/passwd", "link.toml", "folder.toml"])
def test_a_refusal_names_no_path_outside_the_workspace(client: Client, name: str) -> None:
    folder = client.workspace.folder
    (folder.parent / "outside.toml").write_text("secret = 1")
    (folder / "link.toml").symlink_to(folder.parent / "outside.toml")
    (folder / "folder.toml").mkdir()
    for reply in (client.get("/machine", params={"file": name}), client.answer(f"file={name}")):
        assert reply.status_code == 422
        assert str(folder) not in reply.text and str(folder.parent) not in reply.text and "secret" not in reply.text


# -- the workspace -------------------------------------------------------------------------------------------------

OUT = [
    "", ".", "..", "../x.toml", "a/../../x.toml", "/x.toml", "//x.toml", "a//x.toml", "./x.toml", "a/./x.toml",
    "..\\x.toml", "a\\x.toml", "C:/x.toml", "C:x.toml", "x.toml\0.png", "x\n.toml", "x.toml ", " x.toml", "x.toml.",
    "con.toml", "NUL.toml", "a/aux.toml", "x.txt", "x", ".toml/", "a/b/c/d.toml", "x" * 300 + ".toml", "~/x.toml/..",
    "x.toml::$DATA", "x?.toml", "..toml/../x.toml",
]  # fmt: skip


@pytest.mark.parametrize("name", OUT)
def test_no_name_leads_out_of_the_workspace(tmp_path: Path, name: str) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "x.toml").write_text("outside")
    workspace = Workspace(inside)
    with pytest.raises(Refused):
        workspace.read(name)
    with pytest.raises(Refused):
        workspace.write(name, "new")
    assert os.listdir(inside) == []
    assert (tmp_path / "x.toml").read_text() == "outside"


@pytest.mark.skipif(os.name == "nt", reason="links need a right on Windows")
def test_links_are_neither_followed_nor_listed_nor_overwritten(tmp_path: Path) -> None:
    inside, outside = tmp_path / "inside", tmp_path / "outside"
    inside.mkdir()
    outside.mkdir()
    (outside / "a.toml").write_text("outside")
    (inside / "file.toml").symlink_to(outside / "a.toml")
    (inside / "folder").symlink_to(outside)
    (inside / "dangling.toml").symlink_to(outside / "new.toml")
    (inside / "self.toml").symlink_to(inside / "real.toml")
    workspace = Workspace(inside)
    assert workspace.files() == []
    for name in ("file.toml", "folder/a.toml", "folder/new.toml", "dangling.toml", "self.toml"):
        with pytest.raises(Refused):
            workspace.read(name)
        with pytest.raises(Refused):
            workspace.write(name, "new")
    assert os.listdir(outside) == ["a.toml"]
    assert (outside / "a.toml").read_text() == "outside"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no such files here")
def test_what_is_no_plain_file_is_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(Refused):
        Workspace(tmp_path).read("pipe.toml")


def test_a_workspace_reached_through_a_link_is_itself_fine(tmp_path: Path) -> None:
    real = tmp_path / "real"
    real.mkdir()
    if os.name == "nt":
        pytest.skip("links need a right on Windows")
    (tmp_path / "link").symlink_to(real)
    workspace = Workspace(tmp_path / "link")
    workspace.write("a.toml", "x")
    assert workspace.read("a.toml").text == "x"


def test_large_and_strange_files_are_refused(tmp_path: Path) -> None:
    workspace = Workspace(tmp_path)
    (tmp_path / "big.toml").write_bytes(b"#" * 1_000_001)
    (tmp_path / "latin.toml").write_bytes(b'title = "\xe9"')
    for name in ("big.toml", "latin.toml"):
        with pytest.raises(Refused):
            workspace.read(name)
    with pytest.raises(Refused):
        workspace.write("new.toml", "#" * 1_000_001)


def test_nothing_is_overwritten_that_someone_else_wrote(tmp_path: Path) -> None:
    workspace = Workspace(tmp_path)
    first = workspace.write("a.toml", "one")
    with pytest.raises(Changed):
        workspace.write("a.toml", "two")
    (tmp_path / "a.toml").write_text("by someone else")
    with pytest.raises(Changed):
        workspace.write("a.toml", "two", known=first.digest)
    assert (tmp_path / "a.toml").read_text() == "by someone else"
    (tmp_path / "a.toml").unlink()
    with pytest.raises(Changed):
        workspace.write("a.toml", "two", known=first.digest)
    assert os.listdir(tmp_path) == []


# -- jobs ----------------------------------------------------------------------------------------------------------


def test_work_is_reached_only_by_its_unguessable_name(client: Client) -> None:
    keys = set()
    for _ in range(3):
        reply = client.post("/sheet/answer", {"query": "machine=facial-roll&c=0.2 %", "start": True})
        keys.add(reply.json()["job"])
    try:
        assert len(keys) == 3 and min(len(key) for key in keys) >= 16
        assert client.get("/jobs/0").status_code == 404
        assert client.get("/sheet/picture/0/0/direct.png").status_code == 404
        assert client.get(f"/sheet/picture/{keys.pop()}/../../x.png").status_code == 404
    finally:
        client.close()
