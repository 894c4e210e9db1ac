"""Sweeps: any chunk on its own, the same bytes whoever runs it, and nothing lost when a run is killed."""

from __future__ import annotations

import json
import multiprocessing
import os
import pickle
import signal
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.stats import qmc

from sweep_cases import AXES, plans, slow_water, water
from thinstock.errors import Refused
from thinstock.studies import (
    Normal,
    Rectangular,
    chunk_inputs,
    grid_plan,
    random_plan,
    run_chunk,
    run_sweep,
    sobol_plan,
    sweep_parts,
)

HERE = Path(__file__).parent


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def whole(plan, size):
    parts = [chunk_inputs(plan, i, size) for i in range(-(-plan.cases // size))]
    return {name: np.concatenate([p[name] for p in parts]) for name in plan.axes}


def test_a_grid_runs_its_last_axis_fastest():
    plan = grid_plan({"a": [1, 2], "b": [10.0, 20.0, 30.0], "c": ["x", "y"]})
    cases = whole(plan, 5)
    assert plan.cases == 12
    assert cases["a"].tolist() == [1] * 6 + [2] * 6
    assert cases["b"].tolist() == [10, 10, 20, 20, 30, 30] * 2
    assert cases["c"].tolist() == ["x", "y"] * 6


@pytest.mark.parametrize("plan", [plans()[0], plans()[2]], ids=["grid", "sobol"])
def test_grid_and_sobol_cases_do_not_depend_on_the_chunks(plan):
    want = whole(plan, plan.cases)
    for size in (1, 7, 128, 399):
        if size == 1:
            got = {k: np.concatenate([chunk_inputs(plan, i, 1)[k] for i in range(30)]) for k in want}
            for name in want:
                assert_array_equal(got[name], want[name][:30])
            continue
        got = whole(plan, size)
        for name in want:
            assert_array_equal(got[name], want[name])


def test_random_chunks_are_streams_of_their_own():
    plan = random_plan(AXES, 1000, 7)
    one, again, next_one = chunk_inputs(plan, 3, 100), chunk_inputs(plan, 3, 100), chunk_inputs(plan, 4, 100)
    for name in AXES:
        assert_array_equal(one[name], again[name])
        assert not np.array_equal(one[name], next_one[name])
    assert not np.array_equal(chunk_inputs(random_plan(AXES, 1000, 8), 3, 100)["speed"], one["speed"])
    cases = whole(random_plan({"a": Normal(0, 1), "b": [1, 2, 3]}, 30_000, 1), 10_000)
    assert abs(cases["a"].mean()) < 0.03 and abs(cases["a"].std() - 1) < 0.02
    assert_allclose(np.bincount(cases["b"])[1:] / 30_000, 1 / 3, atol=0.012)


def test_sobol_cases_fill_the_room_more_evenly_than_random_ones():
    axes = {"a": Rectangular(0, 1), "b": Rectangular(0, 1)}
    even = np.stack(list(whole(sobol_plan(axes, 512, 1), 512).values()), axis=1)
    loose = np.stack(list(whole(random_plan(axes, 512, 1), 512).values()), axis=1)
    assert qmc.discrepancy(even) < 0.1 * qmc.discrepancy(loose)
    words = whole(sobol_plan({"w": ["x", "y", "z", "u"]}, 256, 1), 256)["w"]
    assert all(60 <= np.sum(words == w) <= 68 for w in "xyzu")


def test_a_plan_is_small_and_its_key_tells_every_difference():
    plan = sobol_plan(AXES, 10**9, 7)
    assert len(pickle.dumps(plan)) < 2000 and pickle.loads(pickle.dumps(plan)).key() == plan.key()
    others = [
        sobol_plan(AXES, 10**9 + 1, 7),
        sobol_plan(AXES, 10**9, 8),
        random_plan(AXES, 10**9, 7),
        sobol_plan({**AXES, "speed": Rectangular(20.0, np.nextafter(35.0, 40))}, 10**9, 7),
        sobol_plan(dict(reversed(AXES.items())), 10**9, 7),
    ]
    assert len({p.key() for p in [plan, *others]}) == 6
    assert chunk_inputs(plan, 39, 250_000)["speed"].shape == (250_000,)
    assert chunk_inputs(random_plan(AXES, 10**15, 7), 3 * 10**9, 250_000)["speed"].shape == (250_000,)


@pytest.mark.parametrize("number", range(3), ids=["grid", "random", "sobol"])
def test_the_bytes_do_not_depend_on_who_runs_the_chunks(tmp_path, number):
    plan = plans()[number]
    report = run_sweep(plan, water, folder=tmp_path / "plain", size=150)
    assert (report.rows, report.skipped, report.written) == (plan.cases, 0, report.parts)
    with ThreadPoolExecutor(3) as pool:
        run_sweep(plan, water, folder=tmp_path / "threads", size=150, executor=pool)
    (tmp_path / "backwards").mkdir()
    for i in reversed(range(report.parts)):
        run_chunk(plan, water, i, 150, tmp_path / "backwards")
    want = contents(tmp_path / "plain")
    assert contents(tmp_path / "threads") == want
    assert contents(tmp_path / "backwards") == {k: v for k, v in want.items() if k != "sweep.json"}


def test_worker_processes_write_the_same_bytes(tmp_path):
    plan = plans()[2]
    run_sweep(plan, water, folder=tmp_path / "plain", size=150)
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        run_sweep(plan, water, folder=tmp_path / "processes", size=150, executor=pool)
    assert contents(tmp_path / "processes") == contents(tmp_path / "plain")


def test_a_cluster_writes_the_same_bytes(tmp_path):
    distributed = pytest.importorskip("distributed", reason="optional extra: thinstock[cluster]")
    plan = plans()[1]
    run_sweep(plan, water, folder=tmp_path / "plain", size=150)
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
        client.get_executor(pure=False) as pool,
    ):
        report = run_sweep(plan, water, folder=tmp_path / "cluster", size=150, executor=pool)
    assert report.rows == plan.cases
    assert contents(tmp_path / "cluster") == contents(tmp_path / "plain")


def test_what_is_there_is_not_done_again(tmp_path):
    plan = plans()[1]
    first = run_sweep(plan, water, folder=tmp_path, size=150)
    stamps = {p.name: p.stat().st_mtime_ns for p in tmp_path.glob("*.parquet")}
    (tmp_path / "part-000002.parquet").unlink()
    again = run_sweep(plan, water, folder=tmp_path, size=150)
    assert (first.written, again.written, again.skipped) == (7, 1, 6)
    assert {n: s for n, s in stamps.items() if n != "part-000002.parquet"} == {
        p.name: p.stat().st_mtime_ns for p in tmp_path.glob("*.parquet") if p.name != "part-000002.parquet"
    }
    account = run_chunk(plan, water, 0, 150, tmp_path)
    assert (account["number"], account["rows"], account["skipped"]) == (0, 150, True) and account["seconds"] >= 0


def test_a_killed_sweep_goes_on_where_it_was(tmp_path):
    code = "import sys; sys.path.insert(0, sys.argv[1]); import sweep_cases; sweep_cases.run_slowly(sys.argv[2])"
    worker = subprocess.Popen([sys.executable, "-c", code, str(HERE), str(tmp_path / "killed")])
    limit = time.monotonic() + 30
    while len(list((tmp_path / "killed").glob("part-*.parquet"))) < 3 and time.monotonic() < limit:
        time.sleep(0.01)
    os.kill(worker.pid, signal.SIGKILL)
    worker.wait()
    done = len(list((tmp_path / "killed").glob("part-*.parquet")))
    assert 3 <= done < 120, "killed in the middle"
    left = tmp_path / "killed" / ".0123456789abcdef.half"
    left.write_bytes(b"half a part")
    os.utime(left, (1e9, 1e9))
    plan = sobol_plan(AXES, 6000, 3)
    with ThreadPoolExecutor(8) as pool:
        report = run_sweep(plan, slow_water, folder=tmp_path / "killed", size=50, executor=pool)
        run_sweep(plan, slow_water, folder=tmp_path / "fresh", size=50, executor=pool)
    assert report.skipped >= done - 1, "the last may have been killed before its checksum"
    assert report.rows == 6000
    assert contents(tmp_path / "killed") == contents(tmp_path / "fresh")


def test_a_chunk_that_raises_leaves_no_part(tmp_path):
    def broken(speed, grammage):
        raise ValueError("no water")

    with pytest.raises(ValueError, match="no water"):
        run_chunk(plans()[1], broken, 0, 150, tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        (lambda **_: [1, 2], "mapping of columns"),
        (lambda **_: {"flow": np.ones(3)}, "150 values"),
        (lambda **_: {"speed": 1.0}, "column speed: is there twice"),
        (lambda **_: {"case": 1.0}, "column case: is there twice"),
    ],
)
def test_outcomes_that_do_not_fit_are_refused(tmp_path, outcome, words):
    with pytest.raises(Refused, match=words):
        run_chunk(plans()[1], outcome, 0, 150, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_another_sweep_is_refused(tmp_path):
    plan = plans()[1]
    run_sweep(plan, water, folder=tmp_path, size=150)
    for other, function, size in (
        (random_plan(AXES, 1000, 8), water, 150),
        (plan, water, 100),
        (plan, slow_water, 150),
    ):
        with pytest.raises(Refused, match="holds another sweep"):
            run_sweep(other, function, folder=tmp_path, size=size)
    (tmp_path / "sweep.json").unlink()
    with pytest.raises(Refused, match=r"parts without a sweep\.json"):
        run_sweep(random_plan(AXES, 1000, 8), water, folder=tmp_path, size=150)
    assert run_sweep(plan, water, folder=tmp_path, size=150).written == 0


def test_the_manifest_tells_what_the_folder_holds(tmp_path):
    plan = plans()[2]
    run_sweep(plan, water, folder=tmp_path, size=400)
    manifest = json.loads((tmp_path / "sweep.json").read_text(encoding="utf-8"))
    assert manifest["key"] == plan.key()
    assert (manifest["size"], manifest["cases"]) == (400, 1000)
    assert manifest["function"] == "sweep_cases.water" and manifest["program"].startswith("thinstock ")


def test_parts_are_read_back_one_by_one(tmp_path):
    plan = plans()[0]
    run_sweep(plan, water, folder=tmp_path, size=150)
    parts = list(sweep_parts(tmp_path))
    assert [len(p["case"]) for p in parts] == [150, 150, 104]
    together = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    assert_array_equal(together["case"], np.arange(404))
    assert_allclose(together["flow"], together["speed"] * together["grammage"] / 0.002)
    assert together["small"].dtype == np.float32 and np.all(together["constant"] == 1.5)
    assert list(next(sweep_parts(tmp_path, ["flow"]))) == ["flow"]


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: grid_plan({}), "there are none"),
        (lambda: grid_plan({"a": []}), "has no values"),
        (lambda: grid_plan({"a": Normal(0, 1)}), "no list of values"),
        (lambda: grid_plan({"a": [1.0, float("nan")]}), "no number"),
        (lambda: grid_plan({"a": [1.0, "x"]}), "all numbers or all words"),
        (lambda: random_plan(AXES, 0, 1), "at least 1"),
        (lambda: random_plan(AXES, 5, -1), "seed"),
        (lambda: chunk_inputs(random_plan(AXES, 5, 1), 5, 1), "numbered 0 to 4"),
        (lambda: chunk_inputs(random_plan(AXES, 5, 1), 0, 0), "at least 1 case"),
    ],
)
def test_plans_that_cannot_be_are_refused(make, words):
    with pytest.raises(Refused, match=words):
        make()


def test_importing_studies_loads_nothing_heavy():
    heavy = "('scipy', 'pyarrow', 'numba', 'distributed')"
    code = f"import sys, thinstock.studies; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_a_function_is_never_hidden_by_the_module_of_its_name():
    code = (
        "import thinstock.studies.propagate, thinstock.studies.tornado, thinstock.studies as s;"
        "print(callable(s.propagate), callable(s.tornado), callable(s.first_order))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "True True True"
