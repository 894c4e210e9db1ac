"""The folder of a sweep: nothing damaged counts as done, nothing finished is lost, shares together are the whole."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from sweep_cases import AXES, plans, water
from thinstock.cli import status
from thinstock.errors import Refused
from thinstock.studies import random_plan, run_sweep, sobol_plan, sweep_parts
from thinstock.studies.sweep_folder import check, merge, must_be_whole

PLAN = plans()[2]
SIZE = 150
DOCS = Path(__file__).parents[1] / "docs" / "content" / "do" / "10-run-many-cases.md"


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def sweep(folder: Path, **more: object):  # type: ignore[no-untyped-def]
    return run_sweep(PLAN, water, folder=folder, size=SIZE, beside={"columns.json": "{}"}, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sweep") / "plain"
    sweep(folder)
    return folder


@pytest.fixture
def folder(undisturbed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(undisturbed, tmp_path / "sweep"))


def damage(place: Path, at: int) -> None:
    raw = bytearray(place.read_bytes())
    raw[at % len(raw)] ^= 0xFF
    place.write_bytes(raw)


@pytest.mark.parametrize("at", [0, 4, 100, 1000, -5, -100])
def test_a_part_with_one_changed_byte_is_found_and_worked_out_again(at: int, folder: Path, undisturbed: Path) -> None:
    damage(folder / "part-000002.parquet", at)
    found = check(folder)
    assert (found.damaged, found.missing, len(found.whole)) == ((2,), (), 6)
    with pytest.raises(Refused, match=r"part-000002\.parquet: is not as it was written"):
        must_be_whole(found)
    report = sweep(folder)
    assert (report.written, report.skipped, report.mended) == (1, 6, 1)
    assert contents(folder) == contents(undisturbed)


@pytest.mark.parametrize("how", ["cut", "empty", "gone", "without sum", "sum of another"])
def test_a_part_that_is_not_whole_is_worked_out_again(how: str, folder: Path, undisturbed: Path) -> None:
    part = folder / "part-000001.parquet"
    match how:
        case "cut":
            part.write_bytes(part.read_bytes()[:700])
        case "empty":
            part.write_bytes(b"")
        case "gone":
            part.unlink()
        case "without sum":
            part.with_suffix(".sha256").unlink()
        case _:
            shutil.copy(folder / "part-000003.sha256", part.with_suffix(".sha256"))
    assert sweep(folder).written == 1
    assert contents(folder) == contents(undisturbed)


@pytest.mark.parametrize("text", ["[1]", "{}", "no json", "", '{"cases": "x"}', None])
def test_a_manifest_that_is_damaged_or_lost_is_written_anew_where_the_parts_say_whose_they_are(
    text: str | None, folder: Path, undisturbed: Path
) -> None:
    if text is None:
        (folder / "sweep.json").unlink()
    else:
        (folder / "sweep.json").write_text(text, encoding="utf-8")
    with pytest.raises(Refused, match=r"no sweep\.json that can be read"):
        check(folder)
    with pytest.raises(Refused, match=r"parts without a sweep\.json"):
        run_sweep(random_plan(AXES, 1000, 8), water, folder=folder, size=SIZE)
    assert sweep(folder).written == 0
    assert contents(folder) == contents(undisturbed)


def test_a_changed_byte_of_the_manifest_is_found(folder: Path) -> None:
    place = folder / "sweep.json"
    place.write_text(place.read_text().replace('"cases": 1000', '"cases": 1001'))
    with pytest.raises(Refused, match="can be read"):
        check(folder)
    assert sweep(folder).written == 0 and len(check(folder).whole) == 7


def test_a_full_disk_in_the_middle_loses_nothing_that_was_finished(
    tmp_path: Path, undisturbed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from thinstock.studies import sweep_folder

    put, written = sweep_folder.put, [0]

    def full(place: Path, content: bytes | str, **more: object) -> Path:
        written[0] += 1
        if written[0] == 9:
            raise Refused(sweep_folder.fault_in("studies.sweep.missing", str(place)))
        return put(place, content, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(sweep_folder, "put", full)
    with pytest.raises(Refused):
        sweep(tmp_path)
    done = len(check(tmp_path).whole)
    assert done == 3
    monkeypatch.setattr(sweep_folder, "put", put)
    assert sweep(tmp_path).skipped == done
    assert contents(tmp_path) == contents(undisturbed)


def test_shares_into_one_folder_or_into_several_are_the_whole(tmp_path: Path, undisturbed: Path) -> None:
    for k in (3, 1, 2):
        assert sweep(tmp_path / "one", share=(k, 3)).of == 7
        sweep(tmp_path / f"own-{k}", share=(k, 3))
    assert contents(tmp_path / "one") == contents(undisturbed)
    found = merge([tmp_path / f"own-{k}" for k in (1, 2, 3)], tmp_path / "together")
    must_be_whole(found)
    assert contents(tmp_path / "together") == contents(undisturbed)
    with pytest.raises(Refused, match="K from 1 to N"):
        sweep(tmp_path / "one", share=(4, 3))


def test_merging_takes_only_what_is_whole_and_of_the_same_sweep(tmp_path: Path, folder: Path) -> None:
    other = Path(shutil.copytree(folder, tmp_path / "other"))
    damage(folder / "part-000000.parquet", 50)
    damage(other / "part-000000.parquet", 60)
    damage(other / "part-000004.parquet", 60)
    found = merge([folder, other], tmp_path / "out")
    assert (found.missing, len(found.whole)) == ((0,), 6)
    run_sweep(sobol_plan(AXES, 1000, 8), water, folder=tmp_path / "foreign", size=SIZE)
    with pytest.raises(Refused, match="holds another sweep"):
        merge([folder, tmp_path / "foreign"], tmp_path / "none")
    with pytest.raises(Refused, match="has no sweep"):
        merge([folder, tmp_path], tmp_path / "none")
    assert not (tmp_path / "none").exists()


def test_the_sums_are_those_any_tool_reads(folder: Path) -> None:
    for place in folder.glob("*.sha256"):
        digest, name = place.read_text().split("  ")
        assert hashlib.sha256((folder / name.strip()).read_bytes()).hexdigest() == digest


def test_the_commands_say_it_with_their_exit_status(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["sweep", "check", str(folder)]) == 0
    assert "7 of 7 parts" in capsys.readouterr().out
    damage(folder / "part-000006.parquet", 9)
    assert status(["sweep", "check", str(folder), "--json"]) == 1
    told = capsys.readouterr()
    assert json.loads(told.out[: told.out.index("}\n") + 1])["damaged"] == ["part-000006.parquet"]
    assert status(["sweep", "merge", str(folder), "--out", str(folder.parent / "out")]) == 1
    assert "part-000006.parquet: is missing" in capsys.readouterr().err
    assert status(["sweep", "check", str(folder.parent)]) == 1


def test_a_damaged_part_that_is_read_is_refused_with_its_name(folder: Path) -> None:
    (folder / "part-000000.parquet").write_bytes(b"PAR1 nothing PAR1")
    with pytest.raises(Refused, match=r"part-000000\.parquet: cannot be read"):
        list(sweep_parts(folder))


@pytest.mark.slow
def test_the_how_to_on_two_workers_of_this_computer_runs(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="optional extra: thinstock[cluster]")
    (code,) = re.findall(r"```python\n(.*?)```", DOCS.read_text(encoding="utf-8"), re.S)
    script = tmp_path / "cluster.py"
    script.write_text(code, encoding="utf-8")
    done = subprocess.run([sys.executable, str(script)], cwd=tmp_path, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, done.stderr[-2000:]
    assert "SweepReport(rows=40, parts=4, written=4" in done.stdout
    must_be_whole(check(tmp_path / "parts"))
