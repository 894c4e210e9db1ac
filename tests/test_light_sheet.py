"""The light sheet: a floor that no dilution removes, what dilution can answer, and the holes one can see.

Sizes worked apart stand here with the tolerance of their digits; single values in tests/checks/light_sheet.toml.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from thinstock.errors import NotFound, Refused
from thinstock.formula.label import worksheet
from thinstock.relations import flocs, light_sheet, network, pores
from thinstock.sheet import Furnish, consistency_for_formation, cv_at_zone, dilution_answer, formation
from thinstock.sheet.formation import CHANCE, EXCESS_IN_USE, LIGHT_FLOOR, LightSheet, cv_alone
from thinstock.words import units

SOFTWOOD = Furnish("softwood", 1.0, 2.2e-3, 30e-6, 0.15e-6)
EUCALYPTUS = Furnish("eucalyptus", 1.0, 0.75e-3, 17e-6, 0.075e-6)


def _two(first: tuple[float, float, float, float], second: tuple[float, float, float, float]) -> Furnish:
    return Furnish("two fibres", *zip(first, second, strict=True))


FACIAL = _two((0.7, 0.75e-3, 17e-6, 0.075e-6), (0.3, 2.2e-3, 30e-6, 0.15e-6))
SHEETS: dict[str, tuple[Furnish, dict[str, float]]] = {
    "facial": (FACIAL, {"grammage": 12.22175e-3, "consistency": 1.9e-3, "retention": 0.8067193, "density": 992.2158}),
    "facial, old": (
        _two((0.6, 2.2e-3, 30e-6, 0.15e-6), (0.4, 0.75e-3, 17e-6, 0.075e-6)),
        {"grammage": 12.464e-3, "consistency": 2.5e-3, "retention": 0.8125227, "density": 992.2158},
    ),
    "bath": (
        _two((0.6, 0.75e-3, 17e-6, 0.075e-6), (0.4, 2.2e-3, 30e-6, 0.15e-6)),
        {"grammage": 13.243e-3, "consistency": 2.4e-3, "retention": 0.8191188, "density": 992.2158},
    ),
    "napkin": (
        _two((0.5, 2.2e-3, 30e-6, 0.15e-6), (0.5, 0.95e-3, 21e-6, 0.11e-6)),
        {"grammage": 16.72e-3, "consistency": 2.6e-3, "retention": 0.8471644, "density": 992.2158},
    ),
    "tea bag": (
        Furnish("abaca", 1.0, 4.5e-3, 19e-6, 0.16e-6),
        {"grammage": 13.015e-3, "consistency": 0.3e-3, "retention": 0.9201796, "density": 997.0449},
    ),
}
"""Invented sheets of the trade's usual furnishes, on the wire."""
EVENNESS: dict[str, dict[str, float]] = {
    "chance": {"suspension_variation": 0.0, "excess_reference": 0.0, "decay_exponent": 2.0},
    "best": {"suspension_variation": 0.06, "excess_reference": 0.0, "decay_exponent": 2.0},
    "base": {"suspension_variation": 0.10, "excess_reference": 9.0, "decay_exponent": 2.0},
    "worst": {"suspension_variation": 0.40, "excess_reference": 9.0, "decay_exponent": 1.42},
}


def made(name: str, evenness: str, **changes: Any) -> Any:
    furnish, given = SHEETS[name]
    return formation(furnish, **{**given, **EVENNESS[evenness], **changes})


def answer(evenness: str, name: str = "facial", **target: Any) -> Any:
    furnish, given = SHEETS[name]
    rest = {word: value for word, value in given.items() if word != "consistency"}
    return dilution_answer(furnish, **rest, **{**EVENNESS[evenness], **target})


# ---------------------------------------------------------------- the floor


