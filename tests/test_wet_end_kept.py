"""The wet end kept by what it is given: never another answer than a fresh one, and no march where none is due."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app_client import Client
from thinstock.app.pages import machine as page
from thinstock.case.read import load
from thinstock.drawing import layout
from thinstock.drawing.chart import chart_data
from thinstock.errors import Refused
from thinstock.formula.label import ARITHMETIC
from thinstock.kernels import drainage
from thinstock.machine.kept import HIDDEN, WetEnds, keeping
from thinstock.machine.keys import key_of
from thinstock.machine.line import Machine
from thinstock.machine.pumps import LiquidRingPump
from thinstock.machine.result import Result
from thinstock.machine.web import Around
from thinstock.words import quantity
from thinstock.words.quantity import Q

BEHIND = {
    "yankee.steam_pressure": "6.8 bar(g)", "hood.hood_factor": "0.6", "hood.exhaust_humidity": "0.38",
    "hood.air_temperature": "440 degC", "reel.trim_width": "0.1 m", "site.fresh_water_temperature": "14 degC",
}  # fmt: skip
PRESSED = {
    "press.dewatering.permeability_factor": "1.1", "press.felt.solidity": "58 %", "press.felt_draw": "0.3 %",
    "press.nip.suction_pressure_roll.line_load": "88 kN/m",
}  # fmt: skip


@pytest.fixture
def marches(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many marches along formers there were: one entry each."""
    found: list[int] = []
    march = drainage.march

    def counted(*given: Any) -> None:
        found.append(1)
        march(*given)

    monkeypatch.setattr(drainage, "march", counted)
    return found


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    made = Client(Path(tmp_path_factory.mktemp("workspace")))
    yield made
    made.close()


def fields_of(machine: Machine) -> list[str]:
    """Every number of the form that has a value."""
    return [
        where
        for where, value in machine.addresses()
        if isinstance(machine.declaration(where).about, Q) and value is not None and not np.ndim(value)
    ]


def told(result: Result) -> list[Any]:
    """All that a run tells, bit by bit."""
    stations = [key_of(tuple(one.__dict__.values())) for one in result.stations]
    streams = [key_of(tuple(one.__dict__.values())) for one in result.streams]
    users = [(one.id, one.of, key_of((one.power, one.per_mass))) for one in result.energy]
    values = {name: key_of(value) for name, value in result.values.items()}
    return [values, users, [str(note) for note in result.notes], stations, streams, result.watch.outside]


@pytest.mark.parametrize("kind", ["dryer", "press"])
def test_a_slider_behind_the_former_marches_nothing(client: Client, marches: list[int], kind: str) -> None:
    client.answer("machine=facial-roll", "quick", sight=[])
    for where, value in (BEHIND if kind == "dryer" else PRESSED).items():
        marches.clear()
        reply = client.answer(f"machine=facial-roll&set={where}={value}", "quick", sight=[])
        assert reply.status_code == 200, (where, reply.text)
        assert marches == [], where


def test_a_slider_of_the_headbox_marches_again(client: Client, marches: list[int]) -> None:
    client.answer("machine=facial-roll&set=headbox.consistency=0.2137 %", "quick", sight=[])
    assert len(marches) > 0


def pumped(machine: Machine) -> Machine:
    """The machine with a pump of its own on the felt's suction."""
    pump = LiquidRingPump(flow_free=0.35, serves="felt vacuum")
    return dataclasses.replace(machine, vacuum=dataclasses.replace(machine.vacuum, pump=(pump,)))


def answered(machine: Machine, ends: WetEnds | None) -> list[Any]:
    """All that a run tells, with what is kept or without; what it is refused for where it is."""
    try:
        if ends is None:
            return told(machine.run())
        with keeping(ends):
            return told(machine.run())
    except Refused as refused:
        return [str(refused)]


@pytest.mark.parametrize("name", ["facial-roll", "a pump", "facial-wire-felt-s", "board-two-shoes"])
def test_many_edits_in_any_order_give_what_a_fresh_run_gives(name: str) -> None:
    choose, ends = random.Random(7), WetEnds()
    here = pumped(load("facial-roll")) if name == "a pump" else load(name)
    fields = (
        fields_of(here) if name != "a pump" else ["vacuum.pump_flow_limit", *BEHIND, *PRESSED, "headbox.consistency"]
    )
    known, refused = answered(here, None), 0
    for where in choose.sample(fields, len(fields)):
        value = here.get(where)
        for now in (-1e12, value * choose.choice((0.93, 0.99, 1.02, 1.06)) + (0.0 if value else 0.01)):
            try:
                other = here.with_({where: now if isinstance(value, float) else value + 1})
            except Refused:
                refused += 1
                continue
            fresh = answered(other, None)
            assert answered(other, ends) == fresh, where
            assert answered(here, ends) == known, where
            if choose.random() < 0.5:  # what follows is asked of the changed machine
                here, known = other, fresh
    assert refused >= len(fields) - 20


