"""The march along a former: check cases, balances, limits, a plain twin, and what it refuses."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thinstock.errors import Refused
from thinstock.formula.label import RELATIONS, worksheet
from thinstock.kernels.drainage import Drained, Element, Law, drain
from thinstock.relations import drainage, mat
from twins import drainage as twin

SHEET: dict[str, Any] = {
    "speed": 30.0,
    "grammage": 0.012464,
    "consistency": 0.002,
    "retention": 0.8,
    "density": 992.0,
    "viscosity": 0.653e-3,
    "resistance_coefficient": 1.1e9,
    "resistance_exponent": 0.4,
    "resistance_factor": 1.0,
    "mat_coefficient": 53.0,
    "mat_exponent": 0.38,
    "mat_pressure_floor": 150.0,
    "wall_density": 1500.0,
}
FABRIC: dict[str, Any] = {"fabric_resistance": 0.96e6, "fabric_inertia": 8.2}
RADIUS = 0.75


def roll(
    wrap: float = 160.0, tension: float = 6e3, speed: float = 30.0, back: str = "closed", vacuum: float = 0.0
) -> list[Element]:
    load = drainage.pressure_forming_roll(tension, 0.4, speed, RADIUS)
    inner = Law(load=load + vacuum, curvature=1.0 / RADIUS, **FABRIC) if back == "open" else None
    length = RADIUS * math.radians(wrap)
    return [Element(name="roll", length=length, wire_side=Law(load=load, **FABRIC), back_side=inner)]


def table(pairs: int = 12, speed: float = 10.0) -> list[Element]:
    """Gravity stretches with table rolls and foils in turn."""
    suction = 0.5 * drainage.suction_table_roll_taylor(992.0, speed, 5e3)
    cap = drainage.flux_cap_foil(speed, math.radians(2.0), math.radians(5.0))
    elements = [Element(name="board", length=0.3)]
    for _ in range(pairs):
        elements.append(Element(length=0.3, wire_side=Law(gravity=1.0, **FABRIC)))
        elements.append(Element(wire_side=Law(load=suction, gravity=1.0, **FABRIC), nip_radius=0.1))
        elements.append(Element(length=0.2, wire_side=Law(gravity=1.0, **FABRIC)))
        elements.append(Element(length=0.015, wire_side=Law(load=suction, gravity=1.0, flux_cap=cap, **FABRIC)))
    elements.append(Element(name="flat box", length=0.4, wire_side=Law(load=2e4, gravity=1.0, **FABRIC)))
    return elements


def one(result: Drained) -> dict[str, Any]:
    """The only case of a result."""
    return {name: value[0] for name, value in result._asdict().items()}


# --- check cases, two independent integrations


def test_a_roll_former_with_one_open_side() -> None:
    a = one(drain(roll(), **SHEET))
    assert a["stock_depth"] == pytest.approx(7.85282e-3, abs=5e-9)
    assert a["dry_line"] == pytest.approx(0.385542, abs=5e-7)
    assert math.degrees(a["dry_line"] / RADIUS) == pytest.approx(29.45, abs=5e-3)
    assert a["drained"] == pytest.approx(7.74357e-3, abs=5e-9)
    assert a["dryness_leaving"] == pytest.approx(0.11070, abs=5e-6)
    assert a["drainage_impulse"].sum() == pytest.approx(96.64, abs=5e-3)
    assert a["flux_highest"] == pytest.approx(1.285, abs=5e-4)
    assert a["dry_line_element"] == 0 and not a["stalled"]


def test_an_open_roll_starts_stalled_and_opens_when_the_stock_has_drained() -> None:
    b = one(drain(roll(back="open"), **SHEET))
    assert b["dry_line"] == pytest.approx(0.17809, abs=5e-6)
    assert b["deposited_side"] == pytest.approx([7.744e-3, 4.720e-3], abs=5e-7)
    assert b["stalled"]


def test_a_short_wrap_does_not_reach_the_dry_line() -> None:
    c = one(drain(roll(wrap=20.0), **SHEET))
    assert math.isnan(c["dry_line"]) and c["dry_line_element"] == -1
    assert c["drained"] == pytest.approx(6.1405e-3, abs=5e-8)
    assert c["deposited"] == pytest.approx(9.8837e-3, abs=5e-8)
    assert c["dryness_leaving"] == pytest.approx(0.00770, abs=5e-6)


def test_gravity_alone_follows_the_closed_form() -> None:
    sheet = {
        **SHEET,
        "speed": 5.0,
        "consistency": 0.003,
        "resistance_coefficient": 2e9,
        "resistance_exponent": 0.0,
        "mat_coefficient": 1e12,
    }
    bare = [Element(length=4.0, wire_side=Law(gravity=1.0, fabric_resistance=1e6))]
    d = one(drain(bare, **sheet))
    assert d["drained"] == pytest.approx(3.49528e-3, abs=5e-9)
    stuck = 0.8 * 0.003 * 992.0
    time = drainage.filtration_time_gravity(d["drained"], d["stock_depth"], 992.0, 0.653e-3, 1e6, 2e9, stuck)
    assert time == pytest.approx(0.8, rel=1e-5)


@pytest.mark.parametrize(
    ("consistency", "tension", "factor", "degrees"),
    [
        (0.0015, 6e3, 1.0, 29.9),
        (0.0025, 6e3, 1.0, 17.8),
        (0.0015, 8e3, 1.0, 25.2),
        (0.0025, 8e3, 1.0, 15.0),
        (0.002, 6e3, 5.0, 79.6),
    ],
)
def test_end_of_forming_in_degrees_of_wrap(consistency: float, tension: float, factor: float, degrees: float) -> None:
    sheet = {
        **SHEET,
        "consistency": consistency,
        "resistance_coefficient": 7.1e8,
        "resistance_factor": factor,
    }
    e = one(drain(roll(tension=tension), **sheet))
    assert math.degrees(e["dry_line"] / RADIUS) == pytest.approx(degrees, abs=0.05)


# --- against the plain twin


def foils(number: int = 20) -> list[Element]:
    wedge = Law(load=2.5e3, gravity=1.0, flux_cap=5.0 * math.tan(math.radians(2.0)), **FABRIC)
    gap = Element(length=0.1775, wire_side=Law(gravity=1.0, **FABRIC))
    return [gap, Element(length=0.015, wire_side=wedge)] * number


TWIN_CASES: dict[str, tuple[list[Element], dict[str, Any]]] = {
    "one open side": (roll(), SHEET),
    "open roll": (roll(back="open"), SHEET),
    "suction roll": (roll(back="open", vacuum=1e4), SHEET),
    "slow stock": (roll(back="open"), {**SHEET, "resistance_coefficient": 1e10, "resistance_exponent": 0.7}),
    "constant resistance": (roll(), {**SHEET, "resistance_exponent": 0.0}),
    "table": (table(), {**SHEET, "speed": 10.0, "consistency": 0.004}),
    "dilute table": (table(), {**SHEET, "speed": 10.0, "consistency": 0.0015}),
    "table that stays packed": (table(), {**SHEET, "speed": 10.0, "consistency": 0.004, "mat_memory": 1.0}),
    "table that stays half packed": (table(), {**SHEET, "speed": 10.0, "consistency": 0.003, "mat_memory": 0.5}),
    "foils on a mat that stays packed": (foils(), {**SHEET, "speed": 5.0, "consistency": 0.0004, "mat_memory": 1.0}),
    "suction breast roll": (
        [
            Element(length=0.015, wire_side=Law(load=2e4 + 3e3, **FABRIC)),
            Element(length=0.38, wire_side=Law(load=2e4, gravity=1.0, curvature=2.0, **FABRIC)),
            Element(length=2.0, wire_side=Law(gravity=1.0, **FABRIC)),
        ],
        {**SHEET, "speed": 20.0, "consistency": 0.0018},
    ),
    "stalled breast roll": (
        [
            Element(length=0.3, wire_side=Law(load=1e4, curvature=2.0, **FABRIC)),
            Element(length=3.0, wire_side=Law(gravity=1.0, **FABRIC)),
        ],
        {**SHEET, "speed": 25.0, "consistency": 0.0018},
    ),
    "inclined wire": (
        [Element(length=0.25, wire_side=Law(load=6e3 + 2432.0 * (3 - i) / 4, head=608.0, **FABRIC)) for i in range(4)],
        {**SHEET, "speed": 5.0, "consistency": 0.0004},
    ),
    "pond without vacuum": (
        [Element(length=1.0, wire_side=Law(head=2432.0, **FABRIC))],
        {**SHEET, "speed": 5.0, "consistency": 0.0002},
    ),
    "weight held back by a negative load": (
        [Element(length=4.0, wire_side=Law(load=-20.0, gravity=1.0, **FABRIC))],
        {**SHEET, "speed": 5.0, "consistency": 0.0015},
    ),
    "felt with a little room": (
        [
            replace(
                roll()[0],
                back_side=Law(load=7520.0, curvature=0.2, uptake=0.7e-3, fabric_resistance=2e6),
            )
        ],
        SHEET,
    ),
    "two bends": (
        [
            *roll(wrap=20.0),
            Element(length=0.3),
            Element(
                length=0.6,
                back_side=Law(load=9e3, **FABRIC),
                wire_side=Law(load=9e3, curvature=1.6, **FABRIC),
            ),
        ],
        SHEET,
    ),
}


@pytest.mark.parametrize("name", TWIN_CASES)
def test_agrees_with_the_plain_twin(name: str) -> None:
    elements, sheet = TWIN_CASES[name]
    got, wanted = one(drain(elements, **sheet)), twin.drain(elements, **sheet)
    depth = got["stock_depth"]
    assert got["drained"] == pytest.approx(wanted["drained"], rel=1e-4)
    assert got["drained_side"] == pytest.approx(wanted["drained_side"], abs=1e-4 * depth)
    assert got["deposited_side"] == pytest.approx(wanted["deposited_side"], abs=1e-4 * sheet["grammage"])
    assert got["white_water"] == pytest.approx(wanted["white_water"], abs=1e-4 * depth)
    assert got["dry_line"] == pytest.approx(wanted["dry_line"], rel=1e-3, nan_ok=True)
    assert got["dry_line_element"] == wanted["dry_line_element"]
    assert got["dryness_leaving"] == pytest.approx(wanted["dryness_leaving"], rel=1e-3)
    whole = wanted["drainage_impulse"].sum()
    assert got["drainage_impulse"] == pytest.approx(wanted["drainage_impulse"], abs=1e-3 * whole)
    assert bool(got["stalled"]) == wanted["stalled"]


REFERENCE: dict[str, tuple[Any, float, float, str]] = {
    "roll, one side": (lambda v: roll(speed=v), 5.0, 25.0, "0.0060 0.0307"),
    "inclined wire": (lambda v: TWIN_CASES["inclined wire"][0], 5.0, 25.0, "0.0134 0.0666"),
    "gravity table": (
        lambda v: [Element(length=7.7, wire_side=Law(gravity=1.0, **FABRIC))],
        5.0,
        25.0,
        "0.0199 0.407",
    ),
    "fourteen table rolls": (
        lambda v: [
            e
            for _ in range(14)
            for e in (
                Element(length=0.55, wire_side=Law(gravity=1.0, **FABRIC)),
                Element(wire_side=Law(load=2.5e3, gravity=1.0, **FABRIC), nip_radius=0.1),
            )
        ],
        5.0,
        25.0,
        "0.0138 0.358",
    ),
}


@pytest.mark.parametrize("name", REFERENCE)
def test_lowest_consistency_is_that_of_the_reference_calculation(name: str) -> None:
    build, slow, fast, printed = REFERENCE[name]
    for speed, text in zip((slow, fast), printed.split(), strict=True):
        low, high = math.log(5e-5), math.log(1.5e-2)
        for _ in range(30):
            middle = 0.5 * (low + high)
            result = drain(build(speed), **{**SHEET, "speed": speed, "consistency": math.exp(middle)})
            low, high = (low, middle) if np.isfinite(result.dry_line[0]) else (middle, high)
        assert 100.0 * math.exp(high) == pytest.approx(float(text), rel=0.01)


@pytest.mark.parametrize("name", ["one open side", "open roll", "suction roll", "slow stock"])
def test_roll_formers_agree_with_the_twin_to_five_digits(name: str) -> None:
    elements, sheet = TWIN_CASES[name]
    got, wanted = one(drain(elements, **sheet)), twin.drain(elements, **sheet)
    assert got["drained"] == pytest.approx(wanted["drained"], rel=1e-5)
    assert got["dry_line"] == pytest.approx(wanted["dry_line"], rel=1e-4)


# --- balances and limits


def assert_closes(result: Drained, sheet: dict[str, Any]) -> None:
    water = result.white_water.sum(axis=(1, 2)) + result.depth_leaving
    assert np.max(np.abs(water / result.stock_depth - 1.0)) < 1e-9
    assert np.max(result.closure) < 1e-9
    assert np.allclose(result.white_water.sum(axis=1), result.drained_side, rtol=1e-12, atol=1e-18)
    lost = (1.0 - sheet["retention"]) / sheet["retention"]
    assert np.allclose(result.white_water_fibre.sum(axis=(1, 2)), lost * result.deposited, rtol=1e-12)
    assert np.all(result.deposited <= sheet["grammage"] * (1.0 + 1e-12))
    assert np.all(result.drained_side >= 0.0) and np.all(result.drainage_impulse >= 0.0)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    speed=st.floats(1.0, 40.0),
    consistency=st.floats(1e-4, 8e-3),
    retention=st.floats(0.3, 1.0),
    alpha=st.floats(1e8, 1e12),
    exponent=st.floats(0.0, 0.9),
    load=st.floats(-5e3, 5e4),
    curvature=st.floats(-3.0, 3.0),
    uptake=st.floats(0.0, 5e-3),
)
def test_water_in_is_water_out(
    speed: float,
    consistency: float,
    retention: float,
    alpha: float,
    exponent: float,
    load: float,
    curvature: float,
    uptake: float,
) -> None:
    sheet = {
        **SHEET,
        "speed": speed,
        "consistency": consistency,
        "retention": retention,
        "resistance_coefficient": alpha,
        "resistance_exponent": exponent,
    }
    back = Law(load=load, gravity=-1.0, curvature=-curvature, uptake=uptake, **FABRIC)
    front = Law(load=load, head=1e3, gravity=1.0, curvature=curvature, flux_cap=1.0, **FABRIC)
    elements = [
        Element(length=0.5, wire_side=front, back_side=back),
        Element(nip_radius=0.1, wire_side=front),
        Element(length=0.2),
        Element(length=1.0, wire_side=replace(front, load=2e4), back_side=replace(back, uptake=2 * uptake)),
    ]
    result = drain(elements, **sheet)
    assert_closes(result, sheet)
    assert result.drained_side[0, 1] <= 2.0 * uptake + 1e-15


@pytest.mark.parametrize("sides", [1, 2])
def test_a_constant_mat_needs_the_impulse_of_the_closed_form(sides: int) -> None:
    law = Law(load=7520.0, fabric_resistance=1e6)
    element = Element(length=3.0, wire_side=law, back_side=law if sides == 2 else None)
    got = one(drain([element], **{**SHEET, "resistance_exponent": 0.0}))
    held = 0.012464 / mat.mat_consistency_power(7520.0, 53.0, 0.38, 150.0)
    wanted = drainage.drainage_impulse_needed(got["stock_depth"] - held, 0.653e-3, 1e6, 1.1e9, 0.012464, float(sides))
    assert 7520.0 * got["dry_line"] / 30.0 == pytest.approx(wanted, rel=1e-5)
    assert got["drainage_impulse"][0, 0] == pytest.approx(wanted, rel=1e-5)


def test_two_open_sides_at_equal_pressure_share_the_sheet_evenly() -> None:
    law = Law(load=7520.0, **FABRIC)
    got = one(drain([Element(length=1.0, wire_side=law, back_side=law)], **SHEET))
    assert got["deposited_side"][0] == pytest.approx(got["deposited_side"][1], rel=1e-12)
    single = one(drain([Element(length=2.0, wire_side=law)], **SHEET))
    assert 2.0 * got["dry_line"] < single["dry_line"] < 4.0 * got["dry_line"]


def test_a_closed_felt_takes_nothing() -> None:
    shut = Law(load=5e4, uptake=0.0, **FABRIC)
    box = Element(length=0.2, wire_side=Law(load=1e4, **FABRIC))
    with_felt = [replace(e, back_side=shut) for e in (*roll(), box)]
    got, plain = drain(with_felt, **SHEET), drain([*roll(), box], **SHEET)
    assert np.all(got.white_water[0, :, 1] == 0.0)
    assert np.array_equal(got.dry_line, plain.dry_line)
    assert got.dryness_leaving == pytest.approx(plain.dryness_leaving, rel=1e-14)


def test_a_felt_takes_exactly_what_it_has_room_for() -> None:
    felt = Law(load=7520.0, uptake=0.6e-3, **FABRIC)
    got = one(drain([replace(roll()[0], back_side=felt)], **SHEET))
    assert got["drained_side"][1] == pytest.approx(0.6e-3, rel=1e-12)
    free = one(drain([replace(roll()[0], back_side=replace(felt, uptake=np.inf))], **SHEET))
    none = one(drain(roll(), **SHEET))
    assert free["dry_line"] < got["dry_line"] < none["dry_line"]


def test_a_table_roll_takes_the_pulse_of_its_entry_flux() -> None:
    law = Law(load=2.5e3, **FABRIC)
    got = one(drain([Element(wire_side=law, nip_radius=0.1)], **{**SHEET, "speed": 10.0}))
    u = drainage.flux_mat_fabric(2.5e3, 0.0, 0.653e-3, 992.0, 1.1e9, 0.4, 0.96e6, 8.2)
    assert got["drained"] == pytest.approx(drainage.drained_table_roll(u, 10.0, 0.1), rel=1e-12)
    assert got["drainage_impulse"][0, 0] == pytest.approx(2.5e3 * 0.2 * u / 100.0, rel=1e-9)


def test_a_table_roll_ends_at_the_dry_line_when_little_stock_is_left() -> None:
    law = Law(load=2.5e3, **FABRIC)
    elements = [
        Element(length=0.005, wire_side=law),
        *[Element(wire_side=law, nip_radius=0.05)] * 40,
        Element(length=1.0, wire_side=law),
    ]
    got = one(drain(elements, **{**SHEET, "speed": 3.0, "consistency": 0.006}))
    assert got["deposited"] == pytest.approx(0.012464, rel=1e-14)
    assert 0 < got["dry_line_element"] < 41
    assert got["dry_line"] == pytest.approx(0.005, rel=1e-12)


def test_a_capped_foil_takes_its_wedge_and_no_impulse_beyond_it() -> None:
    law = Law(load=2.5e3, flux_cap=0.1, **FABRIC)
    got = one(drain([Element(length=0.015, wire_side=law)], **{**SHEET, "speed": 10.0}))
    assert got["drained"] == pytest.approx(0.1 * 0.0015, rel=1e-9)
    assert got["drainage_impulse"][0, 0] < 0.3 * 2.5e3 * 0.0015
    assert got["flux_highest"] == pytest.approx(0.1, rel=1e-12)


def test_after_the_dry_line_only_more_pressure_squeezes_the_mat() -> None:
    weak, strong = (Element(length=0.2, wire_side=Law(load=p, **FABRIC)) for p in (1e3, 3e4))
    got = one(drain([*roll(), weak, strong, weak], **SHEET))
    assert got["white_water"][1, 0] == 0.0 and got["white_water"][3, 0] == 0.0
    dense = mat.mat_consistency_power(3e4, 53.0, 0.38, 150.0)
    assert got["depth_leaving"] == pytest.approx(0.012464 / dense, rel=1e-12)
    assert got["white_water_fibre"][2, 0] == 0.0
    assert got["dryness_leaving"] == pytest.approx(mat.dryness_saturated(dense, 992.0, 1500.0), rel=1e-12)


def test_the_squeeze_leaves_through_the_open_side_not_through_a_full_felt() -> None:
    felt = Law(load=5e4, uptake=0.0, **FABRIC)
    box = Element(length=0.2, wire_side=Law(load=2e4, **FABRIC), back_side=felt)
    got = one(drain([*roll(), box], **SHEET))
    dense = mat.mat_consistency_power(2e4, 53.0, 0.38, 150.0)
    assert got["depth_leaving"] == pytest.approx(0.012464 / dense, rel=1e-12)
    assert got["white_water"][1, 0] > 0.0 and got["white_water"][1, 1] == 0.0


def test_closed_elements_change_nothing_but_the_place() -> None:
    shifted = one(drain([Element(length=0.7), *roll()], **SHEET))
    plain = one(drain(roll(), **SHEET))
    assert shifted["dry_line"] == pytest.approx(plain["dry_line"] + 0.7, rel=1e-12)
    assert shifted["drained"] == plain["drained"]


def test_more_vacuum_never_leaves_a_wetter_sheet() -> None:
    vacuum = np.linspace(0.0, 6e4, 61)
    box = Element(length=0.1, wire_side=Law(load=vacuum, gravity=1.0, **FABRIC))
    for wrap in (15.0, 160.0):
        dryness = drain([*roll(wrap=wrap), box], **SHEET).dryness_leaving
        assert np.all(np.diff(dryness) >= -1e-12)


def test_thicker_stock_forms_earlier_and_slower_stock_later() -> None:
    consistency = np.linspace(0.001, 0.004, 31)
    assert np.all(np.diff(drain(roll(), **{**SHEET, "consistency": consistency}).dry_line) < 0.0)
    factor = np.linspace(1.0, 5.0, 21)
    assert np.all(np.diff(drain(roll(), **{**SHEET, "resistance_factor": factor}).dry_line) > 0.0)


def test_centrifugal_force_unloads_the_roll_side_and_never_helps() -> None:
    turned = one(drain(roll(back="open"), **SHEET))
    element = roll(back="open")[0]
    straight = replace(element, back_side=replace(element.back_side, curvature=0.0))  # type: ignore[type-var]
    assert one(drain([straight], **SHEET))["dry_line"] < turned["dry_line"] < one(drain(roll(), **SHEET))["dry_line"]


# --- arrays


def test_arrays_give_what_scalars_give_one_by_one() -> None:
    n = 5
    speed = np.linspace(8.0, 30.0, n)
    consistency = np.linspace(0.0012, 0.004, n)
    load = (6e3 - 0.4 * speed**2) / RADIUS
    length = np.linspace(0.5, 2.0, n)

    def former(load: Any, length: Any) -> list[Element]:
        back = Law(load=load, curvature=1.0 / RADIUS, **FABRIC)
        return [
            Element(length=length, wire_side=Law(load=load, **FABRIC), back_side=back),
            Element(nip_radius=0.1, wire_side=Law(load=load, **FABRIC)),
            Element(length=0.2, wire_side=Law(load=2e4, **FABRIC)),
        ]

    together = drain(former(load, length), **{**SHEET, "speed": speed, "consistency": consistency})
    for i in range(n):
        sheet = {**SHEET, "speed": speed[i], "consistency": consistency[i]}
        alone = drain(former(load[i], length[i]), **sheet)
        for name, part in together._asdict().items():
            assert np.array_equal(part[i], getattr(alone, name)[0], equal_nan=True), name


def test_many_cases_at_once_give_what_few_give() -> None:
    consistency = np.linspace(0.001, 0.004, 5000)
    many = drain(roll(back="open"), **{**SHEET, "consistency": consistency})
    few = drain(roll(back="open"), **{**SHEET, "consistency": consistency[::500]})
    assert np.array_equal(many.dry_line[::500], few.dry_line)


def test_a_case_of_an_array_of_one_is_one_case() -> None:
    got = drain(roll(), **{**SHEET, "speed": np.array([30.0])})
    assert got.drained.shape == (1,) and got.white_water.shape == (1, 1, 2)


def test_only_varying_elements_make_cases() -> None:
    load = np.array([5e3, 7.52e3, 1e4])
    got = drain([Element(length=2.0, wire_side=Law(load=load, **FABRIC))], **SHEET)
    assert got.drained.shape == (3,)
    assert got.dry_line[1] == pytest.approx(0.385542, abs=5e-7)


# --- what it refuses


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"speed": 0.0}, "speed"),
        ({"grammage": -1.0}, "grammage"),
        ({"consistency": 0.0}, "consistency"),
        ({"density": 0.0}, "density"),
        ({"retention": 0.0}, "retention"),
        ({"retention": 1.01}, "retention"),
        ({"resistance_exponent": 0.95}, "resistance_exponent"),
        ({"resistance_exponent": -0.1}, "resistance_exponent"),
        ({"consistency": 0.04}, "consistency"),
        ({"speed": math.nan}, "speed"),
        ({"speed": np.array([30.0, -1.0])}, "speed"),
    ],
)
def test_refuses_a_sheet_that_cannot_be(change: dict[str, Any], field: str) -> None:
    with pytest.raises(ValueError, match=field) as caught:
        drain(roll(), **{**SHEET, **change})
    assert isinstance(caught.value, Refused)
    fault = caught.value.faults[0]
    assert fault.field == field and fault.value and fault.bound and fault.remedy


@pytest.mark.parametrize(
    ("element", "field"),
    [
        (Element(length=1.0, wire_side=Law(load=1e3)), "fabric_resistance"),
        (Element(length=1.0, back_side=Law(load=1e3, fabric_resistance=np.zeros(2))), "fabric_resistance"),
        (Element(length=1.0, wire_side=Law(head=-1.0, **FABRIC)), "head"),
        (Element(length=1.0, wire_side=Law(head=np.array([1.0, -1.0]), **FABRIC)), "head"),
        (Element(length=-1.0, wire_side=Law(**FABRIC)), "length"),
        (Element(length=1.0, wire_side=Law(load=math.nan, **FABRIC)), "load"),
        (Element(length=1.0, wire_side=Law(load=math.inf, **FABRIC)), "load"),
    ],
)
def test_refuses_an_element_that_cannot_be(element: Element, field: str) -> None:
    with pytest.raises(Refused, match=field):
        drain([element], **SHEET)


def test_refuses_arrays_that_do_not_go_together() -> None:
    with pytest.raises(ValueError, match="cases"):
        drain(
            [Element(length=1.0, wire_side=Law(load=np.ones(3), **FABRIC))],
            **{**SHEET, "speed": np.full(2, 30.0)},
        )


def test_refuses_a_former_without_elements() -> None:
    with pytest.raises(Refused, match="elements"):
        drain([], **SHEET)


def test_a_worksheet_notes_the_march() -> None:
    elements = roll()
    with worksheet() as sheet:
        drain(elements, **SHEET)
    assert [step.label.name for step in sheet.steps] == ["drainage.drain"]
    assert RELATIONS["drainage.drain"].label.kind == "march"