@pytest.mark.parametrize(
    ("exponent", "numbers"),
    [(1.42, (10, 3.99, 2.84, 2.18, 1.25)), (2.0, (10, 2.90, 1.96, 1.52, 1.06)), (3.0, (10, 1.87, 1.32, 1.12, 1.005))],
)
def test_the_formation_number_of_a_sheet_without_flocs_falls_with_grammage(
    exponent: float, numbers: tuple[float, ...]
) -> None:
    excess = light_sheet.variance_excess_light(np.array([4, 8.7, 12.22, 16.7, 50]) * 1e-3, 4e-3, 9.0, exponent)
    assert np.round(1.0 + excess, 2) == pytest.approx(np.round(numbers, 2), abs=0.0101)


def test_below_the_lightest_known_sheet_nothing_is_extrapolated() -> None:
    assert light_sheet.variance_excess_light(1e-3, 4e-3, 9.0, 2.0) == 9.0


def test_the_mark_of_an_uneven_wire_is_the_solution_of_its_growth() -> None:
    uneven, resistance = 0.01, 0.010
    grown = solve_ivp(
        lambda w, y: -(y + resistance * uneven) / (resistance + w), (0, 0.03), [0.0], rtol=1e-10, atol=1e-14
    )
    cv = light_sheet.wire_pattern_cv(uneven, 0.03, resistance)
    assert -grown.y[0, -1] / 0.03 == pytest.approx(cv, rel=1e-7)


def test_the_mark_of_the_wire_over_chance_falls_at_least_with_the_first_power_of_grammage() -> None:
    grammage = np.geomspace(1.0, 10.0, 50)  # far above the wire's resistance
    excess = light_sheet.wire_pattern_cv(0.3, grammage, 0.01) ** 2 * grammage
    assert np.polyfit(np.log(grammage), np.log(excess), 1)[0] == pytest.approx(-1.0, abs=0.02)


def test_nothing_changes_where_the_sheet_is_as_even_as_chance() -> None:
    for name in SHEETS:
        plain = formation(SHEETS[name][0], suspension_variation=0.2, **SHEETS[name][1])
        told = made(name, "chance", suspension_variation=0.2, grammage_reference=5e-3, excess_spread=2e-3)
        for word in ("cv", "formation_number", "open_area", "holes_per_area", "largest_hole", "floc_variance"):
            assert getattr(plain, word) == getattr(told, word), word
        assert plain.variance_excess == plain.excess_variance_zone == plain.excess_variance_point == 0.0
        assert [str(n) for n in plain.notes] == [str(n) for n in told.notes]


def test_without_an_excess_no_formula_of_it_is_worked_out() -> None:
    with worksheet() as sheet:
        made("facial", "best")
    assert not [step for step in sheet.steps if step.label.name.startswith("light_sheet.")]
    with worksheet() as sheet:
        made("facial", "base")
    assert "light_sheet.cv_sheet" in {step.label.name for step in sheet.steps}


def test_an_array_of_cases_with_and_without_an_excess_gives_what_single_cases_give() -> None:
    excess = np.array([0.0, 9.0, 3.0])
    together = made("facial", "base", excess_reference=excess, zone=np.array([1e-3, 2e-3, 1e-3]))
    for case, one in enumerate(excess):
        alone = made("facial", "base", excess_reference=one, zone=(1e-3, 2e-3, 1e-3)[case])
        for word in ("cv", "cv_floor", "variance_excess", "excess_variance_point", "holes_per_area", "largest_hole"):
            assert np.broadcast_to(getattr(together, word), 3)[case] == pytest.approx(getattr(alone, word), rel=1e-13)


@pytest.mark.parametrize("name", SHEETS)
def test_the_floor_is_never_below_chance_and_the_sheet_never_below_its_floor(name: str) -> None:
    for healing in (0.4, 1.0):
        for evenness in EVENNESS:
            sheet = made(name, evenness, self_healing_factor=healing)
            assert sheet.cv_floor >= np.sqrt(healing) * sheet.cv_random * (1 - 1e-15)
            assert sheet.cv >= sheet.cv_floor
            assert sheet.formation_number == pytest.approx((sheet.cv / sheet.cv_random) ** 2, rel=1e-14)


