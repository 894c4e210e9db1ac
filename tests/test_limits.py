"""Speed limits: at its limit a part is just able to do its duty, and the lowest limit is the bottleneck."""

from __future__ import annotations

import numpy as np
import pytest

import thinstock
import thinstock.machine.limits
from thinstock.machine.duty import Duty
from thinstock.machine.limit_search import CLOSE, LEAST, End, Trials, narrowed
from thinstock.machine.limits import asked_of, at_bound, limits


@pytest.fixture(scope="module")
def machine():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def table(machine):
    return limits(machine)


def row(table, part):
    return next(r for r in table if r.part == part)


def test_just_below_the_drying_limit_the_reel_is_dry_enough_and_just_above_it_is_not(machine, table):
    speed = row(table, "drying").speed
    wanted = float(machine.grade.reel_dryness)
    hardest = at_bound(machine)
    below = float(hardest.with_({"yankee.speed": speed * 0.999}).run()["reel_dryness_reached"])
    above = float(hardest.with_({"yankee.speed": speed * 1.001}).run()["reel_dryness_reached"])
    assert above < wanted < below


def test_at_its_limit_a_pump_gives_just_what_it_can(machine, table):
    at = machine.with_({"yankee.speed": row(table, "fan pump, flow").speed}).run()
    flow = at.wet.delivery.fan_flow_per_width * machine.width
    assert float(flow) == pytest.approx(float(machine.headbox.fan_pump_flow_limit), rel=1e-3)


def test_the_lowest_limit_gives_out_first(table):
    most = [r.speed for r in table if r.scope in ("highest", "window") and r.speed is not None]
    assert table.binding.speed == min(most)
    assert sum(r.binding for r in table) == 1


def test_a_limit_nobody_gave_is_not_known_and_never_unlimited(machine):
    open_machine = machine.with_({"headbox.fan_pump_flow_limit": None, "yankee.speed_limit": None})
    for part in ("fan pump, flow", "rated speed"):
        one = row(limits(open_machine), part)
        assert one.scope == "not known"
        assert one.speed is None


def test_the_press_load_does_not_depend_on_speed(table):
    one = next(r for r in table if r.part.startswith("press load"))
    assert one.scope == "none" and "does not depend on speed" in one.note


def test_a_press_load_without_certificate_says_that_it_was_not_checked(machine):
    unchecked = machine.with_({"press.nip.suction_pressure_roll.line_load_limit": None})
    one = next(r for r in limits(unchecked) if r.part.startswith("press load"))
    assert one.scope == "not known" and "NOT checked" in one.note


def test_a_mat_that_resists_more_lowers_the_drainage_limit(machine):
    slow = machine.with_({"stock.resistance_factor": 12.0, "headbox.consistency": 1.5e-3})
    slower = machine.with_({"stock.resistance_factor": 20.0, "headbox.consistency": 1.5e-3})
    speeds = [row(limits(m), "drainage").speed for m in (slow, slower)]
    assert all(s is not None for s in speeds)
    assert speeds[1] < speeds[0]


def test_the_window_of_practice_stands_apart_and_has_no_source(table):
    window = row(table, "stability window")
    assert window.scope == "window"
    assert "no source" in window.status


def test_the_limits_do_not_change_the_machine(machine):
    before = [np.asarray(v) for _, v in machine.addresses() if isinstance(v, float)]
    limits(machine)
    after = [np.asarray(v) for _, v in machine.addresses() if isinstance(v, float)]
    assert all(a == b for a, b in zip(before, after, strict=True))


def test_what_a_part_does_now_is_told_even_where_its_limit_is_not_known(machine, table):
    address = {
        "fan pump, flow": "headbox.fan_pump_flow_limit",
        "silo": "loop.silo_flow_limit",
        "hood exhaust": "hood.exhaust_flow_limit",
        "headbox, lowest flow": "headbox.headbox_flow_limit_low",
    }
    unknown = limits(machine.with_(dict.fromkeys(address.values())))
    for part in address:
        one = row(unknown, part)
        assert (one.scope, one.bound, one.speed) == ("not known", None, None)
        assert one.value == pytest.approx(row(table, part).value)


