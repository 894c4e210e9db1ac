"""What disturbs a sheet: speeds of the indicators, their limits, what they never do; mats that keep their packing."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest

import thinstock
from test_drainage_march import FABRIC, SHEET, one, roll
from thinstock import library
from thinstock.formula.label import STATUSES
from thinstock.kernels.drainage import Element, Law, drain
from thinstock.relations import disturbance, drainage
from thinstock.studies import LogUniform
from thinstock.studies.reasons import indicators, reasons, speed_kick_foil, speed_kick_table_roll

STUFF: dict[str, Any] = dict(
    grammage=0.012464, retention=0.8, viscosity=0.653e-3, density=992.0, resistance_coefficient=1.1e9,
    resistance_exponent=0.4, fabric_resistance=0.96e6, fabric_inertia=8.2,
)  # fmt: skip
B: dict[str, Any] = STUFF | dict(fabric_tension=6e3, fabric_mass=0.4, consistency=0.002)
SLACK = {"fabric_tension": 3e3}
FOIL = (0.06, 0.25)


def foil(degrees: float, **changes: float) -> float:
    return 60 * speed_kick_foil(math.radians(degrees), *FOIL, **(B | changes))


def rolls(radius: float, **changes: float) -> float:
    return 60 * speed_kick_table_roll(radius, **(B | changes))


# -- the speeds of a kick ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("radius", "changes", "told"),
    [(0.08, {}, 419.940), (0.1, {}, 391.953), (0.15, {}, 345.668), (0.1, SLACK, 314.139)],
)
def test_a_table_roll_kicks_the_layer_as_high_as_deep_at_the_speed_worked_apart(radius, changes, told):
    assert rolls(radius, **changes) == pytest.approx(told, rel=2e-6)


@pytest.mark.parametrize(
    ("degrees", "changes", "told"), [(1, {}, 1323.01), (2, {}, 943.765), (4, {}, 657.982), (2, SLACK, 720.457)]
)
def test_a_foil_kicks_the_layer_as_high_as_deep_at_the_speed_worked_apart(degrees, changes, told):
    assert foil(degrees, **changes) == pytest.approx(told, rel=5e-6)


def test_a_tighter_wire_kicks_later_and_larger_rolls_and_steeper_foils_kick_earlier():
    assert all(a < b for a, b in itertools.pairwise(rolls(0.1, fabric_tension=t) for t in (2e3, 4e3, 8e3)))
    assert all(a > b for a, b in itertools.pairwise(rolls(r) for r in (0.08, 0.12, 0.18)))
    assert all(a > b for a, b in itertools.pairwise(foil(a) for a in (0.5, 1, 2, 4)))


def test_a_slower_mat_spares_the_rolls_and_punishes_the_foils():
    slow = {"resistance_coefficient": 5.5e9}
    assert rolls(0.1, **slow) == pytest.approx(605, abs=0.5)
    assert foil(2, **slow) == pytest.approx(475, abs=0.5)


@pytest.mark.parametrize(
    ("changes", "told"),
    [({"consistency": 1e-3}, (431, 977)), ({"consistency": 4e-3}, (353, 865)), ({"grammage": 0.02}, (469, 815))],
)
def test_the_speed_of_a_kick_is_surer_than_its_inputs(changes, told):
    assert (rolls(0.1, **changes), foil(2, **changes)) == pytest.approx(told, abs=0.6)


def test_newsprint_on_table_rolls_is_not_contradicted():
    """Print of the 1940s: newsprint ran 320 to 427 m/min on table rolls; its kick comes later."""
    news = {"grammage": 0.05, "consistency": 6.5e-3, "retention": 0.6}
    speeds = [
        rolls(r, **news, fabric_tension=t, resistance_coefficient=a)
        for r in (0.14, 0.19) for t in (2e3, 5e3) for a in (5e9, 1e10)
    ]  # fmt: skip
    assert min(speeds) > 520 and max(speeds) < 940


# -- limits of the formulas ----------------------------------------------------------------------------------------


def test_a_foil_never_sucks_more_than_the_wire_brings_and_nothing_without_an_angle():
    mat = (0.006, *(STUFF[k] for k in ("viscosity", "density", "resistance_coefficient", "resistance_exponent",
                                       "fabric_resistance", "fabric_inertia")))  # fmt: skip
    speed = np.array([1.0, 5.0, 20.0])
    most = 0.5 * 992.0 * speed**2
    assert disturbance.suction_foil_wedge(speed, np.pi / 2 - 1e-9, *mat) == pytest.approx(most, rel=1e-9)
    assert np.all(disturbance.suction_foil_wedge(speed, 1e-9, *mat) < 1e-6 * most)
    assert disturbance.suction_foil_wedge(10.0, 0.0, *mat) < 1e-30
    assert disturbance.suction_foil_wedge(0.0, 0.03, *mat) == 0.0
    for k, values in ((0, (2.0, 5.0, 9.0)), (1, (0.01, 0.03, 0.06))):
        at = [[5.0, 0.03], [5.0, 0.03], [5.0, 0.03]]
        for row, v in zip(at, values, strict=True):
            row[k] = v
        assert np.all(np.diff([disturbance.suction_foil_wedge(*row, *mat) for row in at]) > 0)
    heavier = [disturbance.suction_foil_wedge(5.0, 0.03, w, *mat[1:]) for w in (0.0, 0.004, 0.01)]
    assert np.all(np.diff(heavier) > 0)


def test_at_the_speed_of_its_waves_a_wire_is_unloaded_and_a_table_bends_without_bound():
    wave = disturbance.wave_speed_wire(6e3, 0.4, 992.0, 0.006)
    assert disturbance.momentum_ratio(992.0, 0.006, wave, 6e3, 0.4) == pytest.approx(1.0, rel=1e-12)
    assert disturbance.kink_angle(1.0, 6e3, 0.4, 992.0, 0.006, wave * 1.000001) == math.inf
    assert disturbance.growth_rate_layer(9.0, 992.0, 0.07) == 0.0


def test_the_fastest_wave_is_the_largest_of_all_waves():
    k = np.geomspace(1.0, 1e5, 400_001)
    rate = np.sqrt(np.maximum((250.0 - 9.80665) * k - 0.0696 * k**3 / 992.0, 0.0))
    assert disturbance.growth_rate_layer(250.0, 992.0, 0.0696) == pytest.approx(rate.max(), rel=1e-8)


# -- what is said of a former --------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", library.KEYS)
def test_every_indicator_says_what_it_is_where_it_is_from_and_on_which_side_it_counts(key):
    found = indicators("facial", key, speed=10.0, consistency=2e-3, resistance_factor=1.0)
    names = [i.name for i in found]
    assert len(set(names)) == len(names)
    assert {"free_surface", "transfers"} <= set(names)
    for one_of in found:
        assert one_of.words and one_of.status in STATUSES and math.isfinite(one_of.value)
        assert one_of.side in ("highest", "lowest", "none")
        assert (one_of.yardstick is None) == (one_of.speed_at_yardstick is None) or one_of.name == "kick_steep"
        assert one_of.side == "none" or one_of.answer
        assert "limit" not in one_of.words


def first(key: str, machine: Any = "facial", speed: float = 10.0) -> Any:
    return reasons(indicators(machine, key, speed=speed, consistency=2e-3, resistance_factor=1.0)).first


def test_the_order_of_first_disturbances_is_rolls_breast_roll_foils_suction_breast_roll():
    """With a free surface, the breast roll by its own rim: the rolls behind it throw as early as without it."""
    own = indicators("facial", "open_breast_roll", speed=10.0, consistency=2e-3, resistance_factor=1.0)
    rim = next(i.speed_at_yardstick for i in own if i.name == "rim_breast")
    at = [first("flat_wire").speed_at_yardstick, rim, first("flat_wire_foils").speed_at_yardstick,
          first("suction_breast_roll").speed_at_yardstick]  # fmt: skip
    assert at == sorted(at)
    assert 60 * at[0] == pytest.approx(291.08, abs=0.01) and 60 * at[1] == pytest.approx(617.5, abs=0.1)


def test_between_two_fabrics_nothing_comes_first_and_that_is_said():
    for key in ("twin_wire_c", "twin_wire_s", "wire_felt_c", "wire_felt_s"):
        found = reasons(indicators("facial", key, speed=30.0, consistency=2e-3, resistance_factor=1.0))
        assert found.first is None and found.beyond == () and "free" in found.sentence


def test_a_jet_too_slow_for_its_gap_is_past_a_yardstick_from_below():
    found = reasons(indicators("facial", "twin_wire_c", speed=3.0, consistency=2e-3, resistance_factor=1.0))
    assert [i.name for i in found.beyond] == ["entry"]


def test_speeds_are_ranked_not_values():
    found = indicators("facial", "flat_wire", speed=20.0, consistency=2e-3, resistance_factor=1.0)
    by_name = {i.name: i for i in found}
    assert by_name["kick_rolls"].value > by_name["rim"].value
    assert reasons(found).first is by_name["rim"]


def test_a_table_of_rolls_bites_harder_than_foils_and_a_suction_roll_holds_as_it_drains():
    at = dict(speed=5.0, consistency=2e-3, resistance_factor=1.0)
    told = {k: {i.name: i.value for i in indicators("facial", k, **at)} for k in library.NINE}
    assert told["flat_wire"]["pulse"] == pytest.approx(0.5 * 992 * 25, rel=1e-3)
    assert told["flat_wire"]["pulse_over_hold"] > 10 * told["flat_wire_foils"]["pulse_over_hold"]
    assert told["suction_breast_roll"]["pulse_over_hold"] == 1.0
    assert told["open_breast_roll"]["pulses"] == 15 and told["flat_wire"]["pulses"] == 14


def test_a_machine_answers_for_its_own_former_and_nothing_is_refused_far_past_a_yardstick():
    machine = thinstock.load("facial-flat-wire")
    found = indicators(machine, "own", speed=60.0, consistency=2e-3, resistance_factor=5.0)
    assert {i.name for i in reasons(found).beyond} >= {"kick_rolls", "rim"}


def test_an_era_is_told_for_every_former_that_was_run():
    for key in library.NINE:
        era = library.era(key)
        assert era.speed_low < era.speed_usual < era.speed_high
        assert era.consistency_low < era.consistency_usual < era.consistency_high
        assert set(era.status.values()) <= set(STATUSES)
    assert library.era("flat_wire_open") is None


# -- a mat that keeps its packing ----------------------------------------------------------------------------------


def table(speed: float) -> list[Element]:
    load = 0.5 * min(0.5 * 992.0 * speed**2, 5e3)
    gap = Element(length=0.55, wire_side=Law(gravity=1.0, **FABRIC))
    return [gap, Element(nip_radius=0.1, wire_side=Law(gravity=1.0, load=load, **FABRIC))] * 14


def lowest(speed: float, memory: float) -> float:
    low, high = math.log(2e-5), math.log(2e-2)
    for _ in range(24):
        middle = 0.5 * (low + high)
        run = drain(table(speed), **{**SHEET, "speed": speed, "consistency": math.exp(middle), "mat_memory": memory})
        low, high = (low, middle) if np.isfinite(run.dry_line[0]) else (middle, high)
    return 100 * math.exp(high)


def test_pulses_cost_a_table_of_rolls_its_capacity_where_the_mat_keeps_its_packing():
    assert lowest(5.0, 0.0) == pytest.approx(0.0138, abs=5e-5)
    assert lowest(5.0, 1.0) == pytest.approx(0.0659, abs=5e-5)


def test_a_former_without_pulses_does_not_feel_the_mats_memory():
    springy, packed = (one(drain(roll(), **SHEET, mat_memory=m)) for m in (0.0, 1.0))
    assert springy["dry_line"] == packed["dry_line"] == pytest.approx(0.385542, abs=5e-7)


def test_without_memory_the_march_is_what_it_was_to_the_last_bit():
    plain, told = drain(table(5.0), **SHEET), drain(table(5.0), **SHEET, mat_memory=0.0)
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(plain, told, strict=True))


def test_memory_never_helps_and_balances_still_close():
    runs = [drain(table(5.0), **{**SHEET, "speed": 5.0, "consistency": 8e-4}, mat_memory=m) for m in (0, 0.3, 0.7, 1)]
    assert np.all(np.diff([r.deposited[0] for r in runs]) <= 0)
    assert all(r.closure[0] < 1e-12 for r in runs)


def test_flux_falls_with_the_pressure_that_is_kept():
    kept = np.array([0.0, 10.0, 200.0, 2400.0, 2e4])
    flux = drainage.flux_mat_kept(60.0, 0.006, kept, 0.653e-3, 992.0, 1.1e9, 0.4, 0.96e6, 8.2)
    assert flux[0] == flux[1] and np.all(np.diff(flux[1:]) < 0)


def test_a_mat_packed_at_2400_pa_is_nearly_five_times_as_slow_under_50_pa():
    thick = (0.006, 2400.0, 0.653e-3, 992.0, 1.1e12, 0.4, 0.0, 1e-9)
    springy = drainage.flux_mat_fabric(50.0, 0.006, *thick[2:])
    assert springy / drainage.flux_mat_kept(50.0, *thick) == pytest.approx(48**0.4, rel=1e-6)


# -- the belief ----------------------------------------------------------------------------------------------------


def test_the_belief_in_the_mats_resistance_is_log_uniform_and_never_leaves_its_ends():
    belief = LogUniform(1.0, 5.0)
    assert (belief.mean, belief.standard_deviation) == pytest.approx((2.485, 1.131), abs=5e-4)
    told = (1.084, 1.495, 2.236, 3.344, 4.613)
    assert belief.quantile(np.array([0.05, 0.25, 0.5, 0.75, 0.95])) == pytest.approx(told, abs=5e-4)
    drawn = belief.sample(np.random.default_rng(3), 100_000)
    assert drawn.min() >= 1.0 and drawn.max() <= 5.0
    assert drawn.mean() == pytest.approx(belief.mean, rel=5e-3)
