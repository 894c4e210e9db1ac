"""Problems to be set around one machine: numbers near its own, rounded as one writes them, answers from the formulas.

Every problem is worked out under a worksheet of its own, so that its key shows the very formulas that gave the answer.
The words are in problems.toml. Random numbers come from one seed; the same seed makes the same problems everywhere.
"""

from __future__ import annotations

import random
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

import numpy as np

from thinstock.formula.label import Worksheet, worksheet
from thinstock.machine.elements.roll import FormingRoll
from thinstock.relations import (
    balance,
    circulation,
    circulation_steps,
    creping,
    drainage,
    jet,
    mat,
    network,
    nip,
    pressing,
    retention,
    suspension,
)
from thinstock.tell import former_problems
from thinstock.tell.maker import Answers, Maker
from thinstock.tell.teller import Teller
from thinstock.tell.worked import WorkedStep, steps_of
from thinstock.words.phrase import phrase

LEVELS = (1, 2, 3)
ANSWER_DIGITS = 3


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One thing asked for."""

    what: str
    word: str
    value: float
    """Base SI."""
    text: str
    """With unit, as the key prints it."""
    unit: str


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One problem with its key."""

    kind: str
    level: int
    title: str
    text: str
    asked: tuple[Asked, ...]
    steps: tuple[WorkedStep, ...]
    remark: str
    """What the answer means, for the key."""
    sheet: Worksheet


# -- what is worked out, kind by kind --------------------------------------------------------------------------------


def _water_in_stock(m: Maker) -> Answers:
    return [("water_per_fibre", balance.water_per_fibre_stock(m.thin(0.4)))]


def _head_and_jet(m: Maker) -> Answers:
    head = m.near("headbox_head", m.result["headbox_head"], 0.3)
    return [("jet_speed", jet.jet_speed_bernoulli(head, m.losses(), m.density()))]


def _flow_per_metre(m: Maker) -> Answers:
    weight = m.near("grammage", m.wet.grammage_wire, 0.2, 3)
    flow = jet.flow_per_width(weight, m.speed("wire_speed"), m.thin(), m.kept(), m.density())
    return [("flow_per_width", flow)]


def _time_on_roll(m: Maker) -> Answers:
    wrap, radius = m.between("wrap", np.radians(80), np.radians(180)), m.between("roll_radius", 0.5, 0.85)
    return [("dwell", drainage.dwell_wrap(wrap, radius, m.speed()))]


def _press_impulse(m: Maker) -> Answers:
    return [("press_impulse", nip.impulse(m.near("line_load", m.machine.press.nip[0].line_load), m.speed()))]


def _production(m: Maker) -> Answers:
    sold = m.near("reel_grammage", m.machine.grade.reel_grammage, 0.15, 3)
    speed, wide = m.near("reel_speed", m.wet.reel_speed, 0.15, 3), m.near("trim_width", m.machine.reel.trim_width, 0.1)
    return [("production", creping.production_reel(sold, speed, wide, m.between("efficiency", 0.85, 0.96)))]


def _crowding(m: Maker) -> Answers:
    fibre = m.main_fibre()
    length, coarse = m.near("fibre_length", fibre.fibre_length, 0.15), m.near("coarseness", fibre.coarseness, 0.15)
    return [("crowding_number", suspension.crowding_number(m.thin(), m.density(), length, coarse))]


def _water_in_sheet(m: Maker) -> Answers:
    into = pressing.moisture_ratio_from_dryness(m.between("dryness_in", 0.14, 0.22))
    out = pressing.moisture_ratio_from_dryness(m.between("dryness_out", 0.36, 0.46))
    return [("moisture_ratio", into), ("moisture_ratio", out), ("moisture_ratio", balance.difference(into, out))]


def _rush_or_drag(m: Maker) -> Answers:
    ratio = m.plain("jet_ratio", 0.97 + 0.06 * m.dice.random())
    speed = ratio * m.speed("wire_speed")
    return [("jet_speed", speed), ("headbox_head", jet.headbox_head_for_jet(speed, m.losses(), m.density()))]


def _slice(m: Maker) -> Answers:
    flow, neck = m.near("flow_per_width", m.result["flow_per_width"], 0.25, 3), m.neck()
    opening = jet.slice_opening(flow, neck, m.near("jet_speed", m.result["jet_speed"], 0.15, 3))
    return [("slice_opening", opening), ("jet_thickness", jet.jet_thickness(opening, neck))]