def test_a_part_that_no_sheet_reaches_does_nothing_now(machine):
    found = limits(machine.with_({"stock.resistance_factor": 20.0}))
    assert all(
        row(found, part).value is None for part in ("vacuum, pumps", "vacuum, dryness", "felt", "drying", "burner")
    )
    assert row(found, "fan pump, flow").value is not None


def test_a_part_past_its_limit_now_stands_first_and_says_where_it_holds(machine):
    found = limits(machine.with_({"yankee.speed": 20.0}))
    first = found.binding
    assert first is found.over[0] and first.id == "vacuum_pumps"
    assert first.over and first.share == pytest.approx(first.value / first.bound) and first.share > 1
    assert first.speed_low == pytest.approx(row(limits(machine), "vacuum, pumps").speed_low, rel=1e-3)
    at = machine.with_({"yankee.speed": first.speed_low}).run()
    assert thinstock.machine.limits.margins(at)["vacuum_pumps"] == pytest.approx(0, abs=2e-3)


def test_a_part_that_gives_out_on_the_way_down_is_found_too(table):
    assert table.slower.id == "vacuum_pumps" and table.slower.speed_low < table.speed < table.faster.speed_high


@pytest.mark.parametrize("speed", [12.0, 20.0, 30.0, 40.0])
def test_limits_and_the_map_call_the_same_parts_passed(machine, speed):
    changed = machine.with_({"yankee.speed": speed})
    beyond = {key for key, margin in thinstock.machine.limits.margins(changed.run()).items() if margin < 0}
    over = {one.key for one in limits(changed).over if one.scope != "window" and one.id != "drying"}
    assert over == beyond


def test_no_part_is_ever_told_at_no_speed(machine):
    from thinstock.tell import limits as told
    from thinstock.words.figures import Edge

    never = machine.with_({"headbox.slice_opening_limit": 5e-3})
    found = limits(never)
    first = found.binding
    assert first.id == "slice" and first.speed is None
    said = told.first_out(found, Edge(unit_set="mill", air=101325.0), "said")
    assert "does its duty at no speed" in said and " 0 m/min" not in said


def test_a_part_that_does_its_duty_down_to_the_least_speed_ends_there() -> None:
    class Always:
        """Trials in which every speed is good."""

        way = ("",)

        def margins(self, speeds, among):
            return {0: np.ones_like(speeds)}

    end = End(way=-1, cell=(-0.4, -0.3), guesses=[-0.35], grid_step=0.1)
    assert narrowed(Always(), {(0, 0): end}) == {(0, 0): LEAST}


def _margins(machine, key, speeds):
    """Exact margins of one duty at some speeds."""
    duties = [row for row in asked_of(machine) if isinstance(row, Duty)]
    trials = Trials(machine, at_bound(machine), duties)
    i = next(i for i, duty in enumerate(duties) if duty.key == key)
    return trials.margin(duties[i], trials.run(np.array(speeds), (trials.way[i],))[trials.way[i]])


@pytest.mark.parametrize("name", ["facial-roll", "facial-flat-wire", "cigarette-flat-wire-foils", "board-three-nips"])
def test_every_end_that_was_searched_holds_just_inside_and_fails_just_outside(name):
    machine = thinstock.load(name)
    searched = {row.key for row in asked_of(machine) if isinstance(row, Duty)}
    step, tried = 2.5 * CLOSE, 0
    for found in (one for one in limits(machine) if one.key in searched):
        for speed, way in ((found.speed_low, -1), (found.speed_high, 1)):
            if speed is not None:
                inside, outside = _margins(machine, found.key, [speed * (1 - way * step), speed * (1 + way * step)])
                assert outside < 0 <= inside, (found.key, way)
                tried += 1
    assert tried > 4


