"""What leaves the program: a target is the old file or the new one, whole, and nothing else is touched."""

from __future__ import annotations

import ast
import os
import re
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import thinstock
from thinstock.cli import status
from thinstock.errors import Refused
from thinstock.files.write import halves, put, put_all, tidy
from thinstock.work.workspace import Workspace

SOURCE = Path(thinstock.__file__).parent
PRECIOUS = b"precious\n" * 20
posix = pytest.mark.skipif(os.name == "nt", reason="links, modes and limits of a process")


@contextmanager
def disk_of(size: int) -> Iterator[None]:
    """A system on which no file can grow larger than this; Python must keep no compiled module then (cut short)."""
    import resource

    before, kept = resource.getrlimit(resource.RLIMIT_FSIZE), sys.dont_write_bytecode
    sys.dont_write_bytecode = True
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        sys.dont_write_bytecode = kept


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


AXES = ("--x", "headbox.consistency=0.15 %..0.25 % x 6", "--y", "yankee.speed=1500..1900 m/min x 6")
WRITING = {
    "map --csv": ("map", "facial-roll", *AXES, "--result", "production", "--csv"),
    "map --svg": ("map", "facial-roll", *AXES, "--result", "production", "--svg"),
    "map --vega": ("map", "facial-roll", *AXES, "--result", "production", "--vega"),
    "handout": ("handout", "facial-roll", "--with", "glossary", "--out"),
    "explain": ("explain", "facial-roll", "flow_per_width", "--format", "html", "--out"),
}
NAMES = {"handout": "h.html", "explain": "e.html"}


