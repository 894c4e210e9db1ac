"""The other commands, help and version; and that a command stopped from outside leaves cleanly."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import click
import pytest

import thinstock
from children import HEARS_INTERRUPTS, started
from test_public_names import HEAVY, loaded_after
from thinstock.cli import COMMANDS, group, status

MACHINE = "facial-roll"
PROGRAM = [sys.executable, "-m", "thinstock"]


def run(capsys: Any, *args: str) -> tuple[int, str, str]:
    """Exit status, output and error stream of a command."""
    capsys.readouterr()
    code = status(args)
    out, err = capsys.readouterr()
    return code, out, err


def no_constant(name: str) -> None:
    raise AssertionError(f"{name} is no JSON")


# -------------------------------------------- help


def test_help_lists_every_command_and_loads_nothing_heavy(capsys: Any) -> None:
    code, out, _ = run(capsys, "--help")
    assert code == 0
    told = " ".join(out.split())
    assert all(f" {name} {COMMANDS[name]}" in told for name in COMMANDS)
    code_text = "from thinstock.cli import status\nstatus(['--help'])"
    assert loaded_after(code_text, HEAVY) == []


def test_every_line_of_help_is_a_sentence() -> None:
    told = list(COMMANDS.items())

    def walk(command: click.Command, path: str) -> None:
        if path.count(" ") > 1 or path.strip() not in COMMANDS:
            told.append((path, command.short_help or command.help or ""))
        told.extend((path, one.help) for one in command.params if isinstance(one, click.Option) and one.help)
        if isinstance(command, click.Group):
            for name in command.list_commands(click.Context(command)):
                found = command.get_command(click.Context(command), name)
                assert found is not None
                walk(found, f"{path} {name}")

    for name in COMMANDS:
        found = group.get_command(click.Context(group), name)
        assert found is not None
        walk(found, name)
    ends = (".", "]")
    wrong = [(path, text) for path, text in told
             if text[0] != '"' and (text[0].islower() or not text.split("  [")[0].strip().endswith(ends))]  # fmt: skip
    assert wrong == []


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_of_its_own(capsys: Any, name: str) -> None:
    code, out, _ = run(capsys, name, "--help")
    assert code == 0 and out.startswith(f"Usage: thinstock {name}")


def test_a_lesson_is_given_by_the_beginning_of_its_title(monkeypatch: Any, capsys: Any) -> None:
    opened: list[str] = []
    monkeypatch.setattr("thinstock.app.server.serve", lambda *_, place, **__: opened.append(place))
    monkeypatch.setattr("thinstock.cli.lesson._check_behind", lambda name: None)
    code, _, _ = run(capsys, "lesson", "why tissue machines", "--no-browser")
    assert (code, opened) == (0, ["lessons/stage?lesson=1-why-tissue-machines"])


def test_every_command_has_a_file_and_every_file_with_a_command_is_listed() -> None:
    folder = Path(thinstock.__file__).parent / "cli"
    files = [p for p in folder.glob("*.py") if p.stem != "__init__"]
    begun = ("\n@click.command(", "\n@click.group(")
    holding = {p.stem.replace("_", "-") for p in files if any(b in p.read_text(encoding="utf-8") for b in begun)}
    assert holding == set(COMMANDS)


def test_the_version_is_printed(capsys: Any) -> None:
    assert run(capsys, "--version") == (0, f"thinstock {thinstock.__version__}\n", "")


# -------------------------------------------- machines, new, check


def test_the_bundled_machines_are_listed(capsys: Any) -> None:
    _, out, _ = run(capsys, "machines")
    listed = json.loads(run(capsys, "machines", "--json")[1])
    assert [m["name"] for m in listed] == [m.name for m in thinstock.machines()]
    assert all(m["name"] in out for m in listed)


def test_a_new_file_runs_and_is_never_overwritten(capsys: Any, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    assert run(capsys, "new", str(file), "--yankee-speed", "1500 m/min")[0] == 0
    before = file.read_text(encoding="utf-8")
    assert before.startswith("format = 1\n") and "1500 m/min" in before
    assert thinstock.load(file).run()["speed"] == pytest.approx(25.0)
    code, out, err = run(capsys, "new", str(file))
    assert (code, out) == (1, "") and "is there already" in err
    assert file.read_text(encoding="utf-8") == before


def test_a_new_file_with_an_impossible_number_is_not_written(capsys: Any, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    code, _, err = run(capsys, "new", str(file), "--crepe", "300 %", "--steam-pressure", "7 bar")
    assert code == 1 and not file.exists()
    assert "crepe" in err and "steam_pressure" in err


def test_check_says_what_is_unusual_and_what_is_not_known(capsys: Any) -> None:
    args = ("check", MACHINE, "--set", "wire_shower=20 kg/(s m)", "--set", "hood.burner_power_limit=not given")
    code, out, _ = run(capsys, *args)
    assert code == 0
    assert "loop.wire_shower" in out and "hood.burner_power_limit" in out
    record = json.loads(run(capsys, *args, "--json")[1], parse_constant=no_constant)
    assert "hood.burner_power_limit" in record["not_given"]
    assert "loop.wire_shower" in [row["address"] for row in record["unusual"]]
    assert {"given", "assumed", "what-if"} <= {row["status"] for row in record["values"]}


# -------------------------------------------- limits


@pytest.mark.parametrize("name", [m.name for m in thinstock.machines()])
def test_the_part_that_gives_out_first_is_past_its_limit_or_the_lowest_and_the_only_marked_one(
    capsys: Any, name: str
) -> None:
    record = json.loads(run(capsys, "limits", name, "--json")[1], parse_constant=no_constant)
    rows = record["limits"]
    assert {"part", "speed", "margin", "binding", "status"} <= set(rows[0])
    most = [r for r in rows if r["speed"] is not None and r["scope"] in ("highest", "window")]
    binding = [r for r in rows if r["binding"]]
    assert len(binding) == 1
    assert record["over"] == [r["part"] for r in rows if r["now"]["over"]]
    if record["over"]:
        assert binding[0]["part"] == record["over"][0]
        return
    assert binding[0]["speed"] == min(r["speed"] for r in most)
    assert binding[0]["margin"] == pytest.approx(binding[0]["speed"] / record["speed"] - 1)


def test_a_limit_that_is_not_given_is_not_known_and_never_unlimited(capsys: Any) -> None:
    _, out, _ = run(capsys, "limits", MACHINE, "--set", "hood.burner_power_limit=not given")
    row = next(line for line in out.splitlines() if line.startswith("  burner  "))
    assert "not known" in row and "not given" in row


def test_the_run_and_the_limits_name_the_same_part(capsys: Any) -> None:
    _, out, _ = run(capsys, "run", MACHINE)
    said = next(line for line in out.splitlines() if "gives out first" in line)
    record = json.loads(run(capsys, "limits", MACHINE, "--json")[1])
    binding = next(r for r in record["limits"] if r["binding"])
    assert binding["part"] in said


# -------------------------------------------- formulas, schema


def test_all_formulas_are_listed_and_every_one_has_a_card(capsys: Any) -> None:
    listed = json.loads(run(capsys, "formulas", "--json")[1], parse_constant=no_constant)
    assert [row["name"] for row in listed] == list(thinstock.formulas())
    from thinstock.cli.formulas import card

    for name, label in thinstock.formulas().items():
        lines = card(label)
        assert name in lines[0]
        assert any(line.startswith(label.status) for line in lines), name


def test_a_card_shows_check_values_and_how_close_the_formula_comes(capsys: Any) -> None:
    _, out, _ = run(capsys, "formulas", "steam.saturation_pressure_if97")
    assert "given 0.353658941e-2 MPa, here 0.003536589413 MPa" in out
    assert "published" in out and "IAPWS" in out
    record = json.loads(run(capsys, "formulas", "steam.saturation_pressure_if97", "--json")[1])
    check = record["checks"][0]
    assert float(check["told"][0]) == pytest.approx(check["got"][0], rel=1e-8)


def test_the_formulas_of_one_topic_can_be_listed(capsys: Any) -> None:
    _, out, _ = run(capsys, "formulas", "steam")
    assert all(line.startswith("steam.") for line in out.splitlines()[1:-2])


def test_an_unknown_formula_names_the_nearest(capsys: Any) -> None:
    code, _, err = run(capsys, "formulas", "saturation_presure_if97")
    assert code == 1 and "steam.saturation_pressure_if97" in err


def test_the_schema_is_a_schema_of_the_machine_file(capsys: Any) -> None:
    schema = json.loads(run(capsys, "schema")[1], parse_constant=no_constant)
    assert {"grade", "stock", "headbox", "forming", "press"} <= set(schema["properties"])


# -------------------------------------------- stopped from outside


@pytest.mark.skipif(sys.platform == "win32", reason="pipes close otherwise there")
@pytest.mark.parametrize("args", [("formulas",), ("run", MACHINE, "--json"), ("schema",)])
def test_a_reader_that_leaves_early_is_no_fault(args: tuple[str, ...]) -> None:
    process = subprocess.Popen([*PROGRAM, *args], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()
    complaint = process.stderr.read().decode()
    process.stderr.close()
    assert process.wait(timeout=120) == 0
    assert complaint == ""


@pytest.mark.skipif(sys.platform == "win32", reason="signals differ there")
def test_ctrl_c_leaves_without_a_trace(tmp_path: Path) -> None:
    pipe = tmp_path / "never.toml"
    os.mkfifo(pipe)  # reading it waits for a writer that never comes
    code = (
        f"{HEARS_INTERRUPTS}; import sys; from thinstock import cli\n"
        "import thinstock.case.overrides as overrides\n"
        f"overrides.machine_from = lambda name, changes: open({str(pipe)!r}).read()\n"
        "print('ready', flush=True); sys.exit(cli.status(['check', 'x']))"
    )
    with started([sys.executable, "-c", code]) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert err.strip() == "stopped" and out == ""


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_an_output_that_lacks_letters_gets_plain_ones(encoding: str) -> None:
    done = subprocess.run(
        [*PROGRAM, "limits", MACHINE], capture_output=True, check=True, timeout=120,
        env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
    )  # fmt: skip
    text = done.stdout.decode(encoding)
    assert "?" not in text
    assert ("kN/m" in text) and (("m³/min" in text) if encoding != "ascii" else ("m3/min" in text))
