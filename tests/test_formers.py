"""Formers as library data and as elements: what they must reduce to, and what cannot be built."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

import thinstock
from test_machine import HEADLINE, _loose_ends
from thinstock import library
from thinstock.case.formers import closing, former
from thinstock.errors import Refused
from thinstock.kernels.drainage import Element, Law, drain
from thinstock.machine.elements import (
    Arriving,
    Foils,
    FormingBox,
    FormingRoll,
    GravityTable,
    InclinedBoxes,
    JetImpact,
    Straight,
    SuctionBreastRoll,
    TableRolls,
)
from thinstock.machine.forming import Forming
from thinstock.relations import drainage

STOCK = dict(
    grammage=0.012464, retention=0.8, density=992.0, viscosity=0.653e-3, resistance_coefficient=1.1e9,
    resistance_exponent=0.4, resistance_factor=1.0, mat_coefficient=53.0, mat_exponent=0.38, mat_pressure_floor=150.0,
    wall_density=1500.0,
)  # fmt: skip
MACHINES = Path(thinstock.__file__).parent / "library/machines"


def run(elements, speed=25.0, consistency=2e-3, **changes):
    depth = STOCK["grammage"] / (STOCK["retention"] * consistency * STOCK["density"])
    around = Arriving(speed, STOCK["density"], depth, depth, speed, 0.96e6, 8.2, 0.4)
    built = [part for element in elements for part in element.build(around)]
    return drain(built, speed=speed, consistency=consistency, **(STOCK | changes))


# -- the library ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", library.KEYS)
def test_every_former_of_the_library_is_whole(key):
    found = former(key)
    assert former(found.former) is found
    assert found.transfers == (1 if key.startswith("wire_felt") else 2)
    assert found.carrier == ("felt" if key.startswith("wire_felt") else "wire")
    assert bool(closing(key)) == (found.carrier == "wire")
    assert all(slot.carrier == "wire" for slot in closing(key))
    if key != "flat_wire_open":
        assert 0 < found.window.speed_low < found.window.speed_high < 60 and found.window.reason
    assert key in library.table("ladder") and library.table("ladder")[key]["gave_out"]


@pytest.mark.parametrize("key", library.KEYS)
def test_every_value_of_a_former_says_where_it_is_from(key):
    known = tomllib.loads((Path(thinstock.__file__).parent / "words/sources.toml").read_text(encoding="utf-8"))

    def look(node):
        if isinstance(node, dict) and "value" in node:
            assert node["source"] in known and node["status"]
        elif isinstance(node, dict):
            for child in node.values():
                look(child)
        elif isinstance(node, list):
            for child in node:
                look(child)

    look(library.former_file(key))


def test_a_former_that_is_not_there_is_refused_with_the_nearest():
    with pytest.raises(Refused, match="suction_breast_roll"):
        former("suction_brest_roll")


# -- a machine file names a former ---------------------------------------------------------------------------------


def with_forming(text: str) -> str:
    whole = (MACHINES / "facial-suction-breast-roll.toml").read_text(encoding="utf-8")
    return whole.replace('library = "suction_breast_roll"', text)


def test_a_machine_file_takes_a_former_from_the_library_and_changes_what_differs():
    machine = thinstock.loads(
        with_forming(
            'library = "suction_breast_roll"\ntransfers = 3\n\n[[forming.element]]\nname = "table"\nlength = "1.5 m"'
        )
    )
    assert [e.name for e in machine.forming.element] == ["suction breast roll", "table"]
    assert float(machine.forming.element[1].length) == 1.5 and machine.forming.transfers == 3
    assert float(machine.forming.element[0].vacuum) == pytest.approx(20e3)
    given = machine.given["forming.element.suction_breast_roll.vacuum"]
    assert given.status == "from memory" and given.note
    assert machine.given["forming.element.table.length"].status == "given"
    assert machine.given["forming.element.table.length"].line is not None
    assert machine.forming.window.speed_high == pytest.approx(20.0)


def test_words_and_key_of_a_former_mean_the_same():
    by_key = thinstock.loads(with_forming('library = "wire_felt_c"').replace('carrier = "wire"', 'carrier = "felt"'))
    by_words = thinstock.loads(
        with_forming('former = "wire and felt, C-wrap"').replace('carrier = "wire"', 'carrier = "felt"')
    )
    assert [a for a, _ in by_key.addresses()] == [a for a, _ in by_words.addresses()]


@pytest.mark.parametrize(
    "text, said",
    [
        ('library = "suction_brest_roll"', "Nearest: suction_breast_roll"),
        ('library = "suction_breast_roll"\n\n[[forming.element]]\nname = "tabel"\nlength = "1 m"', "Nearest: table"),
        ('library = "suction_breast_roll"\n\n[[forming.element]]\nname = "table"\nlenght = "1 m"', "Nearest: length"),
    ],
)
def test_a_slip_in_naming_a_former_is_refused_with_its_line(text, said):
    with pytest.raises(Refused, match=said) as refused:
        thinstock.loads(with_forming(text))
    assert refused.value.faults[0].line is not None


def test_a_library_former_with_changes_survives_being_written_and_read_again():
    from thinstock.case import dumps

    machine = thinstock.loads(
        with_forming('library = "suction_breast_roll"\n\n[[forming.element]]\nname = "table"\nlength = "1.5 m"')
    )
    same = thinstock.loads(dumps(machine))
    assert 'library = "suction_breast_roll"' in dumps(machine)
    assert float(same.forming.element[1].length) == 1.5
    changed = machine.with_({"forming.element.table.length": 1.2, "forming.element.suction_breast_roll.vacuum": 18e3})
    again = thinstock.loads(dumps(changed))
    assert float(again.forming.element[1].length) == pytest.approx(1.2)
    assert float(again.forming.element[0].vacuum) == pytest.approx(18e3)


# -- limiting cases ------------------------------------------------------------------------------------------------

PLAIN = dict(resistance_exponent=0.0, mat_coefficient=1e12, mat_exponent=0.0, resistance_coefficient=2e9)
"""A mat of constant resistance that holds no water, for the closed forms."""


@pytest.mark.parametrize("sides", [1, 2])
def test_a_roll_of_endless_radius_drains_like_the_closed_form_at_constant_pressure(sides):
    pressure, speed, viscous = 8e3, 25.0, 1e6
    depth = STOCK["grammage"] / (0.8 * 2e-3 * 992)
    errors = []
    for radius in (0.75, 75.0, 7.5e6):
        outer = Law(load=pressure, fabric_resistance=viscous)
        inner = Law(load=pressure, curvature=1 / radius, fabric_resistance=viscous) if sides == 2 else None
        done = drain([Element(length=20.0, wire_side=outer, back_side=inner)], speed=speed, consistency=2e-3,
                     **(STOCK | PLAIN))  # fmt: skip
        needed = drainage.drainage_impulse_needed(depth, STOCK["viscosity"], viscous, 2e9, STOCK["grammage"], sides)
        errors.append(abs(pressure * done.dry_line[0] / speed / needed - 1))
    assert errors[-1] < 1e-5
    if sides == 2:
        assert errors[0] > 0.1 > errors[1] > errors[2]


def test_two_open_sides_at_equal_pressure_give_four_times_the_capacity_of_a_mat():
    speed, length, pressure = 25.0, 2.0, 8e3
    law = Law(load=pressure, fabric_resistance=1.0)

    def drained(back):
        low, high = 1e-6, 5e-3
        for _ in range(60):
            middle = math.sqrt(low * high)
            done = drain([Element(length=length, wire_side=law, back_side=back)], speed=speed, consistency=middle,
                         **(STOCK | PLAIN))  # fmt: skip
            low, high = (low, middle) if np.isfinite(done.dry_line[0]) else (middle, high)
        return STOCK["grammage"] / (0.8 * high * 992)

    assert drained(law) / drained(None) == pytest.approx(4.0, rel=1e-4)


@pytest.mark.parametrize("speed", [6.0, 15.0, 30.0])
def test_a_suction_breast_roll_without_vacuum_is_an_open_one(speed):
    table = TableRolls()
    suction = SuctionBreastRoll(vacuum=0.0, impact_angle=math.radians(15))
    plain = run([JetImpact(impact_angle=math.radians(15)), table], speed)
    without = run([suction, table], speed)
    assert without.drained[0] == pytest.approx(plain.drained[0], rel=1e-9)
    assert without.deposited[0] == pytest.approx(plain.deposited[0], rel=1e-9)
    assert run([SuctionBreastRoll(impact_angle=math.radians(15)), table], speed).drained[0] > plain.drained[0]


def test_an_inclined_wire_laid_flat_without_a_pond_is_a_table_of_wet_boxes():
    inclined = InclinedBoxes(number=4, length=0.25, vacuum=3e3, pond_head=0.0, slope=0.0)
    flat = run([FormingBox(length=1.0, vacuum=3e3)], 5.0, 4e-4)
    laid = run([inclined], 5.0, 4e-4)
    assert laid.drained[0] == pytest.approx(flat.drained[0], rel=1e-6)
    deeper = run([InclinedBoxes(number=4, length=0.25, vacuum=3e3)], 5.0, 4e-4)
    assert deeper.drained[0] > flat.drained[0]


def test_an_s_wrap_whose_second_arc_is_zero_is_a_c_wrap():
    first = FormingRoll(wrap=math.radians(60))
    second = FormingRoll(name="second roll", wrap=0.0, outer="back", roll_diameter=1.0)
    s = run([first, Straight(length=0.3), second], consistency=1.2e-3)
    c = run([first], consistency=1.2e-3)
    for field in ("drained", "deposited", "dryness_leaving"):
        assert getattr(s, field)[0] == pytest.approx(getattr(c, field)[0], rel=1e-12)


def test_a_closed_felt_takes_nothing_and_an_open_one_no_more_than_it_can():
    first = FormingRoll(wrap=math.radians(15))
    for uptake in (0.0, 3e-4):
        felt = FormingRoll(name="second roll", wrap=math.radians(60), outer="back", outer_uptake=uptake)
        done = run([first, felt])
        taken = done.white_water[0, :, 1].sum()
        assert taken == pytest.approx(uptake, abs=1e-12)
    inner = run([FormingRoll(wrap=math.radians(60), inner_uptake=2e-4)])
    assert 0 < inner.white_water[0, :, 1].sum() <= 2e-4 + 1e-12
    closed = run([FormingRoll(wrap=math.radians(60), inner_uptake=0.0)])
    assert closed.white_water[0, :, 1].sum() == 0.0


def test_with_a_closed_felt_and_a_solid_roll_the_second_bend_gains_nothing():
    s, c = former("wire_felt_s"), former("wire_felt_c")
    first = s.element[0]
    shorter = run([dataclasses.replace(c.element[0], wrap=first.wrap, inner_wrap=first.inner_wrap)])
    whole = run(list(s.element))
    assert whole.drained[0] == pytest.approx(shorter.drained[0], rel=1e-12)
    opened = run([*s.element[:-1], dataclasses.replace(s.element[-1], roll="open")], consistency=8e-4)
    assert opened.drained[0] > run(list(s.element), consistency=8e-4).drained[0]


def test_more_vacuum_in_the_roll_never_drains_less():
    drained = [
        run([FormingRoll(wrap=math.radians(20), roll="suction", vacuum=v)], 33.0).drained[0]
        for v in (0.0, 5e3, 10e3, 15e3)
    ]
    assert drained == sorted(drained)


def test_foils_beyond_five_degrees_bring_no_more_water():
    five, fifteen = (
        run([GravityTable(length=0.5), Foils(number=10, foil_angle=math.radians(a))], 8.0, 8e-4).drained[0]
        for a in (5, 15)
    )
    assert fifteen == pytest.approx(five, rel=1e-12)


# -- what cannot be built ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "make, field, said",
    [
        (lambda: Forming(element=(Straight(),)), "element", "no open side"),
        (lambda: Forming(element=(FormingRoll(wrap=0.0),)), "element", "no open side"),
        (lambda: Forming(element=(FormingRoll(outer="back", outer_uptake=0.0),)), "element", "no open side"),
        (lambda: Foils(pitch=0.05, foil_length=0.06), "foil_length", "shorter than the pitch"),
        (lambda: TableRolls(pitch=0.15, roll_diameter=0.2), "roll_diameter", "smaller than the pitch"),
        (lambda: FormingRoll(wrap=math.radians(340)), "wrap", "free circumference"),
        (lambda: FormingRoll(wrap=math.radians(320), inner_wrap=math.radians(350)), "inner_wrap", "free circumference"),
        (lambda: FormingRoll(inner_wrap=math.radians(100)), "inner_wrap", "at least as far"),
        (lambda: FormingRoll(vacuum=5e3), "vacuum", "solid roll"),
        (lambda: Foils(foil_angle=math.radians(26)), "foil_angle", "25"),
        (lambda: InclinedBoxes(pond_head=0.4), "pond_head", "climb over the boxes"),
        (lambda: InclinedBoxes(slope=0.0, pond_head=0.1), "pond_head", "climb over the boxes"),
    ],
)
def test_what_cannot_be_built_is_refused_by_name(make, field, said):
    with pytest.raises(Refused) as refused:
        make()
    fault = refused.value.faults[0]
    assert fault.field == field and said in str(fault)


def test_two_rolls_on_one_yankee_may_not_overlap():
    machine = thinstock.load("bath-twin-wire-s")
    first, second = machine.press.nip
    with pytest.raises(Refused, match="overlap") as refused:
        machine.with_({"press.nip.blind-drilled_press_roll.nip_angle": float(first.nip_angle) + 0.3})
    assert refused.value.faults[0].field == "press.nip.blind-drilled_press_roll.nip_angle"
    assert float(second.nip_angle) > float(first.nip_angle)


@pytest.mark.parametrize("name", [m.name for m in thinstock.machines()])
def test_on_every_former_every_headline_traces_back_to_the_machine_file(name):
    result = thinstock.load(name).run()
    loose = set()
    for number in HEADLINE:
        if result.values.get(number) is not None:
            loose |= set(_loose_ends(result.worksheet, result[number], set(), number))
    assert not loose


@pytest.mark.parametrize("name", [m.name for m in thinstock.machines()])
def test_a_run_gives_the_same_numbers_and_notes_whether_or_not_its_working_is_asked_for(name):
    plain, worked = thinstock.load(name).run(), thinstock.load(name).run()
    assert worked.worksheet is not None
    assert {k: v for k, v in plain.values.items() if v == v} == {k: v for k, v in worked.values.items() if v == v}
    assert [(s.name, float(s.water), float(s.heat)) for s in plain.streams] == [
        (s.name, float(s.water), float(s.heat)) for s in worked.streams
    ]
    assert plain.notes == worked.notes
