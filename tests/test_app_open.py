"""`thinstock open`: which machine, which folder, and what is printed."""

from __future__ import annotations

import socket
import time
from pathlib import Path

import pytest

from app_client import Server, free_port
from thinstock.cli import status
from thinstock.cli.open import _wanted
from thinstock.errors import Refused


def test_a_bundled_machine_opens_in_the_folder_one_stands_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert _wanted(None, None) == ("", tmp_path)
    assert _wanted("facial-roll", None) == ("machine=facial-roll", tmp_path)


def test_a_file_opens_in_its_own_folder_or_in_the_workspace_that_holds_it(tmp_path: Path) -> None:
    inner = tmp_path / "mill a"
    inner.mkdir()
    place = inner / "machine.toml"
    place.write_text("format = 1\n")
    assert _wanted(str(place), None) == ("file=machine.toml", inner)
    assert _wanted(str(place), tmp_path) == ("file=mill+a%2Fmachine.toml", tmp_path)
    other = tmp_path / "other"
    other.mkdir()
    with pytest.raises(Refused, match="outside the workspace"):
        _wanted(str(place), other)


def test_a_machine_that_is_not_there_is_refused_with_the_nearest_names(capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["open", "facial-rol", "--no-browser"]) == 1
    assert "facial-roll" in capsys.readouterr().err


def test_a_port_that_is_taken_is_refused_with_what_helps(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert status(["open", "facial-roll", "--no-browser", "--port", str(port)]) == 1
    said = capsys.readouterr().err
    assert f"port = {port}" in said and "leave --port out" in said


def test_the_address_is_printed_soon_and_holds_a_token(tmp_path: Path) -> None:
    begun = time.monotonic()
    server = Server(tmp_path, free_port())
    taken = time.monotonic() - begun
    server.stop()
    assert server.address.startswith("http://127.0.0.1:") and len(server.address.split("/open/")[1]) > 40
    assert server.address.endswith("machine=facial-roll")
    assert taken < 120
