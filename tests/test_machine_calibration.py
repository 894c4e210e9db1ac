"""Constants of a machine from simulated surveys: found again within what they state, or refused by name."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from invented_survey import BUNDLED_TRUTH, ROWS, as_it_stands, simulated
from thinstock.case import dumps, load, loads
from thinstock.evidence.apply import columns, population
from thinstock.evidence.cases import run_cases
from thinstock.relations.yankee import ONE_COMBINATION
from thinstock.studies import central_interval
from thinstock.studies.bands import difference
from thinstock.survey import Reading, Survey, SurveyError, fit, profile, read_round
from thinstock.survey.joint import Joint
from thinstock.survey.machine_calibration import calibrate
from thinstock.survey.machine_constants import constants_of
from thinstock.survey.machine_model import MachineModel
from thinstock.survey.profiles import profile_ends
from thinstock.survey.round import round_of
from thinstock.survey.surer import evidence_name, keep
from thinstock.tell.survey_record import calibration_record

HELD = ("rewet", "entry_factor")
"""One round tells neither; the truth has them as the machine has."""


def rows(*streams: str, extra: tuple[tuple[str, str, str], ...] = ()) -> list[tuple[str, str, str]]:
    return [r for r in ROWS if r[0] in streams] + list(extra)


def drawn(machine, seed: int, forms: float = np.inf) -> dict[str, float]:
    """Constants drawn from their priors; `forms` is the highest resistance at which the former does its work alone."""
    generator = np.random.default_rng(seed)
    truth = {}
    for constant in constants_of(machine):
        if constant.address.rpartition(".")[2] not in HELD:
            value = float(constant.value(generator.standard_normal()))
            truth[constant.address] = min(max(value, constant.low * 1.1), constant.high * 0.99)
    truth["stock.resistance_factor"] = min(truth["stock.resistance_factor"], forms)
    return truth


def calibrated(name: str, seed: int, forms: float = np.inf, **options):
    machine = load(name)
    truth = drawn(machine, seed, forms)
    real = as_it_stands(machine, truth)
    survey = simulated(real, seed + 1000, [r for r in ROWS if machine.yankee is not None or r[0] not in DRYER])
    found = calibrate([round_of(survey, machine)], despite_failed_test=True, profiles=False, **options)
    return truth, found


DRYER = ("steam", "gas", "exhaust", "shell", "hood_air", "make_up")


# -------------------------------------------- known constants


def off_truth(truth, found) -> list[float]:
    return [
        (f.value - truth[f.unknown.address]) / f.standard_uncertainty for f in found.found if f.unknown.address in truth
    ]


def test_simulated_surveys_give_the_constants_back_within_their_stated_uncertainty():
    """Constants drawn from their priors, readings around them: 95 % of the intervals of 1.96 u hold the truth."""
    off = []
    for seed in range(6):
        truth, found = calibrated("facial-roll", seed)
        assert {f.name for f in found.found} >= {
            "resistance_factor",
            "passing_grammage",
            "contact_level",
            "hood_factor",
        }
        off += off_truth(truth, found)
    off = np.array(off)
    assert off.size >= 40
    assert 0.75 < np.sqrt(np.mean(off**2)) < 1.25
    assert np.mean(np.abs(off) < 1.96) > 0.88


@pytest.mark.parametrize(
    "name",
    [
        "facial-shoe",
        "bath-twin-wire-s",
        "towel-twin-wire-suction-roll",
        "facial-suction-breast-roll",
        "board-three-nips",
    ],
)
def test_other_machines_give_their_constants_back_too(name):
    truth, found = calibrated(name, 3, forms=1.3)
    off = off_truth(truth, found)
    assert len(off) >= 4
    assert max(abs(z) for z in off) < 3.5
    assert found.probability > 1e-3
    assert found.fit.chi_square < found.chi_square_before


def test_the_bundled_survey_gives_its_truth_back_once_the_planted_error_is_set_aside():
    machine = load("facial-roll")
    found = calibrate([read_round("facial-roll", machine)], without=["jet flow"])
    for f in found.found:
        leans = {address.rpartition(".")[2]: change for address, change in f.leans}
        held = {c.address.rpartition(".")[2]: c for c in constants_of(machine)}
        moved = sum(
            change * (BUNDLED_TRUTH[held[n].address] - held[n].centre) / held[n].spread for n, change in leans.items()
        )
        assert abs(f.value + moved - BUNDLED_TRUTH[f.unknown.address]) < 2.5 * f.standard_uncertainty, f.name
        assert f.low < f.value < f.high
        assert (f.high - f.low) == pytest.approx(2 * 1.96 * f.standard_uncertainty, rel=0.25)
    assert all(abs(c.left_out_score) < 3.5 for c in found.checked if np.isfinite(c.left_out_score))
    assert any(n.name == "rewet" for n in found.not_told)


def test_a_second_grade_tells_permeability_from_rewet():
    machine = load("facial-roll")
    truth = {
        "press.dewatering.permeability_factor": 1.26,
        "press.nip.suction_pressure_roll.rewet": 6.0e-3,
    }
    heavy = {"grade.reel_grammage": 0.0235, "yankee.speed": 22.0}
    wanted = rows("thick", "jet", "reel", extra=(("web_pressed", "consistency", "0.5 %"),))
    rounds = []
    for number, settings in enumerate(({}, heavy)):
        stood = machine.with_(settings) if settings else machine
        survey = simulated(as_it_stands(stood, truth), 40 + number, wanted)
        rounds.append(round_of(survey, stood, settings))
    found = calibrate(rounds, wanted=["permeability_factor", "rewet"], despite_failed_test=True, profiles=False)
    assert {f.name for f in found.found} == {"permeability_factor", "rewet"}
    for f in found.found:
        assert abs(f.value - truth[f.unknown.address]) < 3 * f.standard_uncertainty
    assert found.correlation["permeability_factor", "rewet"] > 0.5
    with pytest.raises(SurveyError, match="trade off"):
        calibrate(rounds[:1], wanted=["permeability_factor", "rewet"], despite_failed_test=True)


# -------------------------------------------- what cannot be told


def dryness_only(seed: int = 1):
    machine = load("facial-roll")
    real = as_it_stands(machine, {})
    return round_of(simulated(real, seed, rows("thick", "jet", "reel", "hood_air")), machine)


def test_both_dryer_levels_on_dryness_alone_are_refused_by_name():
    with pytest.raises(SurveyError) as error:
        calibrate([dryness_only()], wanted=["contact_level", "hood_factor"], despite_failed_test=True)
    said = [str(f) for f in error.value.faults]
    assert len(said) == 2
    assert said[0].startswith("contact_level") and said[1].startswith("hood_factor")
    assert all(ONE_COMBINATION in line for line in said)


def test_both_dryer_levels_on_dryness_alone_are_left_as_they_were_where_nobody_asked_for_them():
    found = calibrate([dryness_only()], despite_failed_test=True)
    not_told = {n.name: n for n in found.not_told}
    assert {"contact_level", "hood_factor"} <= set(not_told)
    assert "together with" in not_told["contact_level"].best, "the press is not known either: one more would not do"
    assert float(found.machine.yankee.contact_level) == float(load("facial-roll").yankee.contact_level)


def test_one_dryer_level_on_dryness_is_fitted_while_the_other_is_held():
    found = calibrate([dryness_only()], wanted=["hood_factor"], despite_failed_test=True, profiles=False)
    assert [f.name for f in found.found] == ["hood_factor"]


def test_steam_tells_the_dryer_levels_apart():
    machine = load("facial-roll")
    survey = simulated(as_it_stands(machine, {}), 2, rows("thick", "jet", "reel", "hood_air", "steam"))
    found = calibrate(
        [round_of(survey, machine)], wanted=["contact_level", "hood_factor"], despite_failed_test=True, profiles=False
    )
    assert {f.name for f in found.found} == {"contact_level", "hood_factor"}
    assert found.correlation["contact_level", "hood_factor"] < -0.5


def test_nothing_tells_drainage_without_the_end_of_forming():
    machine = load("facial-roll")
    survey = simulated(as_it_stands(machine, {}), 4, [r for r in ROWS if r[0] != "end_of_forming"])
    found = calibrate([round_of(survey, machine)], despite_failed_test=True, profiles=False)
    one = next(n for n in found.not_told if n.name == "resistance_factor")
    assert "end" in one.why and one.best.startswith("the place where forming ends")
    with pytest.raises(SurveyError, match="resistance_factor: cannot be told"):
        calibrate([round_of(survey, machine)], wanted=["resistance_factor"], despite_failed_test=True)


def test_total_consistencies_alone_do_not_tell_the_two_retentions_apart():
    machine = load("facial-roll")
    plain = [
        r for r in ROWS if not r[1].startswith("share") and r[0] in ("thick", "jet", "white_water", "overflow", "reel")
    ]
    round_ = round_of(simulated(as_it_stands(machine, {}), 5, plain), machine)
    with pytest.raises(SurveyError, match="one combination only"):
        calibrate([round_], wanted=["retention_long", "passing_grammage"], despite_failed_test=True)
    found = calibrate([round_], despite_failed_test=True, profiles=False)
    (passing,) = [f for f in found.found if f.name == "passing_grammage"]
    assert [address for address, _ in passing.leans] == ["stock.retention_long"]


def test_an_unknown_constant_is_refused_with_the_nearest():
    with pytest.raises(SurveyError, match=r"hood_factr.*Nearest known: hood_factor"):
        calibrate([dryness_only()], wanted=["hood_factr"], despite_failed_test=True)


def test_a_survey_that_fails_its_test_is_not_calibrated_on_unless_told():
    round_ = read_round("facial-roll", load("facial-roll"))
    with pytest.raises(SurveyError) as error:
        calibrate([round_])
    assert "do not agree" in str(error.value) and '--without "jet flow"' in str(error.value)
    found = calibrate([round_], despite_failed_test=True, profiles=False)
    assert any("doubt every number" in n.text for n in found.notes)


# -------------------------------------------- what is left


def test_the_calibrated_file_says_where_each_constant_comes_from_and_reads_back(tmp_path):
    machine = load("facial-roll")
    found = calibrate([read_round("facial-roll", machine)], without=["jet flow"], profiles=False)
    text = dumps(found.machine)
    assert "# A machine file. Every value is a text" in text, "comments of the file survive"
    again = loads(text)
    for f in found.found:
        given = again.given[f.unknown.address]
        assert given.status == "measured"
        assert given.uncertainty == pytest.approx(f.standard_uncertainty, rel=0.01)
        assert "Invented round" in given.source and given.where == "facial-roll.csv"
        assert float(again.get(f.unknown.address)) == pytest.approx(f.value, abs=0.02 * f.standard_uncertainty)
    assert again.given["headbox.consistency"].note == "as surveyed"
    assert dumps(again) == text


@pytest.mark.slow
def test_the_bundled_round_gives_press_dryness_within_seven_tenths_of_a_point(tmp_path):
    """All inputs together: what the readings fix is narrow, what they do not stays as believed, and both are kept."""
    found = calibrate([read_round("facial-roll", load("facial-roll"))], without=["jet flow"], draws=400)
    assert found.evidence is not None and found.evidence.origin == "as read"
    out = tmp_path / "cal.toml"
    text = dumps(found.machine.with_({"evidence": evidence_name(out)}))
    out.write_text(text, encoding="utf-8")
    keep(found, text, out)
    machine = load(out)
    drawn = population(machine)
    assert drawn.notes == () and drawn.draws == 400
    np.testing.assert_array_equal(drawn.scores, found.evidence.scores)
    cases = run_cases(machine, columns(drawn, machine), ("dryness_press", "gas_per_product", "air_temperature"))
    assert cases.usable.all()
    low, _, high = central_interval(cases["dryness_press"], 0.9)
    assert high - low < 0.014
    assert low < float(machine.run()["dryness_press"]) < high
    low, _, high = central_interval(cases["gas_per_product"] / 3.6e3, 0.9)
    assert high - low < 60
    assert found.told["stock.resistance_factor"] == "read"


def test_levels_of_the_dryer_are_kept_with_the_unevenness_they_stand_on():
    found = calibrate([dryness_only()], wanted=["hood_factor"], despite_failed_test=True, profiles=False)
    again = loads(dumps(found.machine))
    kept = float(again.yankee.uneven_variance)
    assert again.given["yankee.uneven_variance"].status == "derived"
    assert float(again.run()["drying_cv"]) ** 2 == pytest.approx(kept, rel=1e-3)

    def warned(machine):
        return any(note.id == "levels_fitted_otherwise" for note in machine.run().notes)

    assert not warned(again) and warned(again.with_({"headbox.consistency": 0.006}))


def test_a_calibrated_machine_answers_a_rebuild_question_with_a_range_that_is_narrower():
    machine = load("facial-roll")
    after = {"press.nip.suction_pressure_roll.line_load": 100e3}
    found = calibrate([read_round("facial-roll", machine)], without=["jet flow"], profiles=False).machine
    before_range = difference(machine, machine.with_(after))["gas_per_product"]
    range_ = difference(found, found.with_(after))["gas_per_product"]
    assert range_.value < 0
    assert 0 < range_.standard_uncertainty < before_range.standard_uncertainty


def test_the_record_holds_no_nan():
    import json

    found = calibrate([dryness_only()], despite_failed_test=True)
    json.dumps(calibration_record(found), allow_nan=False)


def test_a_reading_the_model_says_nothing_of_is_named():
    machine = load("facial-roll")
    survey = simulated(as_it_stands(machine, {}), 6, rows("thick", "jet", "reel", "end_of_forming"))
    fibre = Reading("felt_water", "consistency", 5e-4, 1e-4)
    found = calibrate(
        [round_of(replace(survey, readings=(*survey.readings, fibre)), machine)],
        despite_failed_test=True,
        profiles=False,
    )
    assert [(r.stream, why) for r, why in found.unused] == [("felt_water", "the model has no fibre there")]


# -------------------------------------------- the machinery


def test_slopes_of_many_changes_in_one_run_are_those_of_single_runs():
    machine = as_it_stands(load("facial-roll"), {})
    constants = [
        c for c in constants_of(machine) if c.address.rpartition(".")[2] in ("contact_level", "retention_long")
    ]
    joint = Joint(constants, [(MachineModel(machine, [("reel", "consistency"), ("white_water", "consistency")]), ())])
    slopes = joint.jacobian(np.zeros(2))
    for k in range(2):
        step = np.zeros(2)
        step[k] = 0.05
        assert slopes[:, k] == pytest.approx((joint(step) - joint(-step)) / 0.1, rel=1e-6)


class Curve:
    """A saturating curve with slopes of its own, for many cases."""

    hours = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 7.0])

    def __call__(self, value):
        return value[0] * -np.expm1(-value[1] * self.hours)

    def slopes(self, units):
        a, b = units[:, :1], units[:, 1:]
        decay = np.exp(-b * self.hours)
        return a * (1 - decay), np.stack([1 - decay, a * self.hours * decay], axis=-1)

    def jacobian(self, value):
        return self.slopes(np.asarray(value)[None, :])[1][0]


def test_profiles_found_together_are_those_found_one_by_one():
    observed = np.array([8.3, 10.3, 19.0, 16.0, 15.6, 19.8])
    curve = Curve()
    options = dict(uncertainty_known=True, prior_mean=[0.0, 0.5], prior_uncertainty=[np.inf, 0.1])
    plain = fit(curve.__call__, observed, 2.55, [20.0, 0.3], **options)
    own = fit(curve, observed, 2.55, [20.0, 0.3], **options)
    assert own.value == pytest.approx(plain.value, rel=1e-6)
    assert own.value == pytest.approx([19.41631, 0.506291], rel=1e-5)
    found = profile_ends(curve, observed, np.diag(np.full(6, 2.55**2)), own, [0, 1], share=0.95)
    for k in (0, 1):
        single = profile(plain, k, share=0.95)
        assert (found[k].low, found[k].high) == pytest.approx((single.low, single.high), rel=1e-4)
    assert (found[0].low, found[0].high) == pytest.approx((16.4064, 23.3604), rel=1e-4)


def test_a_profile_that_meets_no_limit_before_its_bound_is_left_open():
    class Saturated(Curve):
        hours = np.array([20.0, 25.0, 30.0])

    curve, observed = Saturated(), np.array([10.02, 9.97, 10.01])
    found = fit(curve, observed, 0.05, [10.0, 1.0], uncertainty_known=True, lower=[0.0, 1e-3], upper=[100.0, 5.0])
    ends = profile_ends(curve, observed, np.diag(np.full(3, 0.05**2)), found, [0, 1], share=0.95)
    assert ends[1].high == np.inf
    assert ends[1].low == pytest.approx(0.2189, rel=5e-3)
    assert np.isfinite([ends[0].low, ends[0].high]).all()


def test_a_survey_without_a_usable_reading_is_refused():
    machine = load("board-three-nips")
    survey = Survey((Reading("felt_water", "consistency", 5e-4, 1e-4),))
    with pytest.raises(SurveyError, match="none of them"):
        calibrate([round_of(survey, machine)], despite_failed_test=True)