def test_pieces_of_the_page_are_those_of_a_page_that_keeps_nothing(client: Client) -> None:
    choose, queries = random.Random(3), []
    changes = [
        ("yankee.steam_pressure", "6.7 bar(g)"), ("hood.jet_velocity", "104 m/s"), ("press.felt_draw", "0.4 %"),
        ("headbox.consistency", "0.213 %"), ("stock.temperature", "41 degC"), ("hood.air_temperature", "9999 degC"),
        ("vacuum.entry_factor", "0.21"), ("forming.wire_draw", "0.3 %"),
    ]  # fmt: skip
    for _ in range(12):
        chosen = choose.sample(changes, choose.choice((1, 2, 3)))
        queries.append("machine=facial-roll" + "".join(f"&set={where}={text}" for where, text in chosen))
    kept = [client.answer(query, "quick").json() for query in queries]
    fresh = []
    for query in queries:
        page._RUNS._held.clear()
        page._WET_ENDS.clear()
        fresh.append(client.answer(query, "quick").json())
    assert kept == fresh and any("faults" in one for one in kept) and any("marks" in one for one in kept)


def test_formulas_of_a_run_with_a_kept_wet_end_are_all_there() -> None:
    ends, machine = WetEnds(), load("facial-roll")
    for factor in (1.0, 0.99):
        other = machine.with_({"hood.hood_factor": machine.get("hood.hood_factor") * factor})
        with keeping(ends):
            result = other.run()
        assert result.formulas() == other.run().formulas() and "drainage.drain" in dict(result.formulas())


def test_what_a_part_is_not_shown_is_no_field_that_does_not_exist() -> None:
    names = {one.name for one in dataclasses.fields(Around)}
    assert all(hidden <= names for hidden in HIDDEN.values())


def test_few_wet_ends_are_kept_and_none_of_a_run_over_cases() -> None:
    ends, machine = WetEnds(), load("facial-roll")
    with keeping(ends):
        machine.with_({"headbox.consistency": np.array([0.0019, 0.002])}).run(fast=True)
        assert not ends._held
        for k in range(20):
            machine.with_({"headbox.consistency": 0.0019 + 1e-6 * k}).run()
    assert len(ends._held) == WetEnds.MOST


def test_zeros_of_either_sign_and_numbers_of_one_bit_are_told_apart() -> None:
    assert key_of(0.0) != key_of(-0.0) and key_of(1.0) != key_of(np.nextafter(1.0, 2.0))
    assert key_of(np.float64(np.nan)) == key_of(float("nan"))


@pytest.mark.parametrize("name", ["facial-roll", "board-two-shoes", "facial-wire-felt-s"])
def test_sources_and_formulas_asked_for_alone_are_those_of_the_worksheet(name: str) -> None:
    for factor in (1.0, 12.0):
        machine = load(name)
        machine = machine.with_({"stock.resistance_factor": machine.get("stock.resistance_factor") * factor})
        alone, working = machine.run(), machine.run()
        steps = [step.label for step in working.worksheet.steps] if working.worksheet is not None else []
        assert alone.sources() == sorted({label.source for label in steps}) == working.sources()
        told = sorted({(label.name, label.status) for label in steps if label.name != ARITHMETIC})
        assert alone.formulas() == told == working.formulas()
        assert "worksheet" not in alone.__dict__, "nobody asked for the working"


def test_the_chart_of_a_former_that_stays_is_not_marched_again(marches: list[int]) -> None:
    ends, machine = WetEnds(), load("facial-roll")
    for k, factor in enumerate((1.0, 0.99, 0.98)):
        with keeping(ends):
            result = machine.with_({"hood.hood_factor": 0.62 * factor, "headbox.consistency": 0.002002}).run()
        marches.clear()
        found = chart_data("drainage", result, "mill")
        assert (len(marches) > 0) == (k == 0)
        assert found == chart_data("drainage", machine.with_({"headbox.consistency": 0.002002}).run(), "mill")


def test_a_full_answer_lays_out_its_machine_once(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    laid: list[int] = []
    real = layout._Yankee.plan
    monkeypatch.setattr(layout._Yankee, "plan", lambda one: laid.append(1) or real(one))
    reply = client.answer("machine=facial-roll&set=headbox.consistency=0.20371 %", "full")
    assert "drawing-words" in reply.json()["pieces"] and len(laid) == 1


def test_numbers_of_a_part_that_stay_are_not_checked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    machine, checked = load("facial-roll"), []
    real = np.asarray
    monkeypatch.setattr(
        quantity.np, "asarray", lambda value, *more, **how: checked.append(1) or real(value, *more, **how)
    )
    changed = machine.with_({"yankee.steam_pressure": 7.1e5})
    fields = [one for one in quantity.declared(type(changed.yankee)) if isinstance(one.about, Q)]
    assert len(fields) >= 25 > len(checked)
    with pytest.raises(Refused):
        machine.with_({"yankee.steam_pressure": np.float64(np.inf)})
    with pytest.raises(Refused):
        machine.with_({"yankee.speed": np.float64(np.nan)})
