"""Every command that README and documentation tell runs, and every piece of Python in them."""

from __future__ import annotations

import contextlib
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from thinstock.cli import COMMANDS, status

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs" / "content").rglob("*.md"))]
FOR = {
    "MACHINE_OR_GRADE": "facial-roll", "MACHINE": "facial-roll", "BEFORE": "facial-roll", "AFTER": "facial-shoe",
    "NUMBER": "headbox_flow", "FOLDER": "out", "TABLE": "facial-roll", "NAME": "flow_per_width", "FILE": "example",
    "POINT": "gravity_share",
}  # fmt: skip
"""What is put for a word in capitals; a survey's table may be the bundled one, prices the example's."""
WHOLE = ("thinstock machines", "thinstock schema", "thinstock truth")
"""Commands of one word that want nothing more; others told so are told by their bare name alone."""
LONG = ("sweep", "map", "sheet", "rebuild", "study", "formers", "compare", "handout", "survey", "exercises", "solve")


def told() -> dict[str, str]:
    """Commands by their text with the page that tells them; those with an ellipsis are no whole commands."""
    found: dict[str, str] = {}
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        inline = re.findall(r"`(thinstock [a-z][^`]*)`", text)
        blocks = re.findall(r"^\$ (thinstock .*)$", text, re.M)
        for command in [*inline, *blocks]:
            bare = len(command.split()) == 2 and command not in WHOLE
            if not bare and "..." not in command and " open" not in command:
                found.setdefault(command, page.name)
    return found


def marked(command: str) -> Any:
    name = command.split()[1]
    return pytest.param(command, marks=pytest.mark.slow) if name in LONG else command


SMALL = {"rebuild": "--draws 200", "study uncertainty": "--draws 200", "sheet": "--size '8 mm' --pixel '50 µm'"}
"""That a command runs is shown by a small case where its own is large."""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    with open(os.devnull, "w") as nothing, contextlib.redirect_stdout(nothing), contextlib.redirect_stderr(nothing):
        for name in ("mine", "my-machine"):
            assert status(["new", f"{name}.toml"]) == 0
    return tmp_path


@pytest.mark.parametrize("command", [marked(one) for one in told()])
def test_a_command_that_is_told_runs(command: str, here: Path) -> None:
    text = command.split(" > ")[0]
    for word, value in FOR.items():
        text = re.sub(rf"\b{word}\b", value, text)
    name, *rest = shlex.split(" ".join([text, *(few for kind, few in SMALL.items() if f"thinstock {kind}" in text)]))[
        1:
    ]
    assert name in COMMANDS, "there is no such command"
    if name == "new":
        (here / rest[0]).unlink(missing_ok=True)
    assert status([name, *rest]) == 0


@pytest.mark.slow
def test_the_python_of_the_readme_runs_as_it_stands(here: Path) -> None:
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)
    assert blocks
    code = "\n".join(blocks)
    printed = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=300
    ).stdout
    assert "(1000,)" in printed and "drying" in printed


def test_a_shell_is_told_what_may_follow() -> None:
    asked = {**os.environ, "_THINSTOCK_COMPLETE": "bash_complete", "COMP_WORDS": "thinstock li", "COMP_CWORD": "1"}
    done = subprocess.run([sys.executable, "-m", "thinstock"], capture_output=True, text=True, env=asked, timeout=120)
    assert "limits" in done.stdout
    asked["_THINSTOCK_COMPLETE"] = "zsh_source"
    done = subprocess.run([sys.executable, "-m", "thinstock"], capture_output=True, text=True, env=asked, timeout=120)
    assert "_THINSTOCK_COMPLETE" in done.stdout
