"""What is not installed is asked for by the extra that brings it, and everything else goes on without it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import thinstock
from thinstock.errors import Refused, needs

EXTRAS = ("starlette", "uvicorn", "jinja2", "markupsafe", "vl_convert", "PIL", "typst", "pyarrow", "xlsxwriter",
          "python_calamine", "distributed", "numba", "llvmlite")  # fmt: skip


def without(blocked: tuple[str, ...], *args: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """A command in a process that has none of these modules."""
    program = (
        f"import sys\nsys.modules.update(dict.fromkeys({blocked!r}))\n"
        f"from thinstock.cli import status\nsys.exit(status({list(args)!r}))"
    )
    found = str(Path(thinstock.__file__).parents[1])
    return subprocess.run(
        [sys.executable, "-c", program], cwd=folder, capture_output=True, text=True, timeout=300,
        stdin=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": found},
    )  # fmt: skip


SMALL = ("--size", "12 mm", "--pixel", "100 µm")
THREE = ("--vary", "headbox.consistency=0.15 %..0.25 % x 3")
MANY = ("--vary", "headbox.consistency=0.15 %..0.25 % x 300", "--vary", "yankee.speed=1700..1900 m/min x 1000")
ASKED = [
    ("starlette", "page", ("open", "facial-roll", "--no-browser")),
    ("uvicorn", "page", ("open", "facial-roll", "--no-browser")),
    ("vl_convert", "page", ("open", "facial-roll", "--no-browser")),
    ("PIL", "page", ("sheet", "facial", *SMALL, "--out", "pictures")),
    ("jinja2", "paper", ("explain", "facial-roll", "flow_per_width", "--format", "html")),
    ("typst", "paper", ("explain", "facial-roll", "flow_per_width", "--format", "pdf", "--out", "working.pdf")),
    ("vl_convert", "page", ("handout", "facial-roll", "--out", "handout.html")),
    ("xlsxwriter", "tables", ("survey-form", "facial-roll", "--out", "form.xlsx")),
    ("python_calamine", "tables", ("survey", "readings.xlsx", "--machine", "facial-roll")),
    ("pyarrow", "tables", ("survey", "readings.parquet", "--machine", "facial-roll")),
    ("pyarrow", "tables", ("sweep", "facial-roll", *THREE, "--out", "cases")),
    ("distributed", "cluster", ("sweep", "facial-roll", *THREE, "--out", "cases",
                                "--scheduler", "tcp://127.0.0.1:9")),
    ("numba", "fast", ("sheet", "facial-roll")),
    ("numba", "fast", ("sweep", "facial-roll", *MANY, "--out", "cases")),
]  # fmt: skip


@pytest.mark.parametrize(("module", "extra", "args"), ASKED, ids=lambda one: one if isinstance(one, str) else one[0])
def test_a_command_says_which_extra_brings_what_is_missing(
    module: str, extra: str, args: tuple[str, ...], tmp_path: Path
) -> None:
    (tmp_path / "readings.xlsx").write_bytes(b"PK")
    (tmp_path / "readings.parquet").write_bytes(b"PAR1")
    done = without((module,), *args, folder=tmp_path)
    assert done.returncode == 1, done.stderr
    assert f"{module}: is not installed. It comes with: pip install 'thinstock[{extra}]'" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "args",
    [
        ("run", "facial-roll"),
        ("run", "facial-roll", "--csv", "tables"),
        ("limits", "facial-roll", "--json"),
        ("explain", "facial-roll", "flow_per_width"),
        ("compare", "facial-roll", "facial-shoe"),
        ("check", "facial-roll"),
        ("new", "mine.toml"),
        ("machines",),
        ("survey-form", "facial-roll", "--out", "form.csv"),
        ("sheet", "facial", *SMALL),
    ],
    ids=" ".join,
)
def test_what_needs_no_extra_runs_without_any(args: tuple[str, ...], tmp_path: Path) -> None:
    done = without(EXTRAS, *args, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout + done.stderr and "Traceback" not in done.stderr


def test_a_fault_inside_a_library_is_not_taken_for_its_absence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "half_there.py").write_text("import no_such_library_at_all\n", encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(ModuleNotFoundError, match="no_such_library_at_all"):
        needs("half_there", "page")
    with pytest.raises(Refused, match="not_there_either: is not installed"):
        needs("not_there_either.part", "page")