@pytest.mark.parametrize(
    ("name", "percent"),
    [
        ("facial", (7.4, 10.5, 16.0)),
        ("facial, old", (8.9, 12.6, 24.0)),
        ("bath", (7.7, 10.6, 18.9)),
        ("napkin", (8.0, 10.3, 21.8)),
        ("tea bag", (10.6, 14.5, 21.8)),
    ],
)
def test_evenness_of_the_usual_sheets_at_one_millimetre(name: str, percent: tuple[float, ...]) -> None:
    found = [100 * made(name, evenness).cv for evenness in ("best", "base", "worst")]
    assert found == pytest.approx(percent, abs=0.0501)


@pytest.mark.parametrize(
    ("name", "variance"), [("facial", (0.0130, 0.0188, 0.0349)), ("bath", (0.0134, 0.0191, 0.0458))]
)
def test_the_same_sheet_in_the_zone_that_counts_in_the_dryer(name: str, variance: tuple[float, ...]) -> None:
    found = [cv_at_zone(made(name, evenness), 0.5e-3) ** 2 for evenness in ("best", "base", "worst")]
    assert found == pytest.approx(variance, rel=0.005)


def test_evenness_at_another_zone_is_what_formation_gives_there() -> None:
    sheet = made("facial", "worst", self_healing_factor=0.7)
    for zone in (0.1e-3, 0.5e-3, 1e-3, 3e-3):
        there = made("facial", "worst", self_healing_factor=0.7, zone=zone)
        assert cv_at_zone(sheet, zone) == pytest.approx(there.cv, rel=1e-13)
    assert cv_at_zone(sheet, np.array([0.5e-3, 1e-3]))[1] == pytest.approx(sheet.cv, rel=1e-13)
    with pytest.raises(Refused, match="zone"):
        cv_at_zone(sheet, -1e-3)


@pytest.mark.parametrize("light", [CHANCE, LightSheet(9.0, 1.42, 4e-3, 1e-3)])
def test_evenness_alone_is_that_of_the_whole_answer(light: LightSheet) -> None:
    furnish, given = SHEETS["facial"]
    for zone in (0.5e-3, 1e-3):
        alone = cv_alone(furnish, **given, suspension_variation=0.2, zone=zone, light=light)
        assert alone == formation(furnish, **given, suspension_variation=0.2, zone=zone, **light._asdict()).cv


def test_notes_say_where_the_excess_is_from_and_when_dilution_is_at_its_end() -> None:
    texts = [str(n) for n in made("facial", "base").notes]
    assert any(EXCESS_IN_USE in t for t in texts)
    assert not any(LIGHT_FLOOR in t for t in texts)
    assert any(LIGHT_FLOOR in str(n) for n in made("facial", "base", suspension_variation=0.02).notes)
    assert any("indicative only" in str(n) for n in made("facial, old", "worst", excess_reference=20.0).notes)
    assert not any(EXCESS_IN_USE in str(n) for n in made("facial", "best").notes)


@pytest.mark.parametrize(
    ("field", "value"),
    [("excess_reference", -1.0), ("decay_exponent", -0.1), ("grammage_reference", 0.0), ("excess_spread", 0.0)],
)
def test_an_impossible_light_sheet_is_refused_by_name(field: str, value: float) -> None:
    for ask in (lambda **x: made("facial", "base", **x), lambda **x: answer("base", cv=0.12, **x)):
        with pytest.raises(Refused) as refused:
            ask(**{field: value})
        assert [f.field for f in refused.value.faults] == [field]
    with pytest.raises(Refused) as refused:
        made("facial", "base", excess_reference=-1.0, excess_spread=0.0)
    assert len(refused.value.faults) == 2


# ---------------------------------------------------------------- what dilution can answer


def test_a_good_headbox_on_a_wire_as_even_as_chance_is_not_limited() -> None:
    found = answer("best", cv=0.10)
    assert (found.kind, found.consistency) == ("not limited", None)
    assert "does not limit" in found.note


