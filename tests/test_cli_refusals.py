"""Bad input at the command line: refused with every fault and its remedy, never a trace, never a fault of ours."""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import thinstock
from thinstock.case.library import machine_text
from thinstock.cli import COMMANDS, status

MACHINE = "facial-roll"
ADDRESSES = [name for name, _ in thinstock.load(MACHINE).addresses()]


def run(*args: str) -> tuple[int, str, str]:
    """Exit status, output and error stream of a command."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = status(args)
    return code, out.getvalue(), err.getvalue()


def assert_clean(code: int, out: str, err: str) -> None:
    """Ran, refused or wrong usage, said in words."""
    assert code in (0, 1, 2), err
    assert "Traceback" not in err and "Traceback" not in out
    assert (code == 0) or err.strip()


# -------------------------------------------- chosen cases


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("yankee.speed=1800", '--set "yankee.speed=1800 m/min"'),
        ("yanke.speed=1800 m/min", "yankee.speed"),
        ("yankee.speed=-3 m/s", "must lie between"),
        ("yankee.speed=7 kPa", "speed"),
        ("yankee.steam_pressure=7 bar", "bar(a)"),
        ("yankee.speed", "ADDRESS=VALUE"),
        ("=5", "ADDRESS=VALUE"),
        ("press=3", "is a part of the machine"),
        ("forming.element=3", "is a part of the machine"),
        ("on_yankee=perhaps", "true or false"),
        ("hold_reel_dryness_by=prayer", "hood temperature"),
        ("heating=coal", "gas"),
        ("yankee.speed=not given", "a value is needed"),
        ("yankee.speed=nan", "does not begin with a number"),
        ("yankee.speed=1e999 m/s", "too large"),
        ("freeness=9000 mL CSF", "must lie between"),
        ("press.nip.suction_pressure_roll.line_load=200 kN/m", "certificate"),
        ("headbox.consistency=4 %", "must be above the headbox consistency"),
        ("efficiency=0.5", "could be any of"),
    ],
)
def test_a_wrong_change_is_refused_with_what_would_work(change: str, said: str) -> None:
    code, out, err = run("check", MACHINE, "--set", change)
    assert (code, out) == (1, "")
    assert err.startswith("thinstock: refused") and said in err


def test_all_faults_of_all_changes_come_at_once() -> None:
    wrong = ("yankee.speed=1800", "loop.nothing=3", "crepe=900 %", "x", "hood=hot")
    code, _, err = run("run", MACHINE, *(part for change in wrong for part in ("--set", change)))
    assert code == 1
    assert err.splitlines()[0] == "thinstock: refused, 5 faults"
    for word in ("yankee.speed", "loop.nothing", "crepe", "'x'", "hood"):
        assert word in err


def test_a_value_set_twice_is_refused() -> None:
    code, _, err = run("check", MACHINE, "--set", "yankee.speed=20 m/s", "--set", "yankee.speed=30 m/s")
    assert code == 1 and "is set twice" in err


def test_all_faults_of_a_file_are_told_with_their_lines(tmp_path: Path) -> None:
    file = tmp_path / "wrong.toml"
    code, _, _ = run("new", str(file))
    assert code == 0
    text = file.read_text(encoding="utf-8").replace('"95 %"', '"950 %"').replace('"40 degC"', "40")
    file.write_text(text + '\n[nowhere]\nx = "1 m"\n', encoding="utf-8")
    code, out, err = run("run", str(file))
    assert (code, out) == (1, "")
    assert "3 faults" in err.splitlines()[0]
    assert err.count("line ") >= 3 and "nowhere" in err


@pytest.mark.parametrize("name", ["no-such-machine", "/no/such/folder/machine.toml", "", ".", "facial-rol"])
def test_a_machine_that_is_not_there_is_refused(name: str) -> None:
    for command in ("run", "limits", "check"):
        code, out, err = run(command, name)
        assert (code, out) == (1, "") and "refused" in err


def test_a_folder_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "taken"
    file.write_text("a file, not a folder", encoding="utf-8")
    code, _, err = run("run", MACHINE, "--csv", str(file / "below"))
    assert code == 1 and "taken" in err and "Traceback" not in err


@pytest.mark.parametrize(
    "args",
    [
        (),
        ("rum",),
        ("run",),
        ("run", MACHINE, "--unit", "si"),
        ("run", MACHINE, "--units", "uk"),
        ("run", MACHINE, "more"),
        ("limits", MACHINE, "--set"),
        ("new",),
        ("--wrong",),
        ("formulas", "a", "b"),
    ],
)
def test_wrong_usage_is_status_two(args: tuple[str, ...]) -> None:
    code, out, err = run(*args)
    assert code == 2 and out == ""
    assert "Usage:" in err or err.startswith("Error: ")


# -------------------------------------------- whatever comes


TEXTS = st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\x00"), max_size=24)
NUMBERS = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(repr), st.integers(-(10**6), 10**6).map(str), TEXTS
)
UNITS = st.sampled_from(
    ["", " ", "m/min", "%", "kPa", "bar(g)", "bar", "g/m2", "mL CSF", "degC", "K", "kg/(s m)", "m", "°SR", "deg", "ton"]
)


@given(address=st.one_of(st.sampled_from(ADDRESSES), TEXTS), number=NUMBERS, unit=UNITS)
@settings(max_examples=150, deadline=None)
def test_no_change_whatever_makes_the_program_fail(address: str, number: str, unit: str) -> None:
    assert_clean(*run("check", MACHINE, "--set", f"{address}={number} {unit}"))


PRINTING = ("machines", "run", "limits", "check", "formulas", "schema")
"""Commands that neither write files nor wait for anyone."""
WORDS_TYPED = st.one_of(st.sampled_from([*PRINTING, "--json", "--set", "--units", "-h", MACHINE]), TEXTS)


@given(first=st.one_of(st.sampled_from(PRINTING), TEXTS), rest=st.lists(WORDS_TYPED, max_size=3))
@settings(max_examples=100, deadline=None)
def test_no_usage_whatever_makes_the_program_fail(first: str, rest: list[str]) -> None:
    if first in COMMANDS and first not in PRINTING:
        return
    assert_clean(*run(first, *rest))


@given(content=st.one_of(st.binary(max_size=200), TEXTS.map(lambda t: t.encode())))
@settings(max_examples=100, deadline=None)
def test_no_file_whatever_makes_the_program_fail(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "machine.toml")
        file.write_bytes(content)
        code, out, err = run("check", str(file))
    assert_clean(code, out, err)
    assert code == 1


LINES = machine_text(MACHINE).splitlines()


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_no_machine_file_with_lines_lost_or_changed_makes_the_program_fail(data: Any) -> None:
    lines = list(LINES)
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(lines) - 1))
        kind = data.draw(st.sampled_from(["lose", "double", "change"]))
        if kind == "lose":
            del lines[at]
        elif kind == "double":
            lines.insert(at, lines[at])
        else:
            name = lines[at].split("=")[0]
            lines[at] = (
                f"{name}= {data.draw(st.sampled_from(['1', '[]', '{}', 'true', '1e400', '-5', 'x', '1979-05-27']))}"
            )
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "machine.toml")
        file.write_text("\n".join(lines), encoding="utf-8")
        assert_clean(*run("check", str(file)))


@given(
    speed=st.floats(0.1, 59), consistency=st.floats(0.01, 2.9), grammage=st.floats(4.1, 300), factor=st.floats(0.1, 50),
    hold=st.sampled_from(["hood temperature", "steam pressure", "speed", "nothing"]),
)  # fmt: skip
@settings(max_examples=15, deadline=None)
@pytest.mark.slow
def test_every_machine_that_can_be_made_can_be_run(
    speed: float, consistency: float, grammage: float, factor: float, hold: str
) -> None:
    changes = (
        f"yankee.speed={speed:.4f} m/s",
        f"headbox.consistency={consistency:.4f} %",
        f"reel_grammage={grammage:.2f} g/m2",
        f"resistance_factor={factor:.3f}",
        f"hold_reel_dryness_by={hold}",
    )
    code, out, err = run("run", MACHINE, *(part for change in changes for part in ("--set", change)))
    assert_clean(code, out, err)
    assert code == 1 or ("NO SHEET" in out) != ("production" in out)
    assert " nan" not in out and "inf " not in out


# -------------------------------------------- refusals as data


def with_json() -> dict[str, list[str]]:
    """Every command that can answer in JSON, with a machine that is not there wherever it wants one."""
    import importlib

    from thinstock.cli import COMMANDS

    found = {}
    for name in COMMANDS:
        wanted = importlib.import_module(f"thinstock.cli.{name.replace('-', '_')}").command.params
        if any("--json" in one.opts for one in wanted):
            arguments = [one for one in wanted if one.param_type_name == "argument" and one.required]
            found[name] = ["no-such-thing" for _ in arguments] or ["no-such-thing"]
    return found


MORE = {"solve": ("--for", "headbox.consistency", "--so-that", "reel_moisture = 5 %"),
        "map": ("--x", "a=1..2", "--y", "b=1..2", "--result", "c"),
        "rebuild": ("--prices", "no-such-file.toml"), "survey": ("--machine", "no-such-machine"),
        "calibrate": ("--machine", "no-such-machine"), "drift": ("--machine", "no-such-machine"),
        "plan": ("--for", "dryness_press"), "condition": ("--reading", "steam", "--out", "nowhere.toml"),
        "watch": ("--change", "thick=+5 %"), "trouble": ("no-such-thing",),
        "machines": None}  # fmt: skip
"""Options that a command cannot do without; None for one that can refuse nothing."""


@pytest.mark.parametrize("name", sorted(name for name in with_json() if MORE.get(name, ()) is not None))
def test_a_refusal_is_json_where_json_was_asked_for(name: str) -> None:

    arguments = [name, *with_json()[name], *(MORE.get(name) or ()), "--json"]
    code, out, err = run(*arguments)
    assert code == 1, (out, err)
    faults = json.loads(out)["refused"]
    assert faults and all(fault["field"] and set(fault) >= {"field", "value", "bound", "remedy"} for fault in faults)
    assert all(fault["field"] in err for fault in faults)