def _weight_on_wire(m: Maker) -> Answers:
    weight, dry, speed, crepe = m.sold()
    reel = creping.reel_speed_from_crepe(speed, crepe)
    return [("reel_speed", reel), ("grammage", jet.grammage_on_wire(weight, dry, reel, speed))]


def _roll_pressure(m: Maker) -> Answers:
    pull, mass = m.between("fabric_tension", 4e3, 9e3), m.between("fabric_mass", 0.3, 0.5)
    radius, speed, depth = m.between("roll_radius", 0.5, 0.85), m.speed(), m.between("stock_depth", 4e-3, 9e-3)
    pressed = drainage.pressure_forming_roll(pull, mass, speed, radius)
    carried = drainage.pressure_centrifugal(m.density(), depth, speed, radius)
    return [("pressure_drop", pressed), ("pressure_drop", carried)]


def _fan_pump(m: Maker) -> Answers:
    flow, head = (
        m.near("flow_per_width", m.result["flow_per_width"], 0.25, 3),
        m.near("headbox_head", m.result["headbox_head"], 0.25),
    )
    loss, lift = m.near("line_loss", m.wet.delivery.line_loss, 0.3), m.between("static_lift", 2.0, 6.0)
    power = jet.fan_pump_power(flow, head, loss, lift, m.density(), m.between("efficiency", 0.70, 0.82))
    return [("power_per_width", power)]


def _layers(m: Maker) -> Answers:
    fibre = m.main_fibre()
    weight = m.near("grammage", m.wet.grammage_wire, 0.25, 3)
    covered = network.coverage(weight, m.given("fibre_grammage", float(fibre.coarseness) / float(fibre.fibre_width), 2))
    return [("coverage", covered), ("open_area", network.open_area(covered))]


def _mixing(m: Maker) -> Answers:
    fan, thin = m.near("fan_flow", m.mass_flow(), 0.2, 3), m.near("fan_consistency", m.result["consistency"])
    thick = m.given("thick_consistency", max(0.025 + 0.017 * m.dice.random(), 2.5 * float(thin)), 2)
    back = m.given("white_water_consistency", float(thin) * (0.15 + 0.15 * m.dice.random()), 2)
    return [
        ("thick_flow", circulation.thick_flow_dilution(fan, thin, thick, back)),
        ("white_water_flow", circulation.white_water_flow_dilution(fan, thin, thick, back)),
    ]


def _point_of_dryness(m: Maker) -> Answers:
    before = m.near("dryness_before", m.result["dryness_press"], 0.06, 3)
    after = m.given("dryness_after", float(before) + 0.01, 3)
    less = pressing.drying_load_change(before, after, m.given("reel_dryness", m.machine.grade.reel_dryness, 3))
    steam = m.near("specific_energy", max(float(m.result["steam_per_product"]), 1e6), 0.15)
    return [("drying_load_change", less), ("specific_energy", less * steam)]


def _reel_to_slice(m: Maker) -> Answers:
    weight, dry, speed, crepe = m.sold()
    on_wire = jet.grammage_on_wire(weight, dry, creping.reel_speed_from_crepe(speed, crepe), speed)
    density = m.density()
    flow = jet.flow_per_width(on_wire, speed, m.thin(), m.kept(), density)
    return [
        ("flow_per_width", flow),
        ("slice_opening", jet.slice_opening(flow, m.neck(), speed)),
        ("headbox_head", jet.headbox_head_for_jet(speed, m.losses(), density)),
    ]


def _wrap_needed(m: Maker) -> Answers:
    pull, mass, radius = (
        m.between("fabric_tension", 5e3, 9e3),
        m.given("fabric_mass", 0.4, 2),
        m.between("roll_radius", 0.6, 0.85),
    )
    wrap, speed = m.between("wrap", np.radians(120), np.radians(180)), m.speed(spread=0.15)
    pressed = drainage.pressure_forming_roll(pull, mass, speed, radius)
    first = m.given("resistance_coefficient", m.wet.resistance, 2)
    exponent = m.plain("resistance_exponent", float(m.machine.stock.resistance_exponent))
    time = drainage.filtration_time_ruth(
        m.near("drained", m.wet.delivery.stock_depth, 0.15), pressed, m.given("viscosity", m.wet.water.viscosity, 2),
        m.near("fabric_resistance", 1.2e6), mat.specific_filtration_resistance_power(pressed, first, exponent),
        m.given("solids_concentration", m.wet.retention * m.result["consistency"] * m.wet.water.density, 2),
    )  # fmt: skip
    there = drainage.dwell_wrap(wrap, radius, speed)
    used = time / there
    return [("dwell", time), ("dwell", there), ("share", used), ("wrap", used * wrap)]