@pytest.mark.parametrize(("evenness", "percent"), [("base", "10.1"), ("worst", "12.2")])
def test_a_wire_like_that_of_the_handsheets_cannot_be_helped_by_dilution(evenness: str, percent: str) -> None:
    found = answer(evenness, cv=0.10)
    assert (found.kind, found.consistency) == ("not by dilution", None)
    assert f"not by dilution: at 12.2 g/m² this sheet cannot be more even than {percent} % at 1 mm" in found.note
    for remedy in ("more grammage", "finer fibre", "layered headbox", "looser target", "another wire"):
        assert remedy in found.note
    assert EXCESS_IN_USE in found.note


def test_no_dispersion_on_a_wire_as_even_as_chance_asks_for_thin_stock() -> None:
    found = answer("best", cv=0.10, suspension_variation=0.40)
    assert found.kind == "dilute to"
    assert 100 * found.consistency == pytest.approx(0.135, abs=0.0005)
    assert found.note == ""


def test_without_an_excess_the_answer_is_that_of_the_plain_search() -> None:
    for target in ({"cv": 0.11}, {"formation_number": 1.6}, {"specific_formation": 0.013}, {"holes_per_area": 0.9}):
        plain = consistency_for_formation(SOFTWOOD, 0.014, 0.2, hole_diameter=2e-4, **target)
        answered = dilution_answer(SOFTWOOD, 0.014, 0.2, hole_diameter=2e-4, **target)
        assert answered.consistency == plain.consistency


@pytest.mark.parametrize(
    ("word", "factor"), [("cv", 1.06), ("formation_number", 1.1), ("specific_formation", 1.05), ("holes_per_area", 1.2)]
)
def test_the_found_consistency_reaches_the_target_with_the_excess_in_it(word: str, factor: float) -> None:
    floor = getattr(made("facial", "base", suspension_variation=0.0, hole_diameter=1e-4), word)
    found = answer("base", hole_diameter=1e-4, suspension_variation=0.3, **{word: factor * float(floor)})
    assert found.kind == "dilute to" and found.floor == pytest.approx(floor, rel=1e-12)
    there = made("facial", "base", suspension_variation=0.3, consistency=found.consistency, hole_diameter=1e-4)
    assert getattr(there, word) == pytest.approx(factor * floor, rel=1e-8)


def test_a_target_of_evenness_is_that_of_the_plain_search_less_the_excess() -> None:
    sheet = made("facial", "base")
    furnish, given = SHEETS["facial"]
    plain = np.sqrt(0.12**2 - float(sheet.excess_variance_zone))
    wanted = consistency_for_formation(
        furnish, given["grammage"], 0.3, cv=plain, retention=given["retention"], density=given["density"]
    )
    found = answer("base", suspension_variation=0.3, cv=0.12)
    assert found.consistency == pytest.approx(wanted.consistency, rel=1e-9)


def test_an_end_of_the_search_is_never_the_answer() -> None:
    kinds = set()
    for evenness in EVENNESS:
        for target in np.geomspace(0.05, 0.6, 40):
            found = answer(evenness, cv=float(target), lowest=1e-4, highest=0.02)
            kinds.add(found.kind)
            assert (found.consistency is None) == (found.kind != "dilute to")
            assert found.consistency is None or 1e-4 < found.consistency < 0.02
    assert kinds == {"dilute to", "not limited", "not by dilution"}


def test_a_target_just_above_the_floor_that_no_stock_reaches_is_not_by_dilution() -> None:
    floor = answer("base", cv=0.2).floor
    found = answer("base", suspension_variation=0.4, cv=floor * (1 + 1e-6), lowest=1e-4)
    assert found.kind == "not by dilution" and "too near" in found.note


def test_an_unusually_thin_stock_is_given_with_its_note() -> None:
    floor = answer("best", cv=0.2).floor
    found = answer("best", suspension_variation=0.4, cv=1.001 * floor)
    assert found.kind == "dilute to" and found.consistency < 2e-4
    assert "outside the usual range of a headbox, 0.02 to 1.2 %" in found.note


