"""A machine at many cases: what is written, who refuses, and that stopping, threads or a cluster change no byte."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import thinstock
from thinstock.cli import group, status
from thinstock.errors import NotFound, Refused
from thinstock.evidence.cases import machine_function, machine_of
from thinstock.machine.limits import margins
from thinstock.studies.best import best, constraint
from thinstock.studies.machine_axes import plan_of, unlimited, varied
from thinstock.studies.machine_sweep import RUNS, Running, machine_map, machine_sweep
from thinstock.studies.sweep import sweep_parts

RANGES = ["headbox.consistency=0.12..0.30 %", "yankee.speed=1500 m/min..2000 m/min"]
RESULTS = ("gas_per_product", "flow_per_width", "stations.felt_vacuum.dryness")
SOURCES = str(Path(thinstock.__file__).parent.parent)


@pytest.fixture(scope="module")
def roll():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def plan(roll):
    return plan_of(varied(roll, RANGES), "sobol", 900, 3)


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def undisturbed(roll, plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("plain") / "sweep"
    machine_sweep(roll, plan, RESULTS, folder=folder, running=Running(size=300))
    return folder


# -- what is varied ----------------------------------------------------------------------------------------------------


def test_ranges_lists_and_beliefs_are_read(roll):
    one, two, three, four = varied(
        roll,
        ["consistency=0.12..0.30 % x 4", "yankee.speed=1500 m/min, 1800 m/min", "hood.hood_factor=uncertain",
         "yankee.steam_pressure=6 bar(g)..7 bar(g)"],
    )  # fmt: skip
    assert one.address == "headbox.consistency"
    np.testing.assert_allclose(one.values, [0.0012, 0.0018, 0.0024, 0.0030])
    assert two.values == pytest.approx((25.0, 30.0))
    assert three.believed.quantile(0.5) == pytest.approx(0.621, rel=1e-6)
    air = float(roll.site.atmospheric_pressure())
    assert four.ends == pytest.approx((6e5 + air, 7e5 + air))


@pytest.mark.parametrize(
    "text, said",
    [
        ("headbox.consistency", "ADDRESS=RANGE"),
        ("headbox.consistancy=0.1..0.2 %", "headbox.consistency"),
        ("headbox.consistency=0.3..0.2 %", "empty"),
        ("headbox.consistency=0.1..20 %", "must lie between"),
        ("headbox.consistency=0.1..0.2 kPa", "fraction"),
        ("press.nip.suction_pressure_roll.line_load=80..110 kN/m", "passes the limit"),
        ("press.nip.suction_pressure_roll.line_load_limit=80..110 kN/m", "limits are not varied"),
        ("hood.air_temperature=400..450 degC", "is found by the run"),
        ("press.nip=1..2", "is no number"),
        ("headbox.consistency=0.2 % x 4", "a count belongs to a range"),
        ("headbox.jet_ratio=uncertain", "has no uncertainty"),
    ],
)
def test_what_cannot_be_varied_is_refused_in_words(roll, text, said):
    with pytest.raises(Refused, match=said):
        varied(roll, [text])


def test_all_bad_ranges_are_refused_at_once(roll):
    with pytest.raises(Refused) as refused:
        varied(roll, ["moon=1..2", "headbox.consistency=0.3..0.2 %", "headbox.consistency=0.1..0.2 %"])
    assert len(refused.value.faults) == 2


def test_a_plan_says_what_it_lacks(roll):
    loose = varied(roll, RANGES)
    with pytest.raises(Refused, match="number of values"):
        plan_of(loose, "grid", None, 1)
    with pytest.raises(Refused, match="how many cases"):
        plan_of(loose, None, None, 1)
    grid = plan_of(varied(roll, ["headbox.consistency=0.1..0.2 % x 3", "yankee.speed=25 m/s, 30 m/s"]), None, None, 1)
    assert grid.kind == "grid" and grid.cases == 6


# -- parts -------------------------------------------------------------------------------------------------------------


def test_a_sweep_holds_inputs_results_and_flags_of_every_case(roll, plan, undisturbed):
    table = {k: np.concatenate([p[k] for p in sweep_parts(undisturbed)]) for k in next(sweep_parts(undisturbed))}
    assert len(table["case"]) == 900 and (np.diff(table["case"]) == 1).all()
    assert set(RESULTS) | {"possible", "formed", "reached", "over_dried", "in_range"} <= set(table)
    assert table["formed"].all() and 0.5 < table["reached"].mean() < 1
    for case in (0, 450, 899):
        one = roll.with_({w: table[w][case] for w in plan.axes}).run(fast=True)
        assert table["gas_per_product"][case] == pytest.approx(one["gas_per_product"], rel=1e-4)
        assert table["flow_per_width"][case] == pytest.approx(one["flow_per_width"], rel=1e-9)
    swept = thinstock.loads((undisturbed / "machine.toml").read_text(encoding="utf-8"))
    assert swept.run()["gas_per_product"] == roll.run()["gas_per_product"]


def test_threads_write_the_same_bytes(roll, plan, undisturbed, tmp_path):
    with ThreadPoolExecutor(3) as pool:
        report = machine_sweep(roll, plan, RESULTS, folder=tmp_path / "s", running=Running(size=300, executor=pool))
    assert report.parts == 3 and report.written == 3
    assert contents(tmp_path / "s") == contents(undisturbed)


def test_a_cluster_writes_the_same_bytes(roll, plan, undisturbed, tmp_path, monkeypatch):
    distributed = pytest.importorskip("distributed", reason="the cluster extra is not installed")
    from thinstock.studies.machine_sweep import cluster

    monkeypatch.setenv("PYTHONPATH", SOURCES)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
        ) as local,
        cluster(local.scheduler_address) as pool,
    ):
        machine_sweep(roll, plan, RESULTS, folder=tmp_path / "s", running=Running(size=300, executor=pool))
    assert contents(tmp_path / "s") == contents(undisturbed)


def test_a_sweep_killed_in_the_middle_goes_on_as_if_nothing_had_been(tmp_path):
    def command(folder: str) -> list[str]:
        ranges = [part for text in RANGES for part in ("--vary", text)]
        return [sys.executable, "-m", "thinstock", "sweep", "facial-roll", *ranges, "--cases", "1200", "--size", "40",
                "--workers", "1", "--result", "gas_per_product", "--out", str(tmp_path / folder)]  # fmt: skip

    env = {**os.environ, "PYTHONPATH": SOURCES}
    quiet = {"env": env, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    first = subprocess.Popen(command("killed"), **quiet)
    until = time.monotonic() + 60
    while len(list((tmp_path / "killed").glob("part-*.parquet"))) < 3:
        assert time.monotonic() < until and first.poll() is None
        time.sleep(0.01)
    os.kill(first.pid, signal.SIGKILL)
    first.wait()
    there = len(list((tmp_path / "killed").glob("part-*.parquet")))
    assert 3 <= there < 30
    assert subprocess.run(command("killed"), check=False, **quiet).returncode == 0
    assert subprocess.run(command("plain"), check=False, **quiet).returncode == 0
    assert contents(tmp_path / "killed") == contents(tmp_path / "plain")
    assert not list((tmp_path / "killed").glob(".*.half"))


def test_another_machine_or_other_results_are_refused_in_the_same_folder(roll, plan, undisturbed, tmp_path):
    before = contents(undisturbed)
    other = roll.with_({"grade.crepe": 0.18})
    for machine, results in ((other, RESULTS), (roll, RESULTS[:2])):
        with pytest.raises(Refused, match="holds another sweep"):
            machine_sweep(machine, plan, results, folder=undisturbed, running=Running(size=300))
    assert contents(undisturbed) == before


def test_the_function_of_a_machine_is_small_and_knows_its_results(roll):
    import pickle

    function = machine_function(roll, ("gas_per_product",))
    assert len(pickle.dumps(function)) < 30_000
    again = pickle.loads(pickle.dumps(function))
    assert repr(again) == repr(function) and machine_of(again.text) is machine_of(function.text)
    with pytest.raises(Refused, match="no result of this name"):
        machine_function(roll, ("gas_per_produkt",))


def test_limits_are_found_case_by_case_when_asked(roll, tmp_path):
    plan = plan_of(varied(roll, ["yankee.speed=1800 m/min, 1900 m/min"]), None, None, 1)
    machine_sweep(roll, plan, ("production",), folder=tmp_path, limits=True, running=Running(size=10))
    (part,) = sweep_parts(tmp_path)
    binding = thinstock.limits(roll).binding
    np.testing.assert_allclose(part["limit_speed"], binding.speed, rtol=5e-4)
    assert list(part["limit_part"]) == [binding.part] * 2


# -- maps and the best setting -----------------------------------------------------------------------------------------


def test_a_map_says_where_the_machine_runs(roll):
    x, y = varied(roll, ["headbox.consistency=0.10..0.35 % x 6", "yankee.speed=1700..2000 m/min x 5"])
    found = machine_map(roll, x, y, "electricity_per_product")
    assert found.value.shape == found.state.shape == (5, 6)
    assert found.state[-1, 3] == "too wet" and found.state[2, 3] == RUNS and found.state[2, 0] == "beyond a limit"
    runs = found.state[2] == RUNS
    assert np.all(np.diff(found.value[2][runs]) < 0), "thicker stock costs less pumping"
    with pytest.raises(Refused, match="both sides"):
        machine_map(roll, x, x, "electricity_per_product")


def test_margins_are_those_of_the_limits(roll):
    found = margins(roll.run())
    for row in thinstock.limits(roll):
        if row.key in found and row.bound and row.value is not None and row.scope == "highest":
            if row.id in ("drainage", "vacuum_dryness"):
                continue
            assert float(found[row.key]) == pytest.approx(1 - row.value / row.bound, abs=1e-6), row.part
    assert all(float(v) > -1e-9 for v in found.values())


def test_the_best_setting_is_inside_all_limits_and_says_what_it_leans_on():
    shoe = thinstock.load("facial-shoe")
    ranges = varied(shoe, ["headbox.consistency=0.12..0.3 %", "yankee.steam_pressure=6..8.5 bar(a)"])
    found = best(shoe, ranges, "electricity_per_product", points=256)
    assert found.value < found.before
    assert all(float(v) > -1e-9 for v in margins(found.machine.run()).values())
    assert any("headbox.consistency stands at the upper end" in text for text in found.leans_on)
    assert any("formation" in text for text in found.blind_spots)
    dearest = best(shoe, ranges, "electricity_per_product", most=True, points=256)
    assert dearest.value > found.before
    assert any("fan pump" in text or "headbox" in text for text in dearest.leans_on)


def test_a_search_never_switches_off_what_the_press_model_cannot_see(roll):
    boxes = varied(roll, ["press.felt.boxes.vacuum=10..50 kPa"])
    with pytest.raises(Refused, match="felt_exponent, which is assumed"):
        best(roll, boxes, "electricity_per_product", points=64)
    kept = constraint(roll, "nip_saturation <= 0.95")
    found = best(roll, boxes, "electricity_per_product", keep=[kept], points=64)
    assert found.machine.run()["nip_saturation"] <= 0.95 + 1e-9


def test_a_search_asks_for_the_certificate_where_a_limit_is_not_known(roll):
    where = "press.nip.suction_pressure_roll.line_load"
    free = roll.with_({f"{where}_limit": None})
    assert unlimited(free, where) and not unlimited(roll, where)
    with pytest.raises(Refused, match="certificate or nameplate"):
        best(free, varied(free, [f"{where}=80..200 kN/m"]), "gas_per_product", points=64)


def test_no_setting_is_told_with_its_reasons(roll):
    with pytest.raises(NotFound, match="cannot be dried as wanted"):
        best(roll, varied(roll, ["yankee.speed=1985..2000 m/min"]), "gas_per_product", points=64)


# -- command line ------------------------------------------------------------------------------------------------------


def test_sweep_map_and_best_from_the_command_line(tmp_path):
    out = tmp_path / "grid"
    run = CliRunner().invoke(
        group,
        ["sweep", "facial-roll", "--vary", "headbox.consistency=0.15..0.25 % x 4", "--vary",
         "grade.reel_grammage=15 g/m2, 16 g/m2", "--out", str(out)],
        catch_exceptions=False,
    )  # fmt: skip
    assert "8 cases in 1 parts" in run.stdout and "0 without a sheet" in run.stdout
    columns = json.loads((out / "columns.json").read_text(encoding="utf-8"))
    (part,) = sweep_parts(out)
    assert set(columns) == set(part) and columns["gas_per_product"]["unit"] == "J/kg"
    run = CliRunner().invoke(
        group,
        ["map", "facial-roll", "--x", "headbox.consistency=0.15..0.25 % x 3",
         "--y", "yankee.speed=1800..1900 m/min x 3",
         "--result", "flow_per_width", "--csv", str(tmp_path / "m.csv"), "--svg", str(tmp_path / "m.svg"),
         "--vega", str(tmp_path / "m.json")],
        catch_exceptions=False,
    )  # fmt: skip
    assert "runs" in (tmp_path / "m.csv").read_text(encoding="utf-8") and "speed down" in run.stdout
    assert (tmp_path / "m.svg").read_text(encoding="utf-8").startswith("<svg")
    assert len(json.loads((tmp_path / "m.json").read_text(encoding="utf-8"))["datasets"]["rows"]) == 9
    run = CliRunner().invoke(
        group,
        ["study", "best", "facial-roll", "--vary", "headbox.consistency=0.15..0.25 %", "--minimise",
         "electricity_per_product", "--points", "64", "--json"],
        catch_exceptions=False,
    )  # fmt: skip
    assert json.loads(run.stdout)["setting"]["headbox.consistency"] == pytest.approx(0.0025, rel=0.02)


def test_a_scheduler_that_does_not_answer_is_told(tmp_path, capsys):
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    code = status(["sweep", "facial-roll", "--vary", "headbox.consistency=0.2 %, 0.21 %", "--out", str(tmp_path / "s"),
                   "--scheduler", "nonsense"])  # fmt: skip
    assert code == 1 and "no scheduler answers" in capsys.readouterr().err