def _press_gain(m: Maker) -> Answers:
    part, model = m.machine.press.nip[0], m.machine.press.dewatering
    low = m.near("line_load", part.line_load, 0.1, name="lower_load")
    high = m.given("line_load", float(low) * (1.15 + 0.2 * m.dice.random()), 2, name="higher_load")
    speed, wet = m.speed(spread=0.15), m.near("moisture_ratio", m.wet.nips[0].moisture_ratio_in, 0.15)
    weight = m.near("grammage", m.wet.grammage_felt, 0.15)
    nu = m.given("kinematic_viscosity", m.wet.water.viscosity / m.wet.water.density, 2)
    permeability = m.given("specific_permeability", m.wet.parts.press.around.pressing.specific_permeability, 2)
    exponent = m.plain("permeability_exponent", float(model.permeability_exponent))
    least = m.given("equilibrium_moisture", m.wet.nips[0].equilibrium_moisture, 2)
    one, back = m.plain("felts", 1.0), m.given("rewet", m.wet.nips[0].rewet, 2)

    def dryness(load: Any) -> Any:
        driest = pressing.moisture_pressed_decreasing_permeability(
            wet, nip.impulse(load, speed), weight, nu, permeability, exponent, least, one
        )
        return pressing.dryness_from_moisture_ratio(pressing.moisture_ratio_rewetted(driest, back, weight))

    before, after = dryness(low), dryness(high)
    return [("dryness", before), ("dryness", after), ("dryness", balance.difference(after, before))]


def _silo(m: Maker) -> Answers:
    mass, flow = (
        m.near("silo_mass", max(float(m.machine.loop.silo_mass or 0.0), 2e4), 0.3),
        m.near("silo_flow", m.mass_flow()),
    )
    back, kept = m.between("return_share", 0.85, 0.98), m.near("retention", m.result["retention"], 0.1)
    reject, left = m.between("reject_share", 0.005, 0.03, 1), m.given("remaining_share", 0.05, 1)
    settled = circulation_steps.silo_time_constant(mass, flow, back, kept, reject)
    return [
        ("time_constant", settled),
        ("elapsed", circulation_steps.step_time_thick_stock(left, settled, back, kept, reject)),
    ]


def _survey(m: Maker) -> Answers:
    box = m.thin(0.15)
    tray = m.given("white_water_consistency", float(box) * (0.12 + 0.16 * m.dice.random()), 2)
    kept = retention.retention_first_pass(box, tray)
    spread = circulation.retention_uncertainty_two_consistencies(
        box,
        tray,
        m.between("jet_relative_uncertainty", 0.015, 0.03),
        m.between("tray_relative_uncertainty", 0.04, 0.08),
    )
    apart = balance.difference(kept, m.given("retention", float(kept) + (m.dice.random() - 0.5) * 8 * float(spread), 3))
    m.texts["twice"] = m.teller.say("retention_uncertainty", 2 * float(spread), 3)
    agree = abs(float(apart)) <= 2 * float(spread)
    m.texts["verdict"] = phrase(f"tell.problems.{'they_agree' if agree else 'they_do_not_agree_one'}")
    return [("retention", kept), ("retention_uncertainty", spread), ("retention", apart)]


def _who_takes(m: Maker) -> Answers:
    """Water per fibre at five places, and what each part of the machine takes of it."""
    carried = [balance.water_per_fibre_stock(m.thin())]
    for name, low, high in (
        ("formed", 0.08, 0.13),
        ("sucked", 0.17, 0.23),
        ("pressed", 0.37, 0.45),
        ("dried", 0.93, 0.96),
    ):
        carried.append(
            pressing.moisture_ratio_from_dryness(m.given("dryness", low + (high - low) * m.dice.random(), 3, name))
        )
    return [("moisture_ratio", balance.difference(a, b)) for a, b in pairwise(carried)]


def _transfer(m: Maker) -> Answers:
    """Water that goes over with the sheet where it leaves a fabric."""
    carried = pressing.moisture_ratio_from_dryness(m.between("dryness", 0.14, 0.24))
    weight, speed = m.near("grammage", m.wet.grammage_wire, 0.2, 3), m.speed()
    return [("moisture_ratio", carried), ("water_flow_per_width", balance.water_flow(carried, weight, speed))]


