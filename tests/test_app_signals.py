"""Signals of a historian on the survey page: the same windows, rounds and drift as the commands, with progress."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from app_client import Client, plain
from test_app_survey import over
from thinstock.cli import group

ROOT = "machine=facial-roll"
FILES = ("facial-roll", "facial-roll-laboratory")
ASKED = {"query": ROOT, "files": "\n".join(FILES), "tags": "facial-roll"}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    made = Client(tmp_path)
    yield made
    made.close()
    assert made.reported == []


def test_the_page_finds_the_windows_and_rounds_that_the_command_finds(client: Client, tmp_path: Path) -> None:
    job = client.post("/survey/signals/start", ASKED).json()["job"]
    state, shares = over(client, job)
    assert state == "done" and len(shares) > 2
    found = client.get(f"/survey/signals/found/{job}").json()
    words = plain(found["pieces"]["signals"])
    folder = tmp_path / "by-command"
    asked = ["history", *FILES, "--tags", "facial-roll", "--machine", "facial-roll", "--out", str(folder), "--json"]
    record = json.loads(CliRunner().invoke(group, asked).stdout)
    assert found["rounds"] == len(record["rounds"])
    assert f"{record['steady']} of {len(record['windows'])}" in words
    kept = client.post("/survey/signals/keep", {"job": job}).json()["names"]
    for name, by_command in zip(kept, sorted(folder.iterdir()), strict=True):
        assert (client.workspace.folder / name).read_bytes() == by_command.read_bytes()
    assert client.get(f"/survey?{ROOT}&table={kept[0]}").status_code == 200


def test_a_brought_file_is_taken_as_it_is_and_named_on_the_page(client: Client) -> None:
    content = base64.b64encode(b"time;x\n;%\n2026-03-29 01:59;1,5\n").decode()
    assert client.post("/survey/signals/bring", {"name": "a.csv", "content": content}).json() == {"name": "a.csv"}
    assert (client.workspace.folder / "a.csv").read_bytes().startswith(b"time;x")
    assert "a.csv" in client.get(f"/survey?{ROOT}").text
    assert client.post("/survey/signals/bring", {"name": "a.exe", "content": content}).status_code == 422


@pytest.mark.parametrize("name", ["", "nothing.csv", "../outside.csv", "/etc/passwd", "nobody"])
def test_what_is_no_file_of_the_workspace_is_refused_in_words(client: Client, name: str) -> None:
    reply = client.post("/survey/signals/start", {**ASKED, "files": name})
    assert reply.status_code == 422
    assert reply.json()["faults"][0]["text"]


def test_a_fault_in_the_signals_comes_back_by_line(client: Client) -> None:
    content = base64.b64encode(b"time,x\n2026-03-29 01:59,1.5\n").decode()
    client.post("/survey/signals/bring", {"name": "zoneless.csv", "content": content})
    job = client.post("/survey/signals/start", {**ASKED, "files": "zoneless.csv", "tags": ""}).json()["job"]
    assert over(client, job)[0] == "refused"
    assert "zone" in json.dumps(client.get(f"/jobs/{job}").json()["faults"])
    assert client.get(f"/survey/signals/found/{job}").status_code == 404
