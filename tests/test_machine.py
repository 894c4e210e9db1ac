"""A whole machine: balances close, every number can be followed to the machine file, arrays equal single cases."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path

import numpy as np
import pytest

import thinstock
from thinstock.formula.label import Merged
from thinstock.machine.numbers import existing, headline, numbers
from thinstock.machine.result import OUTSIDE

HERE = Path(__file__).parent
ROWS = tomllib.loads((HERE / "directions.toml").read_text(encoding="utf-8"))["row"]
HEADLINE = headline()
BUNDLED = [m.name for m in thinstock.machines()]


@pytest.fixture(scope="module")
def machine():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def result(machine):
    return machine.run()


@pytest.mark.parametrize("name", BUNDLED)
def test_every_node_and_the_whole_machine_close_in_fibre_water_air_and_heat(name):
    result = thinstock.load(name).run()
    for quantity, error in result.closure().items():
        assert error <= 1e-12, f"{quantity} does not close: {error:.2e}"
    outside = dict.fromkeys(("fibre", "fines", "water", "air", "heat"), 0.0)
    largest = dict(outside)
    for stream in result.streams:
        for quantity in outside:
            value = float(getattr(stream, quantity))
            largest[quantity] = max(largest[quantity], abs(value))
            outside[quantity] += value * ((stream.source == OUTSIDE) - (stream.sink == OUTSIDE))
    for quantity, total in outside.items():
        assert abs(total) <= 1e-9 * max(largest[quantity], 1e-30), quantity


def test_the_march_and_the_streams_agree_on_the_water(result):
    drained = result.wet.formed.drained
    assert float(drained.closure[0]) <= 1e-9


def _loose_ends(sheet, value, seen, path="") -> list[str]:
    origin = sheet.origin(value)
    return _follow(sheet, origin, seen, path)


def _follow(sheet, origin, seen, path) -> list[str]:
    if origin is None:
        return [path]
    if isinstance(origin, str):
        return []
    if isinstance(origin, Merged):
        return [end for part in origin.parts for end in _follow(sheet, part, seen, path)]
    number, _ = origin
    if number in seen:
        return []
    seen.add(number)
    step = sheet.steps[number]
    loose = []
    for argument, value in step.inputs.items():
        if isinstance(value, bool | str | int) or value is None:
            continue
        loose += _follow(sheet, step.origins[argument], seen, f"{step.label.name}({argument})")
    return loose


@pytest.mark.parametrize("name", list(HEADLINE))
def test_every_headline_traces_back_to_the_machine_file(result, name):
    sheet = result.worksheet
    loose = _loose_ends(sheet, result[name], set(), name)
    assert not loose, f"{name} hangs on numbers of unknown origin: {sorted(set(loose))}"


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['field']} -> {r['result']}" for r in ROWS])
def test_results_move_the_way_the_trade_knows(machine, row):
    value = machine.get(row["field"])
    step = 0.01 * abs(float(value)) if "temperature" not in row["field"] else 2.0
    low, high = (machine.with_({row["field"]: float(value) + s * step}).run()[row["result"]] for s in (-1, 1))
    change = float(high) - float(low)
    if row["sign"] == "0":
        assert abs(change) <= 1e-9 * abs(float(low))
    else:
        assert change * (1 if row["sign"] == "+" else -1) > 1e-9 * abs(float(low)), change


def test_there_are_at_least_twenty_directions():
    assert len(ROWS) >= 20


def test_a_run_over_cases_equals_single_runs(machine):
    speeds = np.array([22.0, 27.0, 31.0])
    loads = np.array([70e3, 90e3, 100e3])
    many = machine.with_({"yankee.speed": speeds, "press.nip.suction_pressure_roll.line_load": loads}).run()
    for i in range(3):
        one = machine.with_({"yankee.speed": speeds[i], "press.nip.suction_pressure_roll.line_load": loads[i]}).run()
        for name in HEADLINE:
            a, b = np.broadcast_to(np.asarray(many[name], dtype=float), (3,))[i], float(one[name])
            assert a == pytest.approx(b, rel=2e-6), name
        for s_many, s_one in zip(many.streams, one.streams, strict=True):
            a = np.broadcast_to(np.asarray(s_many.water, dtype=float), (3,))[i]
            assert a == pytest.approx(float(s_one.water), rel=2e-6, abs=1e-12), s_one.name
    assert max(many.closure().values()) <= 1e-12


def test_as_many_cases_as_components_are_not_confused(machine):
    many = machine.with_({"stock.fines_share": np.array([0.1, 0.2])}).run()
    for i, share in enumerate((0.1, 0.2)):
        assert many["retention"][i] == pytest.approx(machine.with_({"stock.fines_share": share}).run()["retention"])


def test_the_reel_is_held_at_its_dryness_by_the_hood(machine, result):
    assert float(result["reel_dryness_reached"]) == pytest.approx(float(machine.grade.reel_dryness), abs=2e-6)
    assert int(result["hold_status"]) == 0


def test_the_reel_can_be_held_by_speed(machine):
    held = dataclasses.replace(machine, hold_reel_dryness_by="speed").run()
    assert float(held["reel_dryness_reached"]) == pytest.approx(float(machine.grade.reel_dryness), abs=2e-5)
    assert float(held["air_temperature"]) == pytest.approx(float(machine.hood.air_temperature))


def test_every_number_of_every_run_stands_in_numbers_toml_once_with_where_it_exists():
    met: set[str] = set()
    for name in BUNDLED:
        machine = thinstock.load(name)
        values = machine.run().values
        assert values.keys() <= numbers().keys(), f"machine/numbers.toml lacks {[*values.keys() - numbers().keys()]}"
        met |= values.keys()
        wanted = existing("always") | existing("sheet") | (existing("yankee") if machine.yankee is not None else set())
        assert wanted - values.keys() <= {"end_of_forming_slow"}, name
        assert machine.yankee is not None or not existing("yankee") & values.keys(), name
    run = numbers().keys() - existing("asked") - existing("circuit")  # these: test_machine_circuits
    assert run <= met, f"no run gives {sorted(run - met)}"


def test_without_a_sheet_only_the_numbers_that_always_exist_have_a_value(machine):
    values = machine.with_({"headbox.consistency": 2e-4}).run().values
    for name in numbers().keys() - existing("asked") - existing("circuit"):
        assert (values[name] is not None) == (name in existing("always")), name


def test_stock_that_is_not_drained_gives_no_sheet_and_no_number_behind_the_former(machine):
    thin = machine.with_({"headbox.consistency": 2e-4}).run()
    assert not thin["formed"]
    assert float(thin["depth_not_drained"]) > 0
    assert any("no sheet" in str(note) for note in thin.notes)
    behind = next(s for s in thin.stations if s.name == "reel")
    assert behind.dryness is None
    assert max(thin.closure().values()) <= 1e-12
    many = machine.with_({"headbox.consistency": np.array([2e-4, 1.9e-3])}).run()
    assert np.isnan(many["dryness_press"][0]) and np.isfinite(many["dryness_press"][1])
    assert max(many.closure().values()) <= 1e-12


def test_a_hotter_hood_than_its_bound_is_not_used_to_reach_the_dryness(machine):
    fast = machine.with_({"yankee.speed": 36.0}).run()
    assert int(fast["hold_status"]) == 1
    assert float(fast["air_temperature"]) <= float(machine.hood.air_temperature_limit) + 1e-6
    assert any("too wet" in str(note) for note in fast.notes)


def test_a_what_if_changes_nothing_in_place(machine):
    before = float(machine.yankee.speed)
    machine.with_({"yankee.speed": 20.0}).run()
    assert float(machine.yankee.speed) == before


def test_all_bad_what_ifs_are_refused_together(machine):
    with pytest.raises(thinstock.Refused) as refused:
        machine.with_({"yankee.sped": 20.0, "headbox.consistancy": 0.002})
    text = str(refused.value)
    assert "yankee.speed" in text and "headbox.consistency" in text
    assert len(refused.value.faults) == 2


def test_many_freeness_readings_give_the_resistance_each_gives_alone():
    from thinstock.machine.stock import _resistance_of_freeness, _resistances

    generator = np.random.default_rng(5)
    for kind, low, high in (("CSF", 4e-5, 8.4e-4), ("SR", 6.0, 90.0)):
        readings, exponents = generator.uniform(low, high, 300), generator.uniform(0.1, 0.85, 300)
        together = _resistances(kind, readings, exponents)
        for place in range(0, 300, 12):
            alone = _resistance_of_freeness(kind, float(readings[place]), float(exponents[place]))
            assert together[place] == pytest.approx(alone, rel=2e-9)


@pytest.mark.parametrize("holder", ["hood temperature", "steam pressure", "speed"])
def test_nothing_can_hold_the_dryness_where_the_dryer_gives_it(holder):
    with pytest.raises(thinstock.Refused, match='Use "nothing"'):
        thinstock.load("board-three-nips").with_({"hold_reel_dryness_by": holder})


def test_a_result_outside_published_figures_or_common_practice_is_noted(machine, result):
    from thinstock.words import bands

    outside = [band for band in bands.of("roll") if not band.low <= float(result[band.result]) <= band.high]
    assert outside, "the gas of this machine is above what is published"
    for band in bands.of("roll"):
        noted = any(note.part == band.part and note.text.startswith(band.label) for note in result.notes)
        assert noted == (band in outside), band.label
    board = thinstock.load("board-three-nips").run()
    assert not [note for note in board.notes if note.id.startswith("band_")], "the figures are of Yankees"
    assert {band.result for band in bands.bands()} <= set(HEADLINE)


def test_bands_of_many_cases_say_how_many_are_outside(machine):
    many = machine.with_({"hood.exhaust_humidity": np.array([0.2, 0.4, 0.45, 0.5])}).run()
    gas = np.asarray(many["gas_per_product"]) / 3600
    (note,) = [n for n in many.notes if n.text.startswith("gas per tonne")]
    assert note.cases == np.count_nonzero((gas < 650) | (gas > 700))


def test_a_steam_box_makes_the_sheet_drier_and_its_steam_is_counted():
    from thinstock.case.library import machine_text

    text = machine_text("facial-roll")
    with_box = thinstock.loads(text.replace("[yankee]\n", '[press.steam_box]\nsteam_dose = "2 g/m2"\n\n[yankee]\n', 1))
    box, plain = with_box.run(), thinstock.loads(text).run()
    assert float(box["dryness_press"]) > float(plain["dryness_press"]) + 0.005
    assert max(box.closure().values()) <= 1e-12
    assert next(c for c in box.energy if c.name == "steam box").kind == "steam"
    unused = with_box.with_({"press.steam_box.steam_dose": 0.0}).run()
    assert float(unused["dryness_press"]) == pytest.approx(float(plain["dryness_press"]), rel=1e-12)
