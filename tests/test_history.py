"""Signals over time to steady windows, windows to rounds, and the command that does both."""

from __future__ import annotations

import importlib.machinery
import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from test_survey_commands import ran, refused
from test_survey_series import related
from thinstock.case import load
from thinstock.survey import SurveyError, effective_size, read_round, trend_test
from thinstock.survey import historian as files
from thinstock.survey.clock import length, seconds, written
from thinstock.survey.historian import Series, bundled_or
from thinstock.survey.window_change import compare_windows
from thinstock.survey.windows import Record, find_windows, merged, step_down, values_needed

SIGNALS = ("facial-roll", "facial-roll-laboratory")
BERLIN = "Europe/Berlin"


def series(value: np.ndarray, step: float = 60.0, unit: str = "m3/h") -> Series:
    return Series(step * np.arange(value.size), value, unit, {})


@pytest.fixture(scope="module")
def signals() -> dict[str, Series]:
    return merged(files.read_files([bundled_or(name) for name in SIGNALS]))


# -------------------------------------------- windows


def test_the_length_follows_from_the_memory_of_the_slowest_signal():
    quick, slow = related(np.random.default_rng(1), 1, 3000, 0.3)[0], related(np.random.default_rng(2), 1, 3000, 0.9)[0]
    found = find_windows({"quick": series(quick), "slow": series(slow)})
    by_tag = {r.tag: r for r in found.records}
    assert 0.8 < by_tag["slow"].memory < 0.95 and by_tag["quick"].memory < 0.45
    assert by_tag["quick"].wanted == 60 * 60.0
    assert found.length >= by_tag["slow"].wanted > by_tag["quick"].wanted
    assert all(w.held["slow"].size > 5.0 for w in found.windows)


@pytest.mark.parametrize("r", [0.0, 0.6, 0.95])
def test_as_many_values_are_asked_for_as_hold_ten_independent_ones(r):
    n = values_needed(r)
    assert effective_size(n, r) >= 10.0
    assert n == 60 or effective_size(n - 1, r) < 10.0


def test_steps_between_grades_are_no_memory():
    noise = related(np.random.default_rng(3), 1, 3600, 0.5)[0]
    stepped = noise + 20.0 * np.repeat(np.arange(6), 600)
    records = find_windows({"a": series(noise), "b": series(stepped)}).records
    assert abs(records[0].memory - records[1].memory) < 0.05


def test_steady_windows_are_kept_and_drifting_ones_are_named():
    value = related(np.random.default_rng(4), 1, 1200, 0.5)[0]
    value[600:720] += np.linspace(0.0, 8.0, 120)
    value[720:] += 8.0
    found = find_windows({"a": series(value)}, length=7200.0)
    assert [w.drifting for w in found.windows] == [("a",) if k == 5 else () for k in range(10)]
    assert len(found.steady) == 9
    one = found.windows[2].held["a"]
    assert_allclose([one.change, one.change_uncertainty, one.probability], trend_test(value[240:360]), rtol=1e-9)


def test_asking_many_signals_keeps_the_alarm_of_one():
    rows = related(np.random.default_rng(5), 12, 24_000, 0.7)
    found = find_windows({f"t{k}": series(x) for k, x in enumerate(rows)}, length=7200.0)
    alarms = np.mean([bool(w.drifting) for w in found.windows])
    assert len(found.windows) == 200
    assert 0.005 < alarms < 0.10


def test_a_window_with_holes_is_not_used_and_a_flat_signal_is_told():
    value = related(np.random.default_rng(6), 1, 600, 0.3)[0]
    whole = series(value)
    keep = np.ones(600, dtype=bool)
    keep[130:170] = False
    holed = Series(whole.time[keep], whole.value[keep], "", {})
    found = find_windows({"holed": holed, "flat": series(np.full(600, 7.0))}, length=7200.0)
    assert [w.missing for w in found.windows] == [(), ("holed",), (), (), ()]
    assert all(w.flat == ("flat",) for w in found.windows)
    assert [r.flat for r in found.records] == [False, True]
    assert not found.windows[1].steady and len(found.steady) >= 3


def test_a_slow_laboratory_is_averaged_but_decides_nothing():
    meter = series(related(np.random.default_rng(7), 1, 1440, 0.4)[0])
    laboratory = series(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), 14_400.0)
    found = find_windows({"meter": meter, "laboratory": laboratory}, length=14_400.0)
    assert [w.held["laboratory"].mean for w in found.windows] == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    assert np.isnan(found.windows[0].held["laboratory"].standard_uncertainty)
    assert len(found.steady) >= 5


def test_the_smallest_chance_is_held_against_all_signals_and_then_the_next():
    assert step_down({"a": 0.001, "b": 0.02, "c": 0.5}) == ("a", "b")
    assert step_down({"a": 0.02, "b": 0.03, "c": 0.5}) == ()
    assert step_down({}) == ()