@posix
@pytest.mark.parametrize("what", WRITING)
def test_a_full_disk_leaves_the_old_file_as_it_was_and_is_told_with_its_path(
    what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / NAMES.get(what, "out.txt")
    place.write_bytes(PRECIOUS)
    status(["run", "facial-roll"])  # what is kept between starts is kept before the disk is full
    with disk_of(400):
        assert status([*WRITING[what], str(place)]) == 1
    assert place.read_bytes() == PRECIOUS and names(tmp_path) == [place.name]
    told = capsys.readouterr().err
    assert f"{place}: cannot be written (file too large). What stood there is as it was." in told


NEW = {
    "new": ("new", "{}/mine.toml"),
    "survey-form csv": ("survey-form", "facial-roll", "--out", "{}/form.csv"),
    "survey-form xlsx": ("survey-form", "facial-roll", "--out", "{}/form.xlsx"),
    "run --csv": ("run", "facial-roll", "--csv", "{}"),
    "map --csv": ("map", "facial-roll", *AXES, "--result", "production", "--csv", "{}/m.csv"),
    "explain": ("explain", "facial-roll", "flow_per_width", "--format", "html", "--out", "{}/e.html"),
    "handout": ("handout", "facial-roll", "--with", "glossary", "--out", "{}/h.html"),
}


@posix
@pytest.mark.parametrize("what", NEW)
def test_a_full_disk_leaves_no_new_file_behind_and_is_told_with_the_path(
    what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status(["run", "facial-roll"])
    with disk_of(400):
        assert status([part.format(tmp_path) for part in NEW[what]]) == 1
    assert names(tmp_path) == []
    told = capsys.readouterr().err
    assert str(tmp_path) in told and "file too large" in told and "fault of the program" not in told


@posix
def test_a_full_disk_leaves_nothing_of_a_machine_that_is_saved(tmp_path: Path) -> None:
    with disk_of(400):
        with pytest.raises(Refused, match="cannot be written"):
            Workspace(tmp_path).write("m.toml", "x" * 1000)
        with pytest.raises(Refused, match="cannot be written"):
            thinstock.save(thinstock.load("facial-roll"), tmp_path / "m.toml")
    assert names(tmp_path) == []


@posix
def test_no_name_beside_the_target_can_be_foretold_and_no_link_is_followed(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.write_bytes(PRECIOUS)
    page = tmp_path / "e.html"
    for planted in (".e.html.part", ".e.html.new", ".e.html.tmp", "e.html.part"):
        (tmp_path / planted).symlink_to(other)
    assert status(["explain", "facial-roll", "flow_per_width", "--format", "html", "--out", str(page)]) == 0
    assert other.read_bytes() == PRECIOUS and not page.is_symlink() and page.stat().st_size > 1000


@posix
@pytest.mark.parametrize("new", [False, True], ids=["over", "new"])
def test_what_is_no_file_is_refused_in_its_own_words(new: bool, tmp_path: Path) -> None:
    (tmp_path / "behind").write_bytes(PRECIOUS)
    (tmp_path / "link").symlink_to(tmp_path / "behind")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    before = names(tmp_path)
    for name, words in (("link", "links are not followed"), ("dangling", "links are not"), ("folder", "is a folder"),
                        ("pipe", "not a file")):  # fmt: skip
        with pytest.raises(Refused, match="is there already" if new else words):
            put(tmp_path / name, b"x", new=new)
    assert (tmp_path / "behind").read_bytes() == PRECIOUS and names(tmp_path) == before
    with pytest.raises(Refused, match=r"none.x: cannot be written \(no such file"):
        put(tmp_path / "none" / "x", b"x")


def test_a_new_file_never_takes_the_place_of_one_that_appeared_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place, sync = tmp_path / "mine.toml", os.fsync

    def meanwhile(handle: int) -> None:
        place.write_bytes(PRECIOUS)
        sync(handle)

    monkeypatch.setattr(os, "fsync", meanwhile)
    with pytest.raises(Refused, match="is there already"):
        put(place, b"ours", new=True)
    assert place.read_bytes() == PRECIOUS and names(tmp_path) == ["mine.toml"]


@pytest.mark.parametrize("stopped", [KeyboardInterrupt, SystemExit, OSError(5, "Input/output error")])
def test_a_write_that_is_stopped_leaves_the_old_file_and_nothing_else(
    stopped: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = put(tmp_path / "m.csv", PRECIOUS)

    def stop(handle: int) -> None:
        raise stopped

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises((KeyboardInterrupt, SystemExit, Refused)):
        put(place, b"new" * 1000)
    assert place.read_bytes() == PRECIOUS and names(tmp_path) == ["m.csv"]


@posix
def test_a_file_keeps_its_mode_and_a_protected_one_is_not_written(tmp_path: Path) -> None:
    place = put(tmp_path / "a", "1")
    place.chmod(0o640)
    put(place, "2")
    assert stat.S_IMODE(place.stat().st_mode) == 0o640 and place.read_text() == "2"
    place.chmod(0o440)
    if os.access(place, os.W_OK):
        pytest.skip("nothing is protected from this user")
    with pytest.raises(Refused, match="permission denied"):
        put(place, "3")
    assert place.read_text() == "2"


HAMMER = """
import sys
from thinstock.files.write import put
for number in range(150):
    put(sys.argv[1], sys.argv[2] * (20_000 + number))
"""


def test_two_processes_on_one_target_never_fail_each_other(tmp_path: Path) -> None:
    place = tmp_path / "both"
    writers = [
        subprocess.Popen([sys.executable, "-c", HAMMER, str(place), letter], stderr=subprocess.PIPE, text=True)
        for letter in "ab"
    ]
    seen = set()
    while any(one.poll() is None for one in writers):
        if place.exists():
            content = place.read_text()
            assert len(content) >= 20_000 and len(set(content)) == 1
            seen.add(content[0])
        tidy(tmp_path, 2e10)  # even someone who takes half files away that are being written
        time.sleep(0.02)
    for one in writers:
        assert one.communicate()[1] == "" and one.returncode == 0
    assert names(tmp_path) == ["both"] and seen


def test_only_old_halves_are_tidied_away(tmp_path: Path) -> None:
    half, other = tmp_path / f".{'0123456789abcdef'}.half", tmp_path / ".mine.half"
    for one in (half, other):
        one.write_bytes(b"x")
    tidy(tmp_path, half.stat().st_mtime)
    assert halves(names(tmp_path)) == [half.name]
    tidy(tmp_path, half.stat().st_mtime + 1)
    assert names(tmp_path) == [".mine.half"]


def test_many_files_go_into_a_folder_that_is_made_and_texts_keep_their_line_ends(tmp_path: Path) -> None:
    made = put_all({"a.txt": "1\r\n2\n", "b.bin": b"\0"}, tmp_path / "deep" / "er")
    assert [p.read_bytes() for p in made] == [b"1\r\n2\n", b"\0"]
    with pytest.raises(Refused, match="cannot be written"):
        put_all({"a": "1"}, made[0] / "below")


WRITERS = {"write_text", "write_bytes", "mkstemp", "NamedTemporaryFile", "rename", "fdopen"}
WORDS = re.compile(r"\b(write_text|write_bytes|mkstemp|NamedTemporaryFile|rename|fdopen|open|os\.replace)\(")
ELSEWHERE = {("lesson/out/clips.py", "open")}
"""A container in memory."""


def private(tree: ast.AST) -> set[ast.AST]:
    """What stands inside a block that has a folder of its own, gone with the block."""
    blocks = (n for n in ast.walk(tree) if isinstance(n, ast.With))
    own = [b for b in blocks if any("TemporaryDirectory" in ast.unparse(one) for one in b.items)]
    return {inside for block in own for inside in ast.walk(block)}


def test_nothing_is_written_but_by_the_one_writer() -> None:
    found = set()
    for path in SOURCE.rglob("*.py"):
        here, text = path.relative_to(SOURCE).as_posix(), path.read_text(encoding="utf-8")
        if here == "files/write.py" or not WORDS.search(text):
            continue
        tree = ast.parse(text)
        left = private(tree)
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or node in left:
                continue
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            texts = [a.value for a in [*node.args, *(k.value for k in node.keywords)] if isinstance(a, ast.Constant)]
            opens = name == "open" and any(isinstance(t, str) and set(t) & set("wxa+") and len(t) < 4 for t in texts)
            moved = name == "replace" and ast.unparse(node.func) == "os.replace"
            if name in WRITERS or opens or moved:
                found.add((here, name))
    assert found <= ELSEWHERE, sorted(found - ELSEWHERE)
