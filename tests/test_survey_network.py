"""A survey on its network: the reference machine's answers, what is refused, and sizes far beyond a mill's."""

from __future__ import annotations

import time
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

import thinstock.survey.bilinear as bilinear
from invented_networks import invented_network, invented_survey
from thinstock.machine.told import Stream
from thinstock.survey import (
    Network,
    Reading,
    Survey,
    SurveyError,
    critical_score,
    culprit_readings,
    detectable_errors,
    network_from_streams,
    read_network,
    read_survey,
    reconcile,
    reconcile_bilinear,
    smallest_detectable_bias,
    value_of_reading,
)

DATA = Path(__file__).parent / "data"
MACHINE = tomllib.loads((DATA / "reference_tissue_machine.toml").read_text(encoding="utf-8"))
ANSWERS = tomllib.loads((DATA / "survey_reference_machine_answers.toml").read_text(encoding="utf-8"))
PLACE = DATA / "survey_reference_machine.csv"
SAME = [("forming_water", "white_water"), ("forming_water", "overflow"), ("fan", "jet"), ("fan", "reject")]
CLEAN = ["wire_shower", "felt_shower"]


def reference() -> Network:
    return network_from_streams(MACHINE["stream"], MACHINE["components"], clean=CLEAN, same_composition=SAME)


def jet_read_wrong(folder: Path) -> Survey:
    place = folder / "wrong.csv"
    place.write_text(PLACE.read_text(encoding="utf-8").replace("jet,flow,732.3", "jet,flow,915"), encoding="utf-8")
    return read_survey(place)


def check_answers(found, want) -> None:
    keys = [(r.stream, r.quantity) for r in found.survey.readings]
    values = np.array([found.value[k] for k in keys])
    spread = np.array([found.standard_uncertainty[k] for k in keys])
    assert_allclose(values, want["reconciled"], rtol=1e-6)
    assert_allclose(spread / values, want["relative_uncertainty"], atol=6e-6)
    assert_allclose(found.redundancy, want["redundancy"], atol=6e-5)
    assert_allclose(found.score, want["score"], atol=6e-5)
    assert_allclose(found.result.statistic, want["statistic"], rtol=1e-6)
    assert found.result.degrees_of_freedom == want["degrees_of_freedom"]
    assert_allclose(found.result.probability, want["probability"], rtol=1e-4)
    assert_array_equal(found.result.score[found.reading_index], found.score)


def test_the_reference_survey_has_the_known_answers():
    found = reconcile(reference(), read_survey(PLACE))
    check_answers(found, ANSWERS["as_read"])
    for name, (value, spread) in ANSWERS["as_read"]["unmeasured"].items():
        key = tuple(name.split())
        assert_allclose([found.value[key], found.standard_uncertainty[key]], [value, spread], rtol=2e-4)
        assert found.classification[key] == "observable"
    redundant = int(np.sum(found.redundancy > 1e-10))
    assert_allclose(critical_score(redundant, 0.05), ANSWERS["as_read"]["critical_score_5_percent"], rtol=2e-6)
    assert found.closure < 1e-9


def test_a_jet_flow_read_wrong_is_found(tmp_path):
    found = reconcile(reference(), jet_read_wrong(tmp_path))
    want = ANSWERS["jet_flow_read_915"]
    check_answers(found, want)
    jet = 6
    assert (found.survey.readings[jet].stream, int(np.nanargmax(np.abs(found.score)))) == ("jet", jet)
    assert_allclose(found.result.bias[found.reading_index[jet]], want["bias_jet_flow"], rtol=1e-6)
    first, *others = culprit_readings(found, largest=1, significance=0.05)
    assert first.members == (jet,)
    assert_allclose(first.bias, want["bias_jet_flow"], rtol=1e-6)
    assert [s.members for s in others] == [(3,)], "the fan flow alone would explain it too, less well"
    assert any(n.part == "jet flow" and "3.6 standard uncertainties" in n.text for n in found.notes)


def alone(found) -> np.ndarray:
    """What the score of each reading alone would see in four rounds of five, as a share of what was read."""
    u, read = np.array([(r.standard_uncertainty, r.value) for r in found.survey.readings]).T
    return smallest_detectable_bias(u, np.where(found.redundancy < 1e-10, 0.0, found.redundancy), 0.05, 0.8) / read