def test_every_measure_names_its_floor_in_its_own_unit() -> None:
    texts = {
        "formation_number": (1.0, "formation number below 1.96"),
        "specific_formation": (0.001, "√g/m at 1 mm"),
        "holes_per_area": (10.0, "holes per m² that pass 100 µm"),
    }
    for word, (target, text) in texts.items():
        found = answer("base", hole_diameter=1e-4, **{word: target})
        assert found.kind == "not by dilution" and text in found.note
    assert "hides its flocs" in answer("base", formation_number=1.0).note


def test_bad_questions_are_refused_as_in_the_plain_search() -> None:
    with pytest.raises(Refused, match="exactly one"):
        answer("base")
    with pytest.raises(Refused, match="one case at a time"):
        answer("base", cv=0.1, excess_reference=np.array([0.0, 9.0]))
    with pytest.raises(Refused, match="larger hole size"):
        answer("base", holes_per_area=1e8, hole_diameter=0.0)
    with pytest.raises(NotFound):
        consistency_for_formation(FACIAL, 0.0122, 0.4, cv=0.07)


# ---------------------------------------------------------------- holes


@pytest.mark.parametrize(
    ("name", "evenness", "holes", "largest"),
    [
        ("facial", "chance", ("3.15e5", "120", ".024", "2.5e-6"), 129),
        ("facial", "best", ("3.18e5", "125", ".026"), 129),
        ("facial", "base", ("3.80e5", "253", ".13", "6e-5"), 137),
        ("facial", "worst", ("5.83e5", "1190", "3.4", ".014"), 161),
        ("facial, old", "chance", ("7.8e5", "1240", "1.3"), 152),
        ("facial, old", "best", ("8.0e5", "1350", "1.5"), 153),
        ("facial, old", "base", ("9.5e5", "2680", "7.2", ".019"), 167),
        ("facial, old", "worst", ("1.87e6", "25800", "628", "23"), 253),
        ("bath", "base", ("2.9e5", "180", ".09"), 134),
        ("bath", "worst", ("5.9e5", "2010", "12", ".11"), 176),
        ("napkin", "base", ("2.9e5", "326", ".33"), 142),
        ("napkin", "worst", ("7.1e5", "5740", "86", "2.1"), 210),
        ("tea bag", "chance", ("7.6e6", "1.18e5", "1720", "23"), 236),
        ("tea bag", "worst", ("9.05e6", "2.88e5", "12700", "742"), 334),
    ],
)
def test_holes_of_the_usual_sheets_at_four_sizes(
    name: str, evenness: str, holes: tuple[str, ...], largest: float
) -> None:
    for wanted, micrometres in zip(holes, (50, 100, 150, 200), strict=False):
        found = float(made(name, evenness, hole_diameter=micrometres * 1e-6).holes_per_area)
        digits = len(wanted.lower().split("e")[0].replace(".", "").strip("0"))
        assert found == pytest.approx(float(wanted), rel=0.55 * 10.0 ** (1 - digits)), f"{micrometres} µm"
    assert 1e6 * made(name, evenness).largest_hole == pytest.approx(largest, abs=0.51)


@pytest.mark.parametrize(
    ("evenness", "holes"),
    [("best", (121, 123, 125, 128, 138)), ("base", (236, 244, 253, 271, 322)), ("worst", (504, 769, 1190, 2360, 9420))],
)
def test_dilution_closes_few_holes_but_with_a_poor_headbox(evenness: str, holes: tuple[float, ...]) -> None:
    consistency = np.array([0.10, 0.15, 0.19, 0.25, 0.40]) / 100
    found = made("facial", evenness, consistency=consistency, hole_diameter=1e-4).holes_per_area
    assert found == pytest.approx(holes, rel=0.005)


def _count(furnish: Furnish, grammage: Any, variance: Any, diameter: float) -> Any:
    c = furnish.components
    fibres = (c.share, c.fibre_length, c.fibre_width, c.coarseness)
    return pores.holes_per_area_furnish(grammage, *fibres, diameter, network.crossing_factor_cauchy(0.0), variance)