def test_files_of_one_signal_are_joined_in_order_and_two_units_are_refused():
    a, b = series(np.arange(5.0)), Series(np.array([240.0, 300.0]), np.array([9.0, 10.0]), "m3/h", {"quality": 1})
    joined = merged([{"x": b}, {"x": a}])["x"]
    assert joined.value.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0, 10.0]
    assert dict(joined.dropped) == {"quality": 1, "repeated": 1}
    with pytest.raises(SurveyError, match="different units"):
        merged([{"x": a}, {"x": Series(b.time, b.value, "L/s", {})}])


def test_no_room_for_a_window_and_signals_without_values_are_refused():
    short = series(np.random.default_rng(8).normal(size=30))
    with pytest.raises(SurveyError, match="too short for one window"):
        find_windows({"a": short})
    with pytest.raises(SurveyError, match="one value"):
        find_windows({"a": Series(np.array([5.0]), np.array([1.0]), "", {})})
    with pytest.raises(SurveyError, match="more than the"):
        find_windows(
            {"a": Series(np.array([0.0, 1.0, 1e10]), np.array([1.0, 2.0, 3.0]), "", {})}, length=60.0, end=1e10
        )
    with pytest.raises(SurveyError, match="no value"):
        find_windows({"a": Series(np.zeros(0), np.zeros(0), "", {"quality": 9})})
    assert find_windows({"a": short}, length=1800.0, start=0.0, end=1800.0).windows[0].held["a"].count == 30


# -------------------------------------------- two windows


def pair(
    seed: int, moved: tuple[float, ...], count: int = 6
) -> tuple[dict[str, Series], tuple[float, float], tuple[float, float]]:
    rows = related(np.random.default_rng(seed), count, 480, 0.6)
    for row, step in zip(rows, moved):
        row[240:] += step
    return {f"t{k}": series(x) for k, x in enumerate(rows)}, (0.0, 14_400.0), (14_400.0, 28_800.0)


def test_only_what_moved_is_claimed():
    found = compare_windows(*pair(9, (2.0, 0.0, -2.0)))
    assert found.probability < 1e-6 and found.rank == 6
    assert [m.tag for m in found.moved if m.claimed] == ["t0", "t2"]
    assert abs(found.moved[0].difference - 2.0) < 3.0 * found.moved[0].standard_uncertainty


def test_where_nothing_moved_little_is_claimed():
    found = [compare_windows(*pair(seed, ())) for seed in range(40)]
    assert sum(any(m.claimed for m in one.moved) for one in found) <= 5
    assert np.mean([one.probability < 0.05 for one in found]) <= 0.175


def test_signals_that_say_nothing_are_left_out_by_name():
    signals, before, after = pair(10, (2.0,))
    signals["flat"] = series(np.full(480, 3.0))
    found = compare_windows(signals, before, after)
    assert found.left_out == ("flat",)
    with pytest.raises(SurveyError, match="ten values"):
        compare_windows({"flat": signals["flat"]}, before, after)
    with pytest.raises(SurveyError, match="after the begin"):
        compare_windows(signals, (5.0, 5.0), after)


def test_the_felt_that_was_changed_at_noon_is_seen_in_the_bundled_signals():
    spans = ("--before", "2026-03-29 07:00", "2026-03-29 13:00", "--after", "2026-03-29 13:00", "2026-03-29 19:00")
    said = ran("history", "facial-roll", *spans)
    assert max(map(len, said.splitlines())) <= 104 and "Something changed" in said
    data = json.loads(ran("history", "facial-roll", *spans, "--json"))
    claimed = {s["tag"] for s in data["signals"] if s["claimed"]}
    assert {"steam", "gas", "hood air"} <= claimed
    assert "belong together" in refused("history", "facial-roll", "--before", "a", "b")


# -------------------------------------------- times


def test_times_and_lengths_are_read_and_written_with_their_zone():
    at = seconds("2026-07-01 12:00", BERLIN, "--from")
    assert written(at, BERLIN) == "2026-07-01 12:00+02:00"
    assert seconds("2026-07-01 10:00Z", None, "--from") == at == seconds("2026-07-01 12:00+02:00", BERLIN, "--from")
    assert (length("2 h", "--find"), length("90min", "--find"), length("0.5 d", "--find")) == (7200, 5400, 43200)
    for wrong in ("2026-03-29 02:30", "noon", "03/04/2026 01:00"):
        with pytest.raises(SurveyError):
            seconds(wrong, BERLIN, "--from")
    with pytest.raises(SurveyError, match="no zone"):
        seconds("2026-07-01 12:00", None, "--from")
    for wrong in ("2", "0 h", "-1 h", "two hours"):
        with pytest.raises(SurveyError, match="length of time"):
            length(wrong, "--find")


# -------------------------------------------- the bundled signals and the command


def test_the_bundled_signals_are_what_their_script_writes():
    script = Path(__file__).parent.parent / "scripts" / "histories"
    loader = importlib.machinery.SourceFileLoader("histories", str(script))
    spec = importlib.util.spec_from_loader("histories", loader)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    loader.exec_module(module)
    for name, text in (("", module.signals()), ("-laboratory", module.laboratory()), ("-tags", module.tags())):
        assert bundled_or(f"facial-roll{name}").read_text(encoding="utf-8") == text
        assert "No mill was measured" in text


