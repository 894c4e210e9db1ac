"""Answers over a population: every draw its own root, its own best, its own case of a sweep, with the same draws."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from click.testing import CliRunner

import thinstock
from thinstock.cli import group
from thinstock.errors import Refused
from thinstock.evidence.chosen import Drawn, chosen, wished
from thinstock.studies.best import best
from thinstock.studies.best_draws import best_drawn
from thinstock.studies.intervals import central_interval
from thinstock.studies.machine_axes import plan_of, varied
from thinstock.studies.machine_sweep import Running, machine_sweep
from thinstock.studies.solve import solve
from thinstock.studies.solve_draws import answers
from thinstock.studies.sweep import sweep_parts
from thinstock.studies.sweep_draws import drawn_plan

DRAWS = 60
NIP = "press.nip.suction_pressure_roll"


@pytest.fixture(scope="module")
def roll():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def runs(roll):
    return chosen(roll, "runs", draws=DRAWS)


def test_every_draw_put_back_with_its_own_answer_gives_what_was_wanted(roll, runs):
    found = solve(roll, f"{NIP}.line_load", "dryness_press = 39.7 %")
    over = answers(found, runs)
    good = np.flatnonzero(np.isfinite(over.values))
    assert 0 < good.size < DRAWS and over.without == pytest.approx(1 - good.size / DRAWS)
    again = Drawn(roll, runs).run(good, {found.address: over.values[good]}, ("dryness_press",))["dryness_press"]
    shift = found.reached - float(found.machine.run(fast=True)["dryness_press"])
    assert again + shift == pytest.approx(np.full(good.size, 0.397), rel=1e-4)
    assert (over.low, over.median, over.high) == central_interval(over.values[good])


def test_draws_without_an_answer_cannot_reach_it_anywhere_in_the_range(roll, runs):
    found = solve(roll, f"{NIP}.line_load", "dryness_press = 39.7 %")
    over = answers(found, runs)
    none = np.flatnonzero(~np.isfinite(over.values))
    loads = np.linspace(*found.searched, 60)
    rows = np.repeat(none, loads.size)
    cases = Drawn(roll, runs).run(rows, {found.address: np.tile(loads, none.size)}, ("dryness_press", "hold_status"))
    shift = found.reached - float(found.machine.run(fast=True)["dryness_press"])
    gap = np.where(cases["hold_status"] == 0, cases["dryness_press"] + shift - 0.397, np.nan)
    gap = gap.reshape(none.size, -1)
    for row in gap:
        row = row[np.isfinite(row)]
        assert row.size == 0 or np.all(row > 0) or np.all(row < 0)


def test_the_answer_does_not_spread_where_nothing_uncertain_moves_it(roll, runs):
    exact = chosen(roll, "runs", draws=DRAWS)
    found = solve(roll, "headbox.jet_ratio", "headbox_head = 550 kPa")
    over = answers(found, exact)
    assert over.without == 0.0
    assert (over.high - over.low) / over.median < 0.2


def test_a_draw_s_own_best_is_never_worse_than_the_one_setting_found(roll, runs):
    ranges = varied(roll, ["yankee.speed=1700 m/min..1950 m/min"])
    found = best(roll, ranges, "production", most=True, points=256)
    over = best_drawn(roll, ranges, found, runs)
    assert 0.0 < over.holds < 1.0 and 0.0 <= over.without < 1.0 - over.holds + 1e-12
    low, middle, high = over.setting["yankee.speed"]
    assert 1700 / 60 <= low < middle <= high <= 1950 / 60 + 1e-9
    assert over.value[0] <= over.value[1] <= over.value[2]


def test_a_case_of_a_sweep_is_its_setting_in_its_draw(roll, runs, tmp_path):
    plan = drawn_plan(plan_of(varied(roll, ["yankee.speed=1700 m/min..1800 m/min x 2"]), None, None, 1), DRAWS)
    assert plan.cases == 2 * DRAWS
    names = ("dryness_press", "gas_per_product")
    machine_sweep(roll, plan, names, folder=tmp_path / "s", running=Running(size=50, drawn=runs))
    parts = list(sweep_parts(tmp_path / "s"))
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    direct = Drawn(roll, runs).run(whole["draw"], {"yankee.speed": whole["yankee.speed"]}, names)
    assert np.array_equal(whole["dryness_press"], direct["dryness_press"], equal_nan=True)
    with open(tmp_path / "s" / "bands.csv", encoding="utf-8") as opened:
        rows = list(csv.DictReader(opened))
    first = direct["dryness_press"][: DRAWS][direct.usable[:DRAWS]]
    low, middle, high = central_interval(first)
    said = [float(rows[0][f"dryness_press_{end}"]) for end in ("low", "median", "high")]
    assert len(rows) == 2 and said == pytest.approx([low, middle, high], rel=1e-5)
    with open(tmp_path / "s" / "population.csv", encoding="utf-8") as opened:
        drawn = list(csv.DictReader(opened))
    assert float(drawn[3]["stock.freeness"]) == pytest.approx(runs.values()["stock.freeness"][3], rel=1e-8)


def test_a_sweep_of_a_population_stopped_and_taken_up_again_has_the_same_bytes(roll, runs, tmp_path):
    plan = drawn_plan(plan_of(varied(roll, ["yankee.speed=1700 m/min..1800 m/min"]), None, 90, 1), DRAWS)
    for name in ("one", "two"):
        machine_sweep(roll, plan, ("dryness_press",), folder=tmp_path / name, running=Running(size=40, drawn=runs))
    part = tmp_path / "two" / "part-000001.parquet"
    part.unlink()
    machine_sweep(roll, plan, ("dryness_press",), folder=tmp_path / "two", running=Running(size=40, drawn=runs))
    assert part.read_bytes() == (tmp_path / "one" / part.name).read_bytes()


def test_the_population_asked_for_is_the_one_that_answers(roll):
    assert wished(roll, None) is None and wished(roll, "none") is None
    assert chosen(roll, "believed", draws=60).origin == "as believed"
    assert chosen(roll, "runs", draws=60).origin == "runs"
    with pytest.raises(Refused, match="no evidence belongs"):
        chosen(roll, "read")


def test_the_command_tells_middle_ends_and_the_share_without_an_answer():
    runner = CliRunner()
    asked = ["solve", "facial-roll", "--for", f"{NIP}.line_load", "--so-that", "dryness_press = 39.7 %"]
    asked += ["--population", "runs", "--draws", "60"]
    said = runner.invoke(group, asked)
    assert said.exit_code == 0, said.output
    assert "over 60 draws of the machine (population: runs)" in said.output.replace("\n", " ")
    assert "no value gives it" in said.output
    plain = runner.invoke(group, [*asked, "--json"])
    assert json.loads(plain.stdout)["drawn"]["origin"] == "runs"