def test_grammage_beats_all_other_means_against_holes() -> None:
    grammage = np.array([10, 11, 12, 13, 14]) * 1e-3
    sheet = made("facial", "base")
    same = sheet.floc_variance + sheet.excess_variance_point
    assert _count(FACIAL, grammage, same, 1e-4) == pytest.approx([3470, 1070, 331, 102, 31], rel=0.012)
    # a heavier sheet is also more even, so the count falls faster than at the same variance
    own = made("facial", "base", grammage=grammage, hole_diameter=1e-4).holes_per_area
    assert np.all(own[:-1] / own[1:] > 3.6) and np.all(own[:-1] / own[1:] < 3.9)
    assert _count(EUCALYPTUS, 12.22175e-3, same, 1e-4) == pytest.approx(24, abs=0.5)
    assert _count(SOFTWOOD, 12.22175e-3, same, 1e-4) == pytest.approx(52100, rel=0.005)


@pytest.mark.parametrize(
    ("diameter", "variance", "counted", "spread"),
    [(50e-6, 0.0, 3.32e5, 0.14e5), (75e-6, 0.0, 6875, 1000), (50e-6, 0.03, 6.51e5, 0.33e5)],
)
def test_holes_counted_in_simulated_sheets_agree(
    diameter: float, variance: float, counted: float, spread: float
) -> None:
    own = formation(FACIAL, 0.01222, 0.002, 0.1)
    share = FACIAL.components.share * own.fibre_grammage / FACIAL.components.fibre_grammage
    seen = flocs.floc_variance_blend(variance, 1.2e-3, share, FACIAL.components.fibre_length)
    assert _count(FACIAL, 0.01222, seen, diameter) == pytest.approx(counted, abs=2 * spread)


def test_holes_of_softwood_counted_in_simulated_sheets_agree_above_a_tenth_of_a_millimetre() -> None:
    assert _count(SOFTWOOD, 0.01222, 0.0, 1e-4) == pytest.approx(4.31e4, abs=2 * 0.37e4)


def test_a_more_uneven_wire_never_makes_fewer_holes_of_a_size_worth_counting() -> None:
    for name, (furnish, given) in SHEETS.items():
        c = furnish.components
        number = network.fibre_number(c.share * given["grammage"], c.fibre_length, c.coarseness)
        blocked = np.sum(number * pores.dilated_area(c.fibre_length, c.fibre_width, 1e-4))
        assert blocked > 2 + np.sqrt(2)
        sheet = made(name, "base", excess_reference=np.linspace(0, 12, 60), hole_diameter=1e-4)
        assert np.all(np.diff(sheet.holes_per_area) >= 0)


# ---------------------------------------------------------------- layers and spots


def test_equal_layers_share_the_variance_of_flocs_by_their_number() -> None:
    for n in (1, 2, 3, 7):
        found = light_sheet.floc_variance_layers(np.full(n, 1 / n), np.full(n, 0.02))
        assert found == pytest.approx(0.02 / n, rel=1e-14)


def test_layers_are_added_on_the_last_axis() -> None:
    share, variance = np.array([[0.5, 0.5], [0.2, 0.8]]), np.array([[0.01, 0.03], [0.05, 0.02]])
    assert light_sheet.floc_variance_layers(share, variance) == pytest.approx([0.01, 0.0148], rel=1e-14)


def test_a_layered_sheet_of_thin_layers_gains_little_since_each_is_less_even() -> None:
    whole = made("facial", "worst")
    holes = []
    for n in (1, 2, 3):
        layer = made("facial", "worst", grammage=SHEETS["facial"][1]["grammage"] / n)
        variance = light_sheet.floc_variance_layers(np.full(n, 1 / n), np.full(n, float(layer.floc_variance)))
        assert variance <= whole.floc_variance * (1 + 1e-12)
        holes.append(float(_count(FACIAL, whole.grammage, variance + whole.excess_variance_point, 1e-4)))
    assert holes == pytest.approx([1186.4, 1070.5, 963.9], rel=1e-3)
    # layers as even as the whole sheet would gain far more, but half as deep a column averages half as much
    even = [_count(FACIAL, whole.grammage, whole.floc_variance / n + whole.excess_variance_point, 1e-4) for n in (2, 3)]
    assert np.array(even) / holes[0] == pytest.approx([692 / 1160, 573 / 1160], abs=0.003)