def test_the_night_in_which_the_clock_went_forward_has_no_hole(signals):
    assert_allclose(np.diff(signals["steam"].time), 120.0)
    assert dict(signals["reject flow"].dropped) == {"no number": 3}
    assert signals["steam"].unit == "t/h" and signals["press dryness"].value.size == 12


def test_the_command_tells_signals_and_windows():
    said = ran("history", *SIGNALS)
    assert max(map(len, said.splitlines())) <= 104
    for words in ("hood air", "Windows of 6 h", "3 of 4 windows are steady", "no drift was found"):
        assert words in " ".join(said.split())
    data = json.loads(ran("history", *SIGNALS, "--json"))
    assert data["steady"] == 3 and len(data["windows"]) == 4 and data["length"] == 21_600.0
    assert data["windows"][0]["held"]["steam"]["count"] == 180


def test_steady_windows_become_rounds_that_a_survey_reads(tmp_path):
    out = tmp_path / "rounds"
    given = ("history", *SIGNALS, "--tags", "facial-roll", "--machine", "facial-roll")
    ran(*given, "--out", str(out))
    made = sorted(p.name for p in out.iterdir())
    assert made == ["round-20260328T170000Z.csv", "round-20260329T050000Z.csv", "round-20260329T110000Z.csv"]
    machine = load("facial-roll")
    first, last = (read_round(out / name, machine) for name in (made[0], made[-1]))
    assert float(first.machine.get("yankee.speed")) * 60 == pytest.approx(1750.0, abs=0.3)
    assert float(last.machine.get("yankee.speed")) * 60 == pytest.approx(1785.0, abs=0.3)
    steam = next(r for r in first.survey.readings if r.stream == "steam")
    assert steam.value == pytest.approx(8.883 / 3.6, rel=0.01)
    assert steam.standard_uncertainty > 0.02 * steam.value
    assert "180 values" in steam.method
    assert "the trend test" in first.survey.heading["steady"]
    said = refused(*given, "--out", str(out))
    assert "is there already" in said and made[0] in said


def test_one_window_is_taken_as_it_is_and_says_so(tmp_path):
    given = ("history", *SIGNALS, "--tags", "facial-roll", "--from", "2026-03-29 04:00", "--to", "2026-03-29 07:00")
    ran(*given, "--out", str(tmp_path))
    (file,) = tmp_path.iterdir()
    assert "# steady: no" in file.read_text(encoding="utf-8")


def test_what_tags_leave_open_is_refused_with_its_line(tmp_path):
    tags = tmp_path / "tags.csv"
    head = "tag,stream,quantity,unit,uncertainty,coverage_factor,group\n"
    tags.write_text(
        head + "steam,steam,flow,,,1,\nspeed,speed,setting,,1,,\ngas,gas,power,kW,1 % of value,1,\n"
        "fan flow,fun,flow,,1 % of value,1,\n",
        encoding="utf-8",
    )
    said = refused("history", "facial-roll", "--tags", str(tags), "--machine", "facial-roll")
    for words in ("line 2: uncertainty", "line 3: uncertainty", "line 3: stream", "line 5: stream = fun", "fan"):
        assert words in said
    tags.write_text(head + "gas,gas,power,kW,1 % of value,1,\n", encoding="utf-8")
    assert "states MW for gas" in refused("history", "facial-roll", "--tags", str(tags))
    tags.write_text(head + "gass,gas,power,kW,1 % of value,1,\n", encoding="utf-8")
    assert "is no tag of this file" in refused("history", "facial-roll", "--tags", str(tags))
    assert "--tags FILE" in refused("history", "facial-roll", "--out", str(tmp_path / "x"))


def test_a_record_without_memory_wants_no_length():
    flat = Record(tag="a", unit="", count=5, dropped={}, start=0.0, end=4.0, step=1.0, memory=float("nan"), flat=True)
    assert np.isnan(flat.wanted)


# -------------------------------------------- pictures


@pytest.mark.slow
def test_the_picture_shows_every_signal_in_its_order_and_the_steady_windows(signals, tmp_path):
    from thinstock.drawing.history_charts import history_spec, signal_rows

    found = find_windows(signals)
    rows = signal_rows(signals, found)
    spec = history_spec(rows, "a", "b")
    assert spec["facet"]["row"]["sort"] == [f"{r.tag}, {r.unit}" for r in found.records]
    steam = [r for r in rows if r["name"] == "steam, t/h"]
    assert sum(r["kind"] == "steady" for r in steam) == len(found.steady)
    bands = [r for r in steam if r["kind"] == "band"]
    assert len(bands) == 240 and all(r["low"] <= r["middle"] <= r["high"] for r in bands)
    assert {r["kind"] for r in rows if r["name"].startswith("press dryness")} == {"steady", "read"}
    place = tmp_path / "signals.svg"
    ran("history", *SIGNALS, "--svg", str(place))
    text = place.read_text(encoding="utf-8")
    assert text.startswith("<svg") and "hood air" in text and "http" not in text.replace("http://www.w3.org", "")