def _has_roll(teller: Teller) -> bool:
    return any(isinstance(one, FormingRoll) for one in teller.machine.forming.element)


def _is_creped(teller: Teller) -> bool:
    return float(teller.machine.grade.crepe) > 0


def _is_thin(teller: Teller) -> bool:
    """Whether the sheet is so light that bare spots are a question at all."""
    fibre = max(teller.machine.stock.furnish, key=lambda one: float(one.share))
    return float(teller.result.wet.grammage_wire) < MANY * float(fibre.coarseness) / float(fibre.fibre_width)


MANY = 8.0
"""Layers of fibre above which nothing is bare."""
KINDS: dict[str, Callable[[Maker], Answers]] = {
    "water in the stock": _water_in_stock,
    "head and jet": _head_and_jet,
    "flow per metre": _flow_per_metre,
    "time on the roll": _time_on_roll,
    "press impulse": _press_impulse,
    "production": _production,
    "crowding": _crowding,
    "water in the sheet": _water_in_sheet,
    "rush or drag": _rush_or_drag,
    "slice": _slice,
    "weight on the wire": _weight_on_wire,
    "forming-roll pressure": _roll_pressure,
    "fan pump": _fan_pump,
    "layers": _layers,
    "thick stock and white water": _mixing,
    "a point of dryness": _point_of_dryness,
    "from reel to slice": _reel_to_slice,
    "wrap needed": _wrap_needed,
    "press gain": _press_gain,
    "silo": _silo,
    "survey": _survey,
    "who takes the water": _who_takes,
    "transfer": _transfer,
    **former_problems.KINDS,
}
"""Every kind of problem with what works it out; its words are under the same name in problems.toml."""

NEEDS_SHEET = frozenset({"press gain", "a point of dryness"})
"""Kinds whose numbers come from behind the former."""


FITS: dict[str, Callable[[Teller], bool]] = {
    **dict.fromkeys(("time on the roll", "forming-roll pressure", "wrap needed"), _has_roll),
    **dict.fromkeys(("weight on the wire", "from reel to slice"), _is_creped),
    "layers": _is_thin,
}
"""Kinds that ask for something not every machine has."""


def fitting(teller: Teller) -> list[str]:
    """The kinds of problem that a machine has what they ask for."""
    fits = [kind for kind in KINDS if kind not in FITS or FITS[kind](teller)]
    return [kind for kind in fits if former_problems.suits(teller.machine, kind)]


@lru_cache(maxsize=1)
def words() -> dict[str, dict[str, Any]]:
    """The words of every kind of problem."""
    return tomllib.loads(files("thinstock.tell").joinpath("problems.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Order:
    """What is ordered."""

    levels: tuple[int, ...] = LEVELS
    count: int = 8
    seed: int = 1
    kinds: tuple[str, ...] = field(default=())
    """Only these kinds; all that fit the machine if empty."""


def problems(teller: Teller, order: Order) -> tuple[Problem, ...]:
    """So many problems of these levels; no kind comes twice before every kind has come once."""
    dice = random.Random(order.seed)
    wanted = [
        kind
        for kind in order.kinds or fitting(teller)
        if words()[kind]["level"] in order.levels and (teller.formed or kind not in NEEDS_SHEET)
    ]
    made: list[Problem] = []
    while wanted and len(made) < order.count:
        shuffled = sorted((dice.random(), kind) for kind in wanted)
        for _, kind in shuffled[: order.count - len(made)]:
            made.append(problem(teller, kind, f"{order.seed}/{len(made)}/{kind}"))
    return tuple(sorted(made, key=lambda one: one.level))


def problem(teller: Teller, kind: str, seed: str) -> Problem:
    """One problem of a kind."""
    said = words()[kind]
    with worksheet() as sheet:
        maker = Maker(teller, random.Random(seed), sheet)
        answers = KINDS[kind](maker)
    edge = teller.edge
    both = object()
    sheet.merged(both, tuple(value for _, value in answers))
    return Problem(
        kind=kind,
        level=said["level"],
        title=said["title"],
        text=said["text"].format(**maker.texts),
        asked=tuple(
            Asked(
                what=what,
                word=word,
                value=float(value),
                text=edge.text(word, value, ANSWER_DIGITS),
                unit=edge.unit(word),
            )
            for what, (word, value) in zip(said["asked"], answers, strict=True)
        ),
        steps=steps_of(sheet, both, edge),
        remark=said["remark"].format(**maker.texts),
        sheet=sheet,
    )