@pytest.mark.parametrize(("diameter", "holes"), [(1e-4, (20.0, 16.6, 1.8)), (2e-4, (2.7, 0.006, 1e-5))])
def test_thin_spots_bring_the_large_holes(diameter: float, holes: tuple[float, ...]) -> None:
    left = _count(FACIAL, 12.22175e-3 * np.array([0.3, 0.5, 0.7]), 0.0, diameter)
    found = light_sheet.holes_from_spots(20.0, 3e-3, left)
    assert found == pytest.approx(holes, rel=0.15 if diameter > 1e-4 else 0.004)
    assert np.all(found <= 20.0)


def test_a_spot_counts_once_and_none_without_spots() -> None:
    assert light_sheet.holes_from_spots(20.0, 3e-3, 1e12) == 20.0
    assert light_sheet.holes_from_spots(0.0, 3e-3, 1e5) == 0.0
    assert light_sheet.holes_from_spots(20.0, 3e-3, 1e-9) == pytest.approx(20e-9 * np.pi * 2.25e-6, rel=1e-12)


# ---------------------------------------------------------------- what the eye sees


def _seen(name: str, evenness: str, lamp: bool) -> float:
    """Smallest hole seen in micrometres, with the library's values of the eye."""
    eye = tomllib.loads(files("thinstock").joinpath("library/formation.toml").read_text(encoding="utf-8"))["eye"]
    angle, distance, least = (
        units.parse(eye[word]["value"]) for word in ("spread_angle", "viewing_distance", "contrast_needed")
    )
    sheet = made(name, evenness)
    cv = cv_at_zone(sheet, 0.886 * distance * angle)
    through = (
        light_sheet.transmittance_direct(sheet.coverage, 0.9)
        if lamp
        else light_sheet.transmittance_diffuse(sheet.grammage, 40.0)
    )
    needed = max(least, 3 * float(light_sheet.grain_contrast(through, cv, float(lamp))))
    return 1e6 * float(light_sheet.visible_hole_diameter(distance, angle, through, needed))


def test_the_eye_sees_a_tenth_of_a_millimetre_against_a_window_and_half_of_it_against_a_lamp() -> None:
    assert _seen("facial", "chance", lamp=False) == pytest.approx(92, abs=0.6)
    assert _seen("facial", "chance", lamp=True) == pytest.approx(55, abs=0.6)
    others = [name for name in SHEETS if name != "facial"]
    windows, lamps = ([_seen(name, "chance", lamp) for name in others] for lamp in (False, True))
    assert (min(windows), max(windows)) == pytest.approx((87, 103), abs=0.6)
    assert (min(lamps), max(lamps)) == pytest.approx((45, 86), abs=0.6)


def test_the_grain_is_the_change_of_light_with_grammage() -> None:
    step = 1e-6
    for law, lamp, at in (
        (lambda g: light_sheet.transmittance_diffuse(0.0122 * g, 40.0), 0.0, 0.0122),
        (lambda g: light_sheet.transmittance_direct(2.67 * g, 0.9), 1.0, 2.67),
    ):
        slope = -(np.log(law(1 + step)) - np.log(law(1 - step))) / (2 * step)
        assert light_sheet.grain_contrast(law(1.0), 1.0, lamp) == pytest.approx(slope, rel=1e-8), at


def test_the_library_keeps_the_three_kinds_of_evenness() -> None:
    kept = tomllib.loads(files("thinstock").joinpath("library/formation.toml").read_text(encoding="utf-8"))
    for name in ("best", "base", "worst"):
        given = {word: units.parse(kept["evenness"][name][word]) for word in EVENNESS[name]}
        assert given == pytest.approx(EVENNESS[name])
    light = kept["light_sheet"]
    assert units.parse(light["grammage_reference"]["value"]) == pytest.approx(4e-3)
    least = light_sheet.decay_exponent_ends(9.0, 0.25, 4e-3, 50e-3)
    assert units.parse(light["decay_exponent"]["low"]) == pytest.approx(least, abs=0.005)
