"""What is shipped: the wheel holds every data file and works alone; the lock and the README say nothing untrue."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LOCKS = ("requirements.lock", "requirements-test.lock")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel built from the working copy and unpacked."""
    pytest.importorskip("hatchling")
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True, timeout=120)
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "unpacked")
    return folder / "unpacked"


def alone(unpacked: Path, *args: str) -> str:
    """Output of the command line of the unpacked wheel, run outside the working copy."""
    done = subprocess.run(
        [sys.executable, "-m", "thinstock", *args], cwd=unpacked, capture_output=True, text=True, check=True,
        timeout=300, env={**os.environ, "PYTHONPATH": str(unpacked), "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    return done.stdout


def test_the_wheel_holds_every_file_of_the_package(unpacked: Path) -> None:
    source = ROOT / "src" / "thinstock"
    wanted = {
        p.relative_to(source)
        for p in source.rglob("*")
        if p.is_file() and "__pycache__" not in p.parts and p.suffix != ".pyc"
    }
    packed = {p.relative_to(unpacked / "thinstock") for p in (unpacked / "thinstock").rglob("*") if p.is_file()}
    assert wanted - packed == set()
    assert any(p.suffix == ".toml" for p in packed) and Path("py.typed") in packed


@pytest.mark.slow
def test_the_wheel_works_alone(unpacked: Path) -> None:
    assert "facial-roll" in alone(unpacked, "machines")
    assert "production" in alone(unpacked, "run", "facial-roll")
    card = alone(unpacked, "formulas", "steam.saturation_pressure_if97")
    assert "checked against" in card and "Table 35" in card


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_pins_every_package_with_hashes_and_names_no_address(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    assert "://" not in text and "@ " not in text
    packages = re.findall(
        r"^([A-Za-z0-9._-]+)==[^ ]+(?: ; [^\\]+)? \\\n((?:    --hash=sha256:[0-9a-f]{64}(?: \\)?\n)+)", text, re.M
    )
    lines = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
    assert len(packages) == len(lines) > 25


def locked(name: str) -> set[str]:
    """The packages of a lock."""
    return set(re.findall(r"^([a-z0-9._-]+)==", (ROOT / name).read_text(encoding="utf-8").lower(), re.M))


def asked(*extras: str) -> set[str]:
    """The packages of the base and of these extras."""
    known = PROJECT["project"]["optional-dependencies"]
    wanted = [*PROJECT["project"]["dependencies"], *(package for extra in extras for package in known[extra])]
    return {re.split(r"[<>=!~\[; ]", w, maxsplit=1)[0].lower() for w in wanted} - {"thinstock"}


def test_the_locks_cover_running_and_building_in_one_and_testing_and_checking_in_the_other() -> None:
    user, test = (locked(name) for name in LOCKS)
    wanted = asked("fast", "page", "paper", "tables") | {"hatchling", "editables"}
    assert wanted <= user, wanted - user
    assert not user & test, "a package stands in one lock"
    more = asked("test", "check", "cluster")
    assert more <= user | test, more - user - test
    assert not user & {"pytest", "hypothesis", "ruff", "mypy", "playwright"}, "a user needs no test tools"


def imported() -> set[str]:
    """The libraries that the package imports, by the first part of their name."""
    found: set[str] = set()
    for path in (ROOT / "src" / "thinstock").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        found |= set(re.findall(r"^\s*(?:import|from) (\w+)", text, re.M)) | set(re.findall(r'needs\("(\w+)', text))
    return found


def test_the_base_asks_for_no_compiler_and_what_wants_it_fast_brings_it() -> None:
    assert not asked() & {"numba", "llvmlite", "pyarrow", "typst"}
    assert "numba" in asked("fast")
    wanting = PROJECT["project"]["optional-dependencies"]
    assert all("fast" in wanting[extra][0] for extra in ("page", "cluster", "test"))


def test_every_package_asked_for_is_imported_by_the_package() -> None:
    other = {"xlsxwriter": "xlsxwriter", "vl-convert-python": "vl_convert", "python-calamine": "python_calamine",
             "pillow": "PIL", "fonttools": "fontTools", "font-source-sans-pro": "font_source_sans_pro",
             "font-source-serif-pro": "font_source_serif_pro"}  # fmt: skip
    wanted = asked("fast", "page", "paper", "tables", "cluster")
    idle = {name for name in wanted if other.get(name, name) not in imported()}
    assert not idle, f"nothing imports {idle}"


def test_what_an_extra_brings_is_imported_only_through_needs_outside_the_page() -> None:
    """Everything in `app` is fetched by `thinstock open`, which asks for its libraries first."""
    guarded = "PIL|typst|pyarrow|xlsxwriter|python_calamine|starlette|uvicorn|jinja2|markupsafe|vl_convert|distributed"
    bare = re.compile(rf"^(?!if TYPE_CHECKING)\s*(?:import|from) (?:{guarded})\b", re.M)
    faults = []
    for path in (ROOT / "src" / "thinstock").rglob("*.py"):
        text = re.sub(r"if TYPE_CHECKING:\n(?:    .*\n|\n)+", "", path.read_text(encoding="utf-8"))
        if path.relative_to(ROOT / "src" / "thinstock").parts[0] != "app":
            faults += [f"{path.name}: {hit[0].strip()}" for hit in bare.finditer(text)]
    assert not faults, f"use errors.needs: {faults}"


def test_the_readme_begins_with_the_job_then_a_run_then_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    job, rest = text.split("<!-- run -->")
    assert len([p for p in job.split("\n\n") if p.strip() and not p.startswith("#")]) == 1
    run, after = rest.split("<!-- /run -->")
    for label in ("production", "gives out first", "end of forming", "The price of a kilogram of water"):
        assert label in run
    first = re.search(r"```\n(.*?)```", after, re.S)
    assert first is not None and first[1].split() == ["scripts/start", "scripts/test"]


@pytest.mark.parametrize("name", ["start", "test", "check", "setup", "lock", "readme", "../.ci/run"])
def test_a_script_can_be_started_and_is_no_broken_shell(name: str) -> None:
    path = ROOT / "scripts" / name
    assert os.access(path, os.X_OK)
    assert path.read_text(encoding="utf-8").startswith("#!/usr/bin/env bash\n")
    if sys.platform != "win32":
        subprocess.run(["bash", "-n", str(path)], check=True, timeout=60)


def test_the_run_in_the_readme_is_what_the_program_prints() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = text.split("<!-- run -->\n```\n$ thinstock run facial-roll\n\n")[1].split("\n```\n<!-- /run -->")[0]
    plain = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
    done = subprocess.run(
        [sys.executable, "-m", "thinstock", "run", "facial-roll"], capture_output=True, encoding="utf-8", check=True,
        timeout=600, env={**plain, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    assert shown == done.stdout.rstrip(), "renew the README with scripts/readme"


@pytest.mark.parametrize("options", [[], ["-q"]])
def test_the_runner_ends_with_how_many_tests_passed(options: list[str], tmp_path: Path) -> None:
    (tmp_path / "test_nothing.py").write_text("def test_nothing():\n    pass\n", encoding="utf-8")
    run = [sys.executable, "-m", "pytest", "-c", str(ROOT / "pyproject.toml"), "-p", "no:cacheprovider", *options]
    done = subprocess.run([*run, str(tmp_path)], capture_output=True, text=True, timeout=120, check=True)
    assert re.search(r"\b1 passed in ", done.stdout.splitlines()[-1])
    steps = (ROOT / ".ci" / "run").read_text(encoding="utf-8").split("\n")
    assert steps.index("scripts/test") > steps.index("scripts/check"), (
        "the tests come last, with no option that hides it"
    )
