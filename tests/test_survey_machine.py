"""A survey on a machine: its own network, its own heat balance, and what two rounds can say of each other."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from invented_survey import ROWS, as_it_stands, simulated, true_values
from thinstock.case import load, machines
from thinstock.survey import (
    Reading,
    Survey,
    SurveyError,
    changes,
    cross_covariance,
    evaporation_by_heat,
    findings_of,
    network_of_machine,
    read_round,
    read_survey,
    reconcile,
)
from thinstock.survey.round import round_of, table_path

NAMES = [m.name for m in machines()]
HEAD = "stream,quantity,value,unit,uncertainty,coverage_factor,method,group,note\n"


def table(folder: Path, *rows: str, heading: str = "") -> Path:
    place = folder / "readings.csv"
    place.write_text(f"{heading}{HEAD}" + "\n".join(rows) + "\n", encoding="utf-8")
    return place


def refusal(place: Path, machine: str = "facial-roll") -> str:
    with pytest.raises(SurveyError) as error:
        read_round(place, load(machine))
    return str(error.value)


# -------------------------------------------- the network


@pytest.mark.parametrize("name", NAMES)
def test_every_bundled_machine_is_a_network_whose_own_run_closes_it(name):
    fines = Reading("jet", "share:fines", 0.2, 0.01)
    warm = Reading("jet", "temperature", 313.15, 0.5)
    found = network_of_machine(load(name), [fines, warm])
    network = found.network
    incidence = network.incidence()
    flow = np.array([found.start[s, "flow"] for s in network.streams])
    assert np.abs(incidence @ flow).max() < 1e-12 * flow.max()
    for component in ("fibre", "fines"):
        carried = flow * np.array([found.start[s, f"consistency:{component}"] for s in network.streams])
        assert np.abs(incidence @ carried).max() < 1e-12 * carried.max()
    assert {"wire_shower", "felt_shower", "vapour"} <= set(network.clean)
    assert ("fan", "jet") in network.same_composition and ("fan", "reject") in network.same_composition
    assert "heat" in network.components


def test_waters_that_may_carry_fibre_are_free_of_it_only_until_someone_reads_them():
    machine = load("facial-roll")
    plain = network_of_machine(machine)
    assert plain.free_of_fibre == ("vacuum_water: felt vacuum", "nip_water: suction pressure roll", "felt_water")
    read = network_of_machine(machine, [Reading("felt_water", "consistency", 5e-4, 1e-4)])
    assert read.free_of_fibre == ("vacuum_water: felt vacuum",)
    assert "fines" not in plain.network.components


def test_a_machine_that_forms_no_sheet_still_gives_its_network_and_one_that_never_can_is_refused():
    machine = load("facial-roll")
    slow = machine.with_({"stock.resistance_factor": 9.0})
    assert not bool(slow.run().values["formed"])
    assert network_of_machine(slow).network.streams == network_of_machine(machine).network.streams
    with pytest.raises(SurveyError, match="forms no sheet"):
        network_of_machine(machine.with_({"stock.resistance_factor": 50.0, "headbox.consistency": 5e-4}))


@pytest.mark.parametrize("name", ["facial-roll", "bath-twin-wire-s", "board-three-nips", "tea-bag-inclined-wire"])
def test_readings_without_error_reconcile_to_themselves(name):
    machine = as_it_stands(load(name), {})
    rows = [r for r in ROWS if r[0] in network_of_machine(machine).network.streams]
    values = true_values(machine, rows)
    survey = Survey(tuple(Reading(s, q, v, 0.02 * v) for (s, q, _), v in zip(rows, values)))
    round_ = round_of(survey, machine)
    found = reconcile(round_.network.network, survey, start=round_.network.start)
    assert found.result.statistic < 1e-12
    assert found.closure < 1e-9
    for (stream, quantity, _), value in zip(rows, values):
        assert found.value[stream, quantity] == pytest.approx(value, rel=1e-7)


# -------------------------------------------- heat


@pytest.mark.parametrize(
    "name", ["facial-roll", "bath-twin-wire-s", "towel-twin-wire-suction-roll", "facial-shoe-steel"]
)
def test_the_heat_balance_of_a_run_gives_back_its_evaporation(name):
    machine = as_it_stands(load(name), {})
    rows = [r for r in ROWS if r[0] in ("steam", "gas", "exhaust", "reel")]
    values = true_values(machine, rows)
    survey = Survey(tuple(Reading(s, q, v, 0.01 * v) for (s, q, _), v in zip(rows, values)))
    network = network_of_machine(machine)
    found = evaporation_by_heat(machine, survey, network)
    assert found is not None
    true = next(float(s.water) for s in network.result.streams if s.name == "vapour") * network.width
    assert found.evaporation == pytest.approx(true, rel=1e-9)
    assert 0.01 < found.standard_uncertainty / found.evaporation < 0.06


def test_the_heat_balance_carries_its_covariance_with_the_readings_it_shares():
    machine = as_it_stands(load("facial-roll"), {})
    round_ = round_of(simulated(machine, 5), machine)
    assert round_.heat is not None
    covariance = round_.balance.covariance()
    names = [(r.stream, r.quantity) for r in round_.balance.readings]
    vapour, dry = names.index(("vapour", "flow")), names.index(("reel", "consistency"))
    number = [(r.stream, r.quantity) for r in round_.survey.readings].index(("reel", "consistency"))
    slope = round_.heat.slopes[number]
    u = round_.survey.readings[number].standard_uncertainty
    assert covariance[vapour, dry] == covariance[dry, vapour] == pytest.approx(slope * u**2)
    assert np.linalg.eigvalsh(covariance / np.outer(*[np.sqrt(np.diag(covariance))] * 2))[0] > 0
    for other in ("web_pressed", "vapour"):
        read = Reading(other, "consistency" if other == "web_pressed" else "flow", 0.4, 0.01)
        again = Survey((*round_.survey.readings, read))
        assert evaporation_by_heat(machine, again, round_.network) is None, "what was read is not worked out as well"


# -------------------------------------------- findings


def test_the_bundled_survey_fails_and_its_planted_error_is_in_the_first_set():
    found = findings_of(read_round("facial-roll", load("facial-roll")))
    assert not found.passed
    first = found.doubts[0]
    assert [[" ".join(found.rows[i].key) for i in members] for members in first.sets] == [["jet flow"]]
    assert first.biases[0][0] > 0, "it was made to read high"
    assert "invented" in found.round.name.lower()
    assert any("screens" in b.node and b.score < -3 for b in found.imbalances)
    mended = findings_of(found.round, without=["jet flow"])
    assert mended.passed and mended.set_aside == (("jet", "flow"),)


def test_the_bundled_survey_is_a_draw_around_its_stated_truth():
    from invented_survey import BUNDLED_PLANTED, bundled_truth

    round_ = read_round("facial-roll", load("facial-roll"))
    machine = bundled_truth()
    rows = [(r.stream, r.quantity, "") for r in round_.survey.readings]
    for reading, value in zip(round_.survey.readings, true_values(machine, rows)):
        off = (reading.value - value) / reading.standard_uncertainty
        if (reading.stream, reading.quantity) == BUNDLED_PLANTED:
            assert off > 4
        else:
            assert abs(off) < 3


def test_a_reading_is_set_aside_by_number_or_by_name_and_an_unknown_one_is_refused():
    round_ = read_round("facial-roll", load("facial-roll"))
    assert findings_of(round_, without=["6"]).set_aside == findings_of(round_, without=["jet flow"]).set_aside
    with pytest.raises(SurveyError, match="is no reading of the balance"):
        findings_of(round_, without=["jet speed"])


def test_a_round_that_nothing_checks_is_refused_with_what_would_check_it(tmp_path):
    place = table(tmp_path, "thick,flow,70,kg/s,1 % of value,1,,,", "thick,consistency,3,%,2 % of value,1,,,")
    with pytest.raises(SurveyError, match=r"nothing can be checked.*Add some of: reel solids"):
        findings_of(read_round(place, load("facial-roll")))


def test_two_readings_that_cannot_be_told_apart_are_one_doubt_with_two_sets():
    """Fan and jet with a reject much surer than both: only their difference is checked."""
    machine = load("facial-roll")
    start = network_of_machine(machine).start
    fan, jet, reject = (start[s, "flow"] for s in ("fan", "jet", "reject"))
    survey = Survey(
        (
            Reading("fan", "flow", fan * 1.2, 0.01 * fan),
            Reading("jet", "flow", jet, 0.01 * jet),
            Reading("accept", "flow", jet * 1.001, 0.01 * jet),
            Reading("reject", "flow", reject, 0.01 * reject),
        )
    )
    found = findings_of(round_of(survey, machine))
    assert not found.passed
    names = [[" ".join(found.rows[i].key) for i in s] for s in found.doubts[0].sets]
    assert sorted(names) == [["fan flow"], ["reject flow"]]


def test_what_to_read_next_makes_values_surer():
    rows = findings_of(read_round("facial-roll", load("facial-roll"))).next_readings
    assert 0 < len(rows) <= 5
    assert all(n.after < n.before for n in rows)
    assert [n.gain for n in rows] == sorted((n.gain for n in rows), reverse=True)


# -------------------------------------------- two rounds


def test_a_shared_meter_cancels_between_two_rounds():
    machine = load("facial-roll")
    start = network_of_machine(machine).start

    def round_with(shower: float, group: tuple[tuple[str, float], ...]):
        rows = [
            Reading("wire_shower", "flow", shower, 0.5, group=group),
            Reading("thick", "flow", start["thick", "flow"], 0.7),
            Reading("fan", "flow", start["fan", "flow"], 45.0),
            Reading("jet", "flow", start["jet", "flow"], 45.0),
            Reading("reject", "flow", start["reject", "flow"], 0.6),
        ]
        return findings_of(round_of(Survey(tuple(rows)), machine))

    shared = (("shower meter", 0.96),)
    one = {(c.stream, c.quantity): c for c in changes(round_with(14.0, shared), round_with(14.5, shared))}
    two = {(c.stream, c.quantity): c for c in changes(round_with(14.0, ()), round_with(14.5, ()))}
    key = ("wire_shower", "flow")
    assert one[key].standard_uncertainty == pytest.approx(0.5 * np.sqrt(2 * 0.04))
    assert two[key].standard_uncertainty == pytest.approx(0.5 * np.sqrt(2))
    assert one[key].claimed and not two[key].claimed
    assert one[key].claimable == pytest.approx(1.96 * one[key].standard_uncertainty)


def test_covariance_between_rounds_follows_the_names_of_the_groups():
    a = Survey((Reading("x", "flow", 1.0, 2.0, group=(("m", 0.4),)), Reading("y", "flow", 1.0, 1.0)))
    b = Survey((Reading("x", "flow", 1.0, 3.0, group=(("m", 0.4), ("n", 0.1))),))
    assert cross_covariance(a, b) == pytest.approx(np.array([[2.4], [0.0]]))


def test_the_difference_of_two_rounds_has_the_spread_it_states():
    """Simulated pairs of rounds on an unchanged machine: the change over its uncertainty has a spread of one."""
    machine = as_it_stands(load("facial-roll"), {})
    rows = [r for r in ROWS if r[0] not in ("steam", "gas", "exhaust", "shell", "hood_air", "end_of_forming")]
    rows = [r for r in rows if not r[1].startswith("share")]
    off = []
    for seed in range(30):
        first, second = (findings_of(round_of(simulated(machine, 100 + 2 * seed + k, rows), machine)) for k in (0, 1))
        off += [c.difference / c.standard_uncertainty for c in changes(first, second) if c.stream in ("jet", "thick")]
    assert 0.75 < float(np.std(off)) < 1.25


# -------------------------------------------- what a table may not say


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("white_watr,flow,1400,kg/s,3 % of value,1,,,", "Nearest known: white_water"),
        ("forming_water,consistency,0.04,%,5 % of value,1,,,", "forming_water: forming roll"),
        ("jet,flow,1400,%,3 % of value,1,,,", "is a unit of fraction, not of flow"),
        ("jet,flow,1400,kg/s,,1,,,", "says nothing"),
        ("jet,flow,-3,kg/s,1,1,,,", "negative flow"),
        ('jet,flow,"14,005",kg/s,1,1,,,', "Write 14.005 or 14005"),
        ("jet,flow,=700*2,kg/s,1,1,,,", "begins with ="),
        ("jet,flow,85,m3/min,1,1,,,", "water_density"),
        ("steam,flow,2.6,m3/h,1,1,,,", "water_density"),
        ("steam,dryness,50,%,1,1,,,", "At steam can be read: flow"),
        ("jet,humidity,0.4,kg/kg,0.01,1,,,", "Read it at exhaust"),
        ("end_of_forming,position,70,kg/s,5,1,,,", "deg"),
        ("gas,flow,700,Nm3/h,7,1,,,", "gas_density"),
    ],
)
def test_a_wrong_row_is_refused_with_what_would_work(tmp_path, row, said):
    assert said in refusal(table(tmp_path, row))


def test_a_volume_of_steam_is_refused_even_with_a_water_density(tmp_path):
    place = table(tmp_path, "steam,flow,2.6,m3/h,1,1,,,", heading="# water_density: 990 kg/m3\n")
    assert "is no unit of its flow" in refusal(place)


def test_a_row_pasted_twice_is_refused_and_a_second_reading_is_not(tmp_path):
    row = "jet,flow,1400,kg/s,3 % of value,1,meter,,"
    assert "stands twice, as reading 1" in refusal(table(tmp_path, row, row))
    again = read_round(table(tmp_path, row, row + "second day"), load("facial-roll"))
    assert len(again.survey.readings) == 2


def test_gas_by_normal_volume_becomes_mass_by_its_stated_density(tmp_path):
    place = table(tmp_path, "gas,flow,720,Nm3/h,7,1,,,", heading="# gas_density: 0.75 kg/m3\n")
    (reading,) = read_survey(place).readings
    assert reading.value == pytest.approx(0.15)


def test_positions_keep_the_kind_they_were_read_in(tmp_path):
    rows = ("end_of_forming,position,70,deg,5,1,,,", "end_of_forming,position,0.9,m,0.05,1,,,second eye",
            "end_of_forming,position,44,%,3,1,,,third eye")  # fmt: skip
    found = read_round(table(tmp_path, *rows), load("facial-roll"))
    assert [r.quantity for r in found.beside] == ["position:angle", "position", "position:share"]
    assert [r.value for r in found.beside] == pytest.approx([np.radians(70), 0.9, 0.44])


def test_the_heading_states_settings_of_the_machine(tmp_path):
    heading = "# survey: round of May\n# yankee.speed: 1800 m/min\n# steam_pressure: ignored without a dot\n"
    found = read_round(table(tmp_path, "thick,flow,70,kg/s,1,1,,,", heading=heading), load("facial-roll"))
    assert float(found.machine.yankee.speed) == pytest.approx(30.0)
    assert found.name == "round of May"


def test_wrong_settings_are_refused_together(tmp_path):
    heading = "# yankee.sped: 1800 m/min\n# yankee.steam_pressure: 7 bar\n"
    said = refusal(table(tmp_path, "thick,flow,70,kg/s,1,1,,,", heading=heading))
    assert "yankee.speed" in said and "bar(a)" in said


def test_a_dryer_without_a_yankee_has_no_steam_or_hood_to_read(tmp_path):
    assert "is no stream" in refusal(table(tmp_path, "steam,flow,2,kg/s,0.1,1,,,"), "board-three-nips")


def test_an_uploaded_table_is_never_changed(tmp_path):
    place = tmp_path / "mine.csv"
    place.write_bytes(table_path("facial-roll").read_bytes())
    before = place.read_bytes(), place.stat().st_mtime_ns
    findings_of(read_round(place, load("facial-roll")))
    assert (place.read_bytes(), place.stat().st_mtime_ns) == before


def test_two_machines_with_other_streams_are_not_compared():
    a = findings_of(read_round("facial-roll", load("facial-roll")))
    b = dataclasses.replace(a, round=dataclasses.replace(a.round, network=network_of_machine(load("facial-shoe"))))
    with pytest.raises(SurveyError, match="is a stream of one round only"):
        changes(a, b)