def test_what_the_reference_survey_can_see():
    """Smallest error found in four of five rounds at 5 %, in per cent of the reading."""
    found = reconcile(reference(), read_survey(PLACE))
    seen = dict(zip([f"{r.stream} {r.quantity}" for r in found.survey.readings], 100 * alone(found)))
    table = {
        "thick flow": 6,
        "web_pressed solids": 6,
        "jet consistency": 10,
        "overflow flow": 16,
        "press_water flow": 25,
        "web_formed consistency": 30,
        "forming_water consistency": 32,
        "web_pressed consistency": 84,
    }
    for name, per_cent in table.items():
        assert abs(seen[name] - per_cent) < 0.6, name
    assert 9.5 < seen["fan flow"] < 11.5 and 9.5 < seen["jet flow"] < 11.5
    assert abs(seen["press_water consistency"] / 1200 - 1) < 0.05
    assert np.isinf(seen["web_pressed share:fines"])


def test_readings_without_errors_come_back_unchanged():
    true = {(s["name"], "flow"): s["flow"] for s in MACHINE["stream"]}
    for s in MACHINE["stream"]:
        true[s["name"], "consistency"] = sum(s["consistency"])
        true[s["name"], "share:fines"] = s["consistency"][1] / max(sum(s["consistency"]), 1e-30)
    rows = [Reading(*key, v, 0.02 * v) for key, v in true.items() if v > 0 and key[0] not in CLEAN]
    found = reconcile(reference(), Survey(tuple(rows)))
    assert found.result.statistic < 1e-8
    for key, value in true.items():
        if key in found.value:
            assert_allclose(found.value[key], value, rtol=1e-6)


def test_two_readings_of_one_quantity_are_tied_and_both_tested():
    survey = read_survey(PLACE)
    thick = survey.readings[0]
    second = replace(thick, value=39.9, given={})
    found = reconcile(reference(), replace(survey, readings=(*survey.readings, second)))
    once = reconcile(reference(), survey)
    assert found.result.degrees_of_freedom == once.result.degrees_of_freedom + 1
    assert found.reading_index[0] != found.reading_index[21]
    both = found.result.value[found.reading_index[[0, 21]]]
    assert_allclose(both[0], both[1], rtol=1e-12)
    assert found.standard_uncertainty["thick", "flow"] < once.standard_uncertainty["thick", "flow"]
    w1, w2 = 1 / thick.standard_uncertainty**2, 1 / second.standard_uncertainty**2
    mean = replace(
        thick, value=(w1 * thick.value + w2 * second.value) / (w1 + w2), standard_uncertainty=(w1 + w2) ** -0.5
    )
    joined = reconcile(reference(), replace(survey, readings=(mean, *survey.readings[1:])))
    assert_allclose(found.value["jet", "flow"], joined.value["jet", "flow"], rtol=1e-9)


def test_readings_of_one_group_are_adjusted_together():
    network = Network({"tank": (["a", "b"], ["c"])})
    group = (("meter", 0.8),)
    rows = [
        Reading("a", "flow", 50.0, 1.0, group=group),
        Reading("b", "flow", 50.0, 1.0, group=group),
        Reading("c", "flow", 103.0, 1.0),
    ]
    found = reconcile(network, Survey(tuple(rows)))
    covariance = np.array([[1, 0.8, 0], [0.8, 1, 0], [0, 0, 1]])
    line = np.array([1, 1, -1.0])
    want = np.array([50, 50, 103]) + covariance @ line * 3 / (line @ covariance @ line)
    assert_allclose([found.value[s, "flow"] for s in "abc"], want, rtol=1e-12)


def test_a_group_that_makes_two_readings_one_is_refused_by_name():
    network = Network({"tank": (["a", "b"], ["c"])})
    rows = [Reading(s, "flow", 50.0, 1.0, group=(("meter", 1.0),)) for s in "ab"] + [Reading("c", "flow", 100.0, 1.0)]
    with pytest.raises(SurveyError, match="a flow and b flow"):
        reconcile(network, Survey(tuple(rows)))


def test_a_network_of_flows_only_needs_no_components():
    network = Network({"tank": (["a", "b"], ["c"])})
    rows = [Reading("a", "flow", 50.0, 1.0), Reading("b", "flow", 50.0, 1.0), Reading("c", "flow", 103.0, 1.0)]
    found = reconcile(network, Survey(tuple(rows)))
    assert_allclose(list(found.value.values()), [51, 51, 102])
    with pytest.raises(SurveyError, match="carries no component"):
        reconcile(network, Survey((*rows, Reading("a", "consistency", 0.03, 0.001))))