@pytest.mark.parametrize("name, factor", [("facial-flat-wire", 1.0), ("bath-open-breast-roll", 4.0)])
def test_a_sheet_that_forms_in_the_last_pulse_at_many_speeds_ends_at_the_fastest_of_them(name, factor):
    """The end of forming stands still at the last table roll; the limit is where no sheet is formed any more."""
    machine = thinstock.load(name).with_({"stock.resistance_factor": factor})
    speed = row(limits(machine), "drainage").speed_high
    scan = np.linspace(0.99, 1.01, 201) * speed
    holds = _margins(machine, "drainage", scan) >= 0
    last = scan[np.flatnonzero(holds)[-1]]
    assert np.all(holds[: int(holds.sum())]) and abs(last / speed - 1) < 2 * CLOSE


def test_a_part_that_needs_a_sheet_gives_out_where_no_sheet_is_formed_any_more():
    """The burner has room to spare where the sheet ends: its margin jumps there, between two places of the grid."""
    machine = thinstock.load("napkin-flat-wire-foils").with_({"stock.resistance_factor": 4.0})
    speed = row(limits(machine), "burner").speed_high
    inside, outside = _margins(machine, "burner", [speed * (1 - 2.5 * CLOSE), speed * (1 + 2.5 * CLOSE)])
    assert inside > 0 > outside


def test_a_burner_that_the_fans_make_needless_is_past_its_turndown():
    """Hot fans and a set air temperature below what they give: the burner is off, and that is a limit, not a note."""
    machine = thinstock.load("facial-roll").with_({
        "hood.air_temperature": 373.15, "hold_reel_dryness_by": "nothing", "hood.heat_recovery": 0.9,
        "hood.fan_pressure": 2.5e4,
    })  # fmt: skip
    turndown = row(limits(machine), "burner, turndown")
    assert turndown.over and turndown.value < 0 == turndown.bound
    assert limits(machine).binding.id == "burner_turndown"
    assert thinstock.machine.limits.margins(machine.run())["burner_turndown"] < 0


def test_below_the_turndown_speed_the_burner_gives_less_than_it_can_be_turned_down_to():
    machine = thinstock.load("facial-shoe").with_({"hood.burner_power_lowest": 1.5e6})
    turndown = row(limits(machine), "burner, turndown")
    assert turndown.scope == "lowest" and not turndown.over and turndown.speed_high is None
    at = machine.with_({"yankee.speed": turndown.speed_low}).run()
    assert float(at["gas_power"]) == pytest.approx(1.5e6, rel=2e-3)


def test_a_hood_heated_by_steam_has_no_burner_to_turn_down():
    machine = thinstock.load("facial-roll").with_({
        "hood.heating": "steam", "hood.air_temperature": 433.15, "hood.air_temperature_limit": 473.15,
    })  # fmt: skip
    assert not [one for one in limits(machine) if one.id == "burner_turndown"]


@pytest.mark.parametrize("name", ["facial-roll", "facial-flat-wire", "board-two-shoes"])
def test_a_run_at_hand_is_not_run_again_for_its_limits(name, monkeypatch):
    machine = thinstock.load(name)
    result = machine.run()
    dried = []
    run = Trials.run

    def counted(trials, speeds, dryers, **how):
        dryers = list(dryers)
        dried.append((len(speeds), [way for way in dryers if way], bool(how.get("fast"))))
        return run(trials, speeds, dryers, **how)

    monkeypatch.setattr(Trials, "run", counted)
    anew = limits(machine)
    exact_anew = [ways for count, ways, fast in dried if count == 1 and not fast]
    dried.clear()
    known = limits(machine, result=result)
    exact_known = [ways for count, ways, fast in dried if count == 1 and not fast]
    assert sum(map(len, exact_known)) == max(sum(map(len, exact_anew)) - 1, 0)
    for one, other in zip(known, anew, strict=True):
        for word in ("speed_low", "speed_high", "share", "value", "margin"):
            told, again = getattr(one, word), getattr(other, word)
            assert told == again or told == pytest.approx(again, rel=1e-12), (one.id, word)
        assert (one.id, one.scope, one.over, one.binding) == (other.id, other.scope, other.over, other.binding)
