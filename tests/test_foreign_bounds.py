"""Small files that ask for very much are refused at once, whatever their kind; none is worked out, none waited for."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

import numpy as np
import pytest

from sweep_cases import plans, water
from thinstock import load
from thinstock.cli import status
from thinstock.errors import Refused
from thinstock.evidence import Population, read_evidence, write_evidence
from thinstock.evidence.file import MOST_DRAWS, MOST_INPUTS
from thinstock.evidence.machine_inputs import Bounded
from thinstock.files.read import fingerprint
from thinstock.lesson.read import read as read_lesson
from thinstock.machine.line import Machine
from thinstock.studies import run_sweep
from thinstock.studies.prices import read_prices
from thinstock.studies.sweep_folder import check, merge
from thinstock.survey import historian, historian_parquet, read_series
from thinstock.survey.historian import MOST_TAGS

pyarrow = pytest.importorskip("pyarrow", reason="optional extra: thinstock[tables]")
parquet = pytest.importorskip("pyarrow.parquet", reason="optional extra: thinstock[tables]")

REWET = "press.nip.suction_pressure_roll.rewet"
FEW = 20.0
"""Seconds of the processor in which a refusal stands, on a slow computer."""


@pytest.fixture(scope="module")
def facial() -> Machine:
    return load("facial-roll")


@pytest.fixture
def evidence(facial: Machine, tmp_path: Path) -> Path:
    law = Bounded(float(facial.get(REWET)), 2e-4, 0.0, 0.02)
    kept = Population(addresses=(REWET,), scores=np.linspace(-2, 2, 200)[:, None], origin="read from readings", seed=1,
                      distributions={REWET: law}, machine=facial, anchored=False)  # fmt: skip
    return write_evidence(kept, tmp_path / "cal.evidence.toml")


def without_draws(evidence: Path) -> str:
    evidence.with_suffix(".parquet").unlink()
    return evidence.read_text(encoding="utf-8")


@pytest.mark.parametrize("draws", [MOST_DRAWS + 1, 10**9, 10**18, 0, -1])
def test_an_evidence_that_asks_for_too_many_draws_is_refused(draws: int, evidence: Path, facial: Machine) -> None:
    evidence.write_text(without_draws(evidence).replace("draws = 200", f"draws = {draws}"), encoding="utf-8")
    with pytest.raises(Refused, match=f"draws = {draws}: must be from 1 to {MOST_DRAWS}"):
        read_evidence(evidence, facial)


def test_an_evidence_of_too_many_inputs_is_refused_before_their_correlations_are(
    evidence: Path, facial: Machine
) -> None:
    text = without_draws(evidence)
    first = text[text.index("[[input]]") :].split("\n[", 1)[0]
    evidence.write_text(text + f"\n{first}\n" * MOST_INPUTS, encoding="utf-8")
    begun = time.process_time()
    with pytest.raises(Refused, match=f"input = {MOST_INPUTS + 1}: must be from 1 to {MOST_INPUTS}"):
        read_evidence(evidence, facial)
    assert time.process_time() - begun < FEW


def test_draws_that_unpack_to_very_many_are_refused_unread(evidence: Path, facial: Machine) -> None:
    import hashlib

    place = evidence.with_suffix(".parquet")
    many = pyarrow.table({REWET: pyarrow.nulls(3_000_000, pyarrow.float32())})
    parquet.write_table(many, place, compression="zstd")
    assert place.stat().st_size < 100_000
    text = evidence.read_text(encoding="utf-8")
    now = hashlib.sha256(place.read_bytes()).hexdigest()[:16]
    at = text.index('draws_digest = "') + len('draws_digest = "')
    evidence.write_text(text[:at] + now + text[at + 16 :], encoding="utf-8")
    with pytest.raises(Refused, match="draws = 3000000: must be from 1"):
        read_evidence(evidence, facial)


@pytest.mark.parametrize("text", ["x = " + "[" * 5000 + "]" * 5000, "input = 3\nformat = 1", "input = [1]\nformat = 1",
                                  "format = 1\n[[input]]\naddress = 1", "\0", "format = [1]\ninput = []"])  # fmt: skip
def test_an_evidence_that_is_none_is_refused(text: str, facial: Machine, tmp_path: Path) -> None:
    (tmp_path / "e.evidence.toml").write_text(text, encoding="utf-8")
    with pytest.raises(Refused):
        read_evidence(tmp_path / "e.evidence.toml", facial)


@pytest.mark.skipif(os.name == "nt", reason="pipes")
def test_a_pipe_in_the_place_of_a_table_is_never_waited_for(evidence: Path, facial: Machine) -> None:
    os.mkfifo(evidence.with_name("round.csv"))
    said = '\n[[round]]\ntable = "round.csv"\ndigest = "0123456789abcdef"\n'
    evidence.write_text(evidence.read_text(encoding="utf-8") + said, encoding="utf-8")
    assert read_evidence(evidence, facial).draws == 200
    assert fingerprint(evidence.with_name("round.csv")) == "" == fingerprint(None) == fingerprint(evidence.parent)
    assert len(fingerprint(evidence)) == 64


@pytest.fixture(scope="module")
def swept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sweep") / "whole"
    run_sweep(plans()[2], water, folder=folder, size=500)
    return folder


@pytest.mark.parametrize(
    "changed",
    [{"cases": 10**18, "size": 1}, {"cases": -5}, {"cases": 10**6 + 1, "size": 1}, {"beside": [1]}, {"beside": "x"}],
    ids=str,
)
def test_a_manifest_that_tells_of_very_many_parts_is_damaged_not_counted(
    changed: dict[str, object], swept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = json.loads((swept / "sweep.json").read_text(encoding="utf-8"))
    del told["sha256"]
    (tmp_path / "sweep.json").write_text(json.dumps(told | changed), encoding="utf-8")
    with pytest.raises(Refused, match=r"no sweep\.json that can be read"):
        check(tmp_path)
    assert status(["sweep", "check", str(tmp_path)]) == 1
    assert "fault of the program" not in capsys.readouterr().err


def test_texts_beside_a_manifest_are_no_way_to_write_something_else(swept: Path, tmp_path: Path) -> None:
    import hashlib

    told = json.loads((swept / "sweep.json").read_text(encoding="utf-8"))
    del told["sha256"]
    raw = b"\xff\xfe no text"
    (tmp_path / "from").mkdir()
    (tmp_path / "from" / "columns.json").write_bytes(raw)
    told["beside"] = {"columns.json": hashlib.sha256(raw).hexdigest()}
    (tmp_path / "from" / "sweep.json").write_text(json.dumps(told), encoding="utf-8")
    with pytest.raises(Refused, match=r"columns\.json: cannot be read"):
        merge([tmp_path / "from"], tmp_path / "out")


STAMP = "2026-03-01T00:00:00Z"


def wide(place: Path, tags: int) -> Path:
    place.write_text(f"time,{','.join(f't{k}' for k in range(tags))}\n{STAMP}{',1' * tags}\n", encoding="utf-8")
    return place


def test_a_historian_of_too_many_tags_is_refused(tmp_path: Path) -> None:
    long = tmp_path / "long.csv"
    rows = (f"{STAMP},t{k},1\n" for k in range(MOST_TAGS + 1))
    long.write_text("time,tag,value\n" + "".join(rows), encoding="utf-8")
    for place in (long, wide(tmp_path / "wide.csv", MOST_TAGS + 1)):
        with pytest.raises(Refused, match=f"{place.name}: holds more than {MOST_TAGS} tags"):
            read_series(place)


def test_the_cost_of_columns_grows_with_their_number_and_not_faster(tmp_path: Path) -> None:
    def spent(tags: int) -> float:
        place, best = wide(tmp_path / "wide.csv", tags), 1e9
        for _ in range(2):
            begun = time.process_time()
            assert len(read_series(place)) == tags
            best = min(best, time.process_time() - begun)
        return best

    spent(10)
    assert spent(8000) < 12 * max(spent(2000), 5e-3), "four times as many, at most three times the proportion"


def test_a_small_file_of_very_many_values_is_refused_before_they_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(historian, "MOST_VALUES", 100_000)
    monkeypatch.setattr(historian_parquet, "VALUES", 20_000)
    stamp = pyarrow.array([0] * 30_000, pyarrow.timestamp("us", "UTC"))
    tags = {f"t{k}": pyarrow.nulls(30_000, pyarrow.float32()) for k in range(100)}
    parquet.write_table(pyarrow.table({"time": stamp, **tags}), tmp_path / "many.parquet", compression="zstd")
    assert (tmp_path / "many.parquet").stat().st_size < 100_000
    blocks, take = [], historian.Gathered.take
    monkeypatch.setattr(historian.Gathered, "take", lambda self, *more: (blocks.append(1), take(self, *more)))
    with pytest.raises(Refused, match=r"many\.parquet: holds more than 100000 values"):
        read_series(tmp_path / "many.parquet")
    assert len(blocks) < 10, "what is left of the file is not read"


@pytest.mark.parametrize("read", [read_lesson, read_prices], ids=["lesson", "prices"])
def test_lessons_and_prices_are_bounded_as_machine_files_are(read, facial: Machine) -> None:  # type: ignore[no-untyped-def]
    deep, long = "[" * 30 + "]" * 30, "[" + "{}," * 25_000 + "]"
    for text, words in ((f"x = {deep}", "nests"), (f"scene = {long}", "25000 items: is more than 200"),
                        ("x = " + "[" * 50_000 + "]" * 50_000, "nest")):  # fmt: skip
        with pytest.raises(Refused, match=words) as refused:
            read(f"format = 1\n{text}\n")
        assert len(refused.value.faults) < 20