def test_heat_is_one_more_component_and_shaft_power_a_known_source():
    """Two waters of 300 and 320 K mix, and a pump adds 1 K: 42 kg/s of unread flow follow from temperatures."""
    network = Network({"pump": (["cold", "warm"], ["out"])}, ["heat"], sources={"pump": {"heat": 4190.0 * 100.0}})
    rows = [
        Reading("cold", "temperature", 300.0, 0.1),
        Reading("warm", "temperature", 320.0, 0.1),
        Reading("out", "temperature", 300 + 0.42 * 20 + 1.0, 0.1),
        Reading("out", "flow", 100.0, 1.0),
        Reading("cold", "flow", 58.0, 3.0),
    ]
    found = reconcile(network, Survey(tuple(rows)))
    assert_allclose(found.value["warm", "flow"], 42.0, rtol=1e-6)
    assert found.result.statistic < 1e-8 and found.result.degrees_of_freedom == 1
    with pytest.raises(SurveyError, match="carries no heat"):
        reconcile(Network({"pump": (["cold", "warm"], ["out"])}), Survey(tuple(rows)))


def test_the_network_route_agrees_with_the_plain_bilinear_one():
    network, true = invented_network(12, 1, 5)
    survey = invented_survey(true, seed=6, read=0.8)
    found = reconcile(network, survey)
    count = len(network.streams) * 2
    value, u, measured = np.full(count, np.nan), np.ones(count), np.zeros(count, dtype=bool)
    for r in survey.readings:
        at = network.streams.index(r.stream) + (0 if r.quantity == "flow" else len(network.streams))
        value[at], u[at], measured[at] = r.value, r.standard_uncertainty, True
    plain = reconcile_bilinear(network.incidence(), value, u, components=1, measured=measured)
    assert_allclose(plain.value, found.result.value, rtol=1e-9)
    assert_allclose(plain.statistic, found.result.statistic, rtol=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_invented_networks_close_and_hide_their_truth_within_its_uncertainty(seed):
    network, true = invented_network(40, 2, seed)
    found = reconcile(network, invented_survey(true, seed=seed + 50, read=0.8))
    assert found.closure < 1e-9
    known = [k for k in true if np.isfinite(found.value[k]) and found.standard_uncertainty[k] > 0]
    z = np.array([(found.value[k] - true[k]) / found.standard_uncertainty[k] for k in known])
    assert 0.6 < z.std() < 1.5 and np.abs(z).max() < 5.5
    assert 1e-4 < found.result.probability < 1 - 1e-4


@pytest.mark.parametrize(("streams", "read", "seed"), [(12, 0.5, 1), (60, 0.7, 2), (60, 0.4, 2)])
def test_the_sparse_route_agrees_with_the_dense_on_networks(monkeypatch, streams, read, seed):
    network, true = invented_network(streams, 2, seed)
    survey = invented_survey(true, seed=2, read=read)
    dense = reconcile(network, survey)
    monkeypatch.setattr(bilinear, "DENSE_LIMIT", 0)
    sparse = reconcile(network, survey)
    assert_allclose(sparse.result.value, dense.result.value, rtol=1e-7)
    assert_allclose(sparse.result.standard_uncertainty, dense.result.standard_uncertainty, rtol=1e-6)
    assert_allclose(sparse.score, dense.score, rtol=1e-5, atol=1e-8)
    assert sparse.classification == dense.classification
    assert sparse.result.degrees_of_freedom == dense.result.degrees_of_freedom
    assert_allclose(sparse.result.statistic, dense.result.statistic, rtol=1e-8)


def test_a_hundred_streams_with_two_components_take_little_time():
    network, true = invented_network(100, 2, 1)
    survey = invented_survey(true, seed=2, read=0.7)
    start = time.process_time()
    found = reconcile(network, survey)
    assert time.process_time() - start < 6.0, "two seconds on two free cores"
    assert found.result.covariance.shape == (300, 300) and found.closure < 1e-9


def test_the_machines_values_may_serve_as_a_start():
    network, true = invented_network(12, 2, 1)
    survey = invented_survey(true, seed=101, read=0.4)
    found = reconcile(network, survey, start=true)
    assert found.closure < 1e-9 and found.result.degrees_of_freedom == 1


def test_a_survey_that_checks_nothing_is_refused_with_the_readings_that_would_help():
    rows = (Reading("fan", "flow", 750.0, 20.0), Reading("reject", "flow", 11.0, 0.5))
    with pytest.raises(SurveyError, match="nothing can be checked") as error:
        reconcile(reference(), Survey(rows))
    assert error.value.faults[0].remedy.startswith("Add one of: flow jet")


def test_parts_that_no_reading_touches_are_noted():
    network = Network({"one": (["a"], ["b"]), "two": (["c"], ["d"])})
    found = reconcile(network, Survey((Reading("a", "flow", 5.0, 0.1), Reading("b", "flow", 5.1, 0.1))))
    assert any("no reading touches this part of the network: c, d" in n.text for n in found.notes)
    assert found.classification["c", "flow"] == "unobservable"


def test_disagreement_beyond_what_is_stated_is_noted_and_never_scaled_away():
    network = Network({"one": (["a"], ["b"])})
    found = reconcile(network, Survey((Reading("a", "flow", 5.0, 0.1), Reading("b", "flow", 6.0, 0.1))))
    assert any("uncertainties too small, or several errors" in n.text for n in found.notes)
    assert_allclose(found.standard_uncertainty["a", "flow"], 0.1 / np.sqrt(2))


def test_a_value_of_a_reading_is_what_adding_it_brings():
    survey = read_survey(PLACE)
    before = reconcile(reference(), survey)
    u = 0.01 * before.value["white_water", "flow"]
    (gain,) = value_of_reading(reference(), survey, [("white_water", "flow", u)])
    extra = Reading("white_water", "flow", before.value["white_water", "flow"], u)
    after = reconcile(reference(), replace(survey, readings=(*survey.readings, extra)))
    for key in before.value:
        assert_allclose(gain.before[key], before.standard_uncertainty[key], rtol=1e-9)
        assert_allclose(gain.after[key], after.standard_uncertainty[key], rtol=1e-6)
        assert gain.after[key] <= gain.before[key] * (1 + 1e-6)
    assert gain.after["jet", "flow"] < 0.7 * gain.before["jet", "flow"]
    assert gain.redundancy_after["jet", "flow"] > gain.redundancy_before["jet", "flow"]
    (share,) = value_of_reading(reference(), survey, [("press_water", "consistency", 1e-5)])
    assert share.after["press_water", "consistency"] < 0.2 * share.before["press_water", "consistency"]
    (solids,) = value_of_reading(reference(), survey, [("thick", "solids", 0.005)])
    assert solids.after["thick", "flow"] < solids.before["thick", "flow"]


def test_streams_come_in_order_of_first_appearance():
    network = Network({"one": (["a", "b"], ["c"]), "two": (["c"], ["d", "e"])})
    assert network.streams == ("a", "b", "c", "d", "e")
    assert_array_equal(network.incidence(), [[1, 1, -1, 0, 0], [0, 0, 1, -1, -1]])


@pytest.mark.parametrize(
    ("nodes", "more", "words"),
    [
        ({"x": (["a"], ["a"])}, {}, "stream a.*loops from a node to itself"),
        ({"x": (["a"], [])}, {}, "node x: no stream leaves it"),
        ({"x": ([], ["a"])}, {}, "node x: no stream enters it"),
        ({"x": (["a"], ["b"]), "y": (["a"], ["c"])}, {}, "stream a.*enters x too"),
        ({"x": (["a"], ["c"]), "y": (["b"], ["c"])}, {}, "stream c.*leaves x too"),
        ({"x": (["a", "a"], ["b"])}, {}, "enters twice"),
        ({}, {}, "there are none"),
        ({"x": (["alpha"], ["b"])}, {"clean": ["alhpa"]}, "clean = alhpa.*Nearest known: alpha"),
        ({"x": (["a"], ["b"])}, {"same_composition": [("a", "z")]}, "same_composition = z"),
        ({"x": (["a"], ["b"])}, {"components": ["f", "f"]}, "stands twice"),
        ({"x": (["a"], ["b"])}, {"sources": {"y": {"heat": 1.0}}}, "is no node"),
    ],
)
def test_a_network_that_cannot_be_is_refused(nodes, more, words):
    with pytest.raises(SurveyError, match=words):
        Network(nodes, **more)


def test_rows_of_streams_may_be_tuples_mappings_or_records():
    rows = [("a", "outside", "x"), ("b", "x", "y"), ("c", "y", "outside")]
    plain = network_from_streams(rows, [])
    assert plain.streams == ("a", "b", "c")
    assert network_from_streams([dict(zip(("name", "from", "to"), r)) for r in rows], []).streams == plain.streams
    records = [Stream(id=name, source=source, sink=sink) for name, source, sink in rows]
    assert network_from_streams(records, []).nodes == plain.nodes
    with pytest.raises(SurveyError, match="stream = a: stands twice"):
        network_from_streams([*rows, ("a", "outside", "y")], [])
    with pytest.raises(SurveyError, match="loops from a node to itself"):
        network_from_streams([*rows, ("d", "x", "x")], [])


def test_a_network_is_read_from_a_small_file(tmp_path):
    place = tmp_path / "network.csv"
    head = "# components: fibre, fines\n# clean: wire_shower, felt_shower\n"
    head += "# same composition: forming_water = white_water = overflow; fan = jet = reject\n"
    rows = "\n".join(f"{s['name']},{s['from']},{s['to']}" for s in MACHINE["stream"])
    place.write_text(f"{head}stream,from,to\n{rows}\n", encoding="utf-8")
    found = reconcile(read_network(place), read_survey(PLACE))
    assert_allclose(found.result.statistic, ANSWERS["as_read"]["statistic"], rtol=1e-6)
    place.write_text("stream,from\na,b\n", encoding="utf-8")
    with pytest.raises(SurveyError, match="exactly and in this order: stream, from, to"):
        read_network(place)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (Reading("jett", "flow", 1.0, 0.1), "no stream of the network.*Nearest known: jet"),
        (Reading("jet", "share:filler", 0.1, 0.01), "filler.*no component of the network"),
        (Reading("wire_shower", "consistency", 0.01, 0.001), "stated to carry no solids"),
        (Reading("jet", "temperature", 310.0, 1.0), "carries no heat"),
    ],
)
def test_a_reading_that_does_not_fit_the_network_is_refused(reading, words):
    survey = read_survey(PLACE)
    with pytest.raises(SurveyError, match=words):
        reconcile(reference(), replace(survey, readings=(*survey.readings, reading)))


