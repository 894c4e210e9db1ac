"""The worked examples of CONTRIBUTING.md, done in a copy of the package from the very blocks that stand there.

A result number is the third of them: `test_one_home.py`.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import thinstock

SOURCE = Path(thinstock.__file__).parent
HERE = Path(__file__).parent
GUIDE = (HERE.parent / "CONTRIBUTING.md").read_text(encoding="utf-8")
PHRASES = Path("words", "phrases")

ELEMENT = """
import json, sys
import thinstock
from thinstock.case.library import machine_text
listed = '''
[[forming.element]]
kind = "forming board"
[[forming.element]]
kind = "forming shoe"
vacuum = "6 kPa"
[[forming.element]]
kind = "table rolls"
'''
text = machine_text("facial-flat-wire")
start = text.index("[[forming.element]]")
machine = thinstock.loads(text[:start] + listed + text[text.index("[vacuum]"):])
shoe = machine.forming.element[1]
result = thinstock.run(machine)
without = thinstock.run(machine, {"forming.element.forming_shoe.vacuum": 0.0})
json.dump({
    "kind": type(shoe).__name__,
    "vacuum": float(shoe.vacuum),
    "streams": {s.name: float(s.water) for s in result.streams},
    "weaker": {s.name: float(s.water) for s in without.streams},
    "closed": max(abs(float(v)) for v in result.closure().values()),
    "drawing": thinstock.draw(result),
    "schema": json.dumps(thinstock.schema()),
}, sys.stdout)
"""
LANGUAGE = """
import sys
from thinstock.cli import status
from thinstock.words.phrase import language
with language("de"):
    sys.exit(status(["run", "facial-roll"]))
"""


def block(name: str) -> str:
    """The text of a marked block of the guide."""
    found = re.search(rf"```\w+ {name}\n(.*?)```", GUIDE, re.S)
    assert found is not None, f"CONTRIBUTING.md has no block marked {name}"
    return found[1]


def copied(folder: Path) -> Path:
    """A copy of the package."""
    shutil.copytree(SOURCE, folder / "thinstock", ignore=shutil.ignore_patterns("__pycache__"))
    return folder / "thinstock"


def with_element(folder: Path, code: str | None = None, sentence: str | None = None) -> None:
    """The copy with one more element: its file, and its sentence."""
    package = copied(folder)
    added = block("element") if code is None else code
    (package / "machine" / "elements" / "shoe.py").write_text(added, encoding="utf-8")
    drawing = package / PHRASES / "en" / "drawing.toml"
    line = block("drawing") if sentence is None else sentence
    drawing.write_text(line + drawing.read_text(encoding="utf-8"), encoding="utf-8")


def in_copy(folder: Path, *args: str) -> subprocess.CompletedProcess[str]:
    """Python with the copy in place of the package."""
    return subprocess.run(
        [sys.executable, *args], cwd=folder, capture_output=True, text=True, encoding="utf-8", timeout=900,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), str(HERE)]), "COLUMNS": "120"}, check=False,
    )  # fmt: skip


def checked(folder: Path, file: str, name: str) -> subprocess.CompletedProcess[str]:
    """Tests of this name, run on the copy."""
    return in_copy(folder, "-m", "pytest", "-p", "no:cacheprovider", "-c", os.devnull, str(HERE / file), "-k", name)


@pytest.mark.slow
def test_an_element_in_one_file_runs_is_drawn_and_stands_in_the_schema(tmp_path: Path) -> None:
    with_element(tmp_path)
    done = in_copy(tmp_path, "-c", ELEMENT)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["kind"] == "FormingShoe" and told["vacuum"] == 6000.0
    assert told["closed"] < 1e-9
    mine = [name for name in told["streams"] if "forming shoe" in name]
    assert mine and all(told["streams"][name] > told["weaker"].get(name, 0.0) for name in mine)
    assert "a closed shoe with 6" in told["drawing"] and "forming shoe" in told["schema"]


@pytest.mark.slow
def test_an_element_that_forgot_its_outline_fails_with_what_to_add(tmp_path: Path) -> None:
    with_element(tmp_path, code=block("element").split("    def outline(")[0].rstrip() + "\n")
    said = "FormingShoe has no outline: give it `outline(self, place)`"
    plain = in_copy(tmp_path, "-c", "import thinstock; thinstock.load('facial-roll')")
    assert plain.returncode == 1 and said in plain.stderr, plain.stdout + plain.stderr
    tested = checked(tmp_path, "test_outlines.py", "test_every_kind_of_part_has_an_outline")
    assert tested.returncode not in (0, 5) and said in tested.stdout, tested.stdout + tested.stderr


@pytest.mark.slow
def test_an_element_that_forgot_what_it_does_fails_with_what_to_add(tmp_path: Path) -> None:
    fields, _build, outline = re.split(r"(?=    def )", block("element"))
    with_element(tmp_path, code=fields + outline)
    done = in_copy(tmp_path, "-c", "import thinstock; thinstock.load('facial-roll')")
    assert done.returncode == 1, done.stdout
    assert "FormingShoe has no build: give it `build(self, arriving)`: Kernel elements in machine order." in done.stderr


@pytest.mark.slow
def test_an_element_that_forgot_its_sentence_fails_a_test_that_says_where_it_goes(tmp_path: Path) -> None:
    with_element(tmp_path, sentence="")
    done = checked(tmp_path, "test_phrases.py", "test_every_phrase_that_code_says")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "shoe.py" in done.stdout and "add drawing.shoe to words/phrases/en/drawing.toml" in done.stdout


@pytest.mark.slow
def test_a_file_in_another_language_is_said_and_the_rest_stays_english(tmp_path: Path) -> None:
    folder = copied(tmp_path) / PHRASES / "de"
    folder.mkdir()
    (folder / "stations.toml").write_text(block("stations"), encoding="utf-8")
    done = in_copy(tmp_path, "-c", LANGUAGE)
    assert done.returncode == 0, done.stderr
    assert "Stoffauflauf" in done.stdout and "creping doctor" in done.stdout
    assert checked(tmp_path, "test_phrases.py", "another_language").returncode == 0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("line", "said"),
    [('no_such = "nichts"\n', "not in English"), ('felt_boxes = "Filzsauger"\n', "other slots than in English")],
)
def test_a_key_or_a_slot_that_english_lacks_fails_a_test_that_names_it(tmp_path: Path, line: str, said: str) -> None:
    folder = copied(tmp_path) / PHRASES / "de"
    folder.mkdir()
    (folder / "stations.toml").write_text(line, encoding="utf-8")
    done = checked(tmp_path, "test_phrases.py", "another_language")
    assert done.returncode == 1 and said in done.stdout and line.split()[0] in done.stdout, done.stdout
