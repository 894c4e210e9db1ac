"""Scripts and test runs say what they did not do: pages without a browser, Pythons that are not there, old lists."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent


def module(name: str) -> Any:
    spec = importlib.util.spec_from_file_location(name, ROOT / "scripts" / f"{name}.py")
    assert spec is not None and spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


@pytest.mark.slow
def test_a_run_without_a_browser_says_how_many_page_tests_did_not_run(tmp_path: Path) -> None:
    env = {**os.environ, "PATH": str(tmp_path), "PYTHONPATH": os.pathsep.join(sys.path), "PYTEST_ADDOPTS": ""}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:xdist",
         "tests/test_app_page_browser.py", "tests/test_overlaps.py", "-k", "browser"],
        cwd=ROOT, env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    last = done.stdout.strip().splitlines()[-2:]
    assert "page tests did NOT run: there is no Chromium" in last[0], done.stdout[-500:]
    assert int(last[0].split()[0]) >= 10


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals differ")
def test_the_tests_of_interrupts_hold_under_a_runner_that_ignores_them_and_leave_nobody_behind(tmp_path: Path) -> None:
    """A job in the background of a shell hands SIGINT on as ignored."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "PYTEST_ADDOPTS": "", "LEFT": "by this test"}
    done = subprocess.run(
        ["bash", "-c", 'trap "" INT; exec "$0" "$@"', sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider",
         "-p", "no:xdist", f"--basetemp={tmp_path / 'run'}", "tests/test_cli_commands.py", "tests/test_cli_sheet.py",
         "-k", "ctrl_c or an_interrupt"],
        cwd=ROOT, env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "2 passed" in done.stdout, done.stdout[-800:]
    commands = [place.read_bytes() for place in Path("/proc").glob("[0-9]*/cmdline") if place.exists()]
    assert not [one for one in commands if str(tmp_path / "run").encode() in one], "a child was left"


@pytest.mark.parametrize(
    ("version", "known"), [("3.1.3", True), ("3.1.5", True), ("3.1.6", False), ("3.2", False), ("4.0rc1", False)]
)
def test_a_vulnerable_version_in_a_lock_is_found_without_a_network(version: str, known: bool, tmp_path: Path) -> None:
    for name in ("requirements.lock", "requirements-test.lock"):
        (tmp_path / name).write_text(f"jinja2=={version} \\\n    --hash=sha256:0\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "stored_advisories.py"), str(tmp_path)], capture_output=True, text=True
    )
    assert done.returncode == (1 if known else 0), done.stderr
    assert ("CVE-2025-27516" in done.stdout) == known and "CANNOT say anything" in done.stdout


def test_the_locked_set_holds_nothing_the_stored_list_knows() -> None:
    assert module("stored_advisories").main() == 0


def test_the_scripts_are_written_so_that_a_shell_takes_them() -> None:
    for name in ("setup", "test", "matrix", "audit", "fuzz"):
        place = ROOT / "scripts" / name
        assert os.access(place, os.X_OK), name
        subprocess.run(["bash", "-n", str(place)], check=True)