def simulated_round(generator: np.random.Generator, survey: Survey, wrong: float = 1.0) -> Survey:
    """The readings of the reference survey drawn anew around the true state, the jet flow times `wrong`."""
    streams = {s["name"]: s for s in MACHINE["stream"]}
    rows = []
    for r in survey.readings:
        solids = sum(streams[r.stream]["consistency"])
        flow = streams[r.stream]["flow"]
        share = streams[r.stream]["consistency"][1] / solids if solids else 0.0
        true = {"flow": flow, "consistency": solids, "share:fines": share, "solids": flow * solids}[r.quantity]
        u = true * r.standard_uncertainty / r.value
        factor = wrong if (r.stream, r.quantity) == ("jet", "flow") else 1.0
        rows.append(replace(r, value=factor * true + u * generator.standard_normal(), standard_uncertainty=u, given={}))
    return Survey(tuple(rows))


def test_surveys_without_errors_are_rejected_as_often_as_stated():
    generator = np.random.default_rng(41)
    survey, network, runs = read_survey(PLACE), reference(), 300
    found = [reconcile(network, simulated_round(generator, survey)).result for _ in range(runs)]
    assert {f.degrees_of_freedom for f in found} == {8}
    assert stats.kstest([f.statistic for f in found], "chi2", args=(8,)).pvalue > 0.01
    assert abs(np.mean([f.probability < 0.05 for f in found]) - 0.05) < 3 * np.sqrt(0.05 * 0.95 / runs)


def test_an_error_of_the_detectable_size_is_found_in_four_rounds_of_five():
    generator = np.random.default_rng(42)
    survey, network, runs, jet = read_survey(PLACE), reference(), 300, 6
    size = detectable_errors(reconcile(network, survey), 0.05, 0.8)[jet]
    found = [reconcile(network, simulated_round(generator, survey, 1.0 + size)) for _ in range(runs)]
    seen = np.mean([f.result.probability < 0.05 for f in found])
    assert abs(seen - 0.8) < 3 * np.sqrt(0.8 * 0.2 / runs)
