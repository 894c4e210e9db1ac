"""Runs the web down a line of parts, once, from the demand at the reel down to the reel.

Only order: every number comes from a part. A search (what speed holds the reel dryness) runs muted and the line is
then run once more at its answer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thinstock.formula.label import RangeWatch, ValueWatch, watching
from thinstock.machine.demand import demand
from thinstock.machine.furnish import furnish_of
from thinstock.machine.gather import consumers_of, masked, values_of
from thinstock.machine.holding import held_by_speed
from thinstock.machine.kept import run_part, run_pumps
from thinstock.machine.part import Done
from thinstock.machine.parts import Parts
from thinstock.machine.remember import remembering
from thinstock.machine.result import Result
from thinstock.machine.web import Around, Web
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.notes import Watch

HOLD = {"nothing": 0, "hood temperature": 1, "steam pressure": 2, "speed": 0}
"""What the dryer moves, by the word of the machine file."""


def surroundings(
    machine: Machine, *, single: bool, fast: bool = False, band: bool = False, hold: int = 0, resistance: Num = None
) -> Around:
    """What the parts may know besides the web; `resistance` is the stock's where that was looked up before."""
    stock, water = machine.stock, machine.stock.water()
    furnish = furnish_of(stock, stock.specific_resistance() if resistance is None else resistance, water)
    wanted = demand(machine.grade, machine.speed, machine.forming.wire_draw, machine.press.felt_draw)
    return Around(
        demand=wanted,
        site=machine.site,
        atmospheric_pressure=machine.site.atmospheric_pressure(),
        stock=stock,
        furnish=furnish,
        pressing=machine.press.dewatering.law(furnish, stock.surface_share),
        press_felt=machine.press.felt.running(),
        water=water,
        press_partner=machine.yankee.diameter if machine.yankee is not None else None,
        boxes=tuple(slot for slot in machine.vacuum.slot if slot.carrier == "wire"),
        grammage_cv_across=machine.reel.grammage_cv_across,
        moisture_deviation=machine.press.moisture_deviation,
        single=single,
        fast=fast,
        stride=1.5 if fast else 1.0,
        band=band,
        hold=hold,
    )


def run_line(machine: Machine, around: Around, *, through: str = "") -> Parts:
    """Part after part (to the one named, if any); behind a former that gave no sheet one case stops."""
    stock, wire = around.stock, around.demand.wire
    web = Web(
        fibre=wire.grammage, speed=wire.speed, width=machine.width, carrier="pipe", temperature=stock.temperature,
        fines_share=stock.fines_share, moisture_ratio=1.0 / stock.thick_consistency - 1.0, formed=False,
    )  # fmt: skip
    done: dict[str, Done] = {}
    parts = {place.name: place.part for place in machine.line}
    for place in machine.line:
        if place.name == "vacuum" and machine.vacuum.pump:
            held = run_pumps(machine.vacuum, machine.press, web, around)
            parts, around = {**parts, "vacuum": held.vacuum, "press": held.press}, held.around
        if place.name == "circuit":
            around = around.with_(passed=tuple(done.values()))
        web, done[place.name] = run_part(place.name, parts[place.name], web, around)
        if place.name == through or (around.single and not web.formed):
            break
        around = done[place.name].onward(around)
    return Parts(done)


def at_speed_held(machine: Machine, *, fast: bool = False) -> tuple[Machine, Num]:
    """The machine at the speed that gives its reel dryness with hood and steam as set, and how that was found."""

    def dried(trial: Machine, resistance: Num) -> Parts:
        around = surroundings(trial, single=False, fast=fast, resistance=resistance)
        return run_line(trial, around, through="dryer")

    return held_by_speed(machine, dried, fast=fast)


def run_machine(machine: Machine, *, fast: bool = False, band: bool = True, chained: bool = False) -> Result:
    """Run the machine and gather its result; the working of one case is kept when it is asked for.

    `band` also finds where slow stock would end to form, which takes a march of its own; `chained` cases lie near one
    another, and each drying begins where the one before it ended.
    """
    single = machine.cases() is None
    running, speed_status = machine, None
    if machine.hold_reel_dryness_by == "speed" and machine.yankee is not None:
        running, speed_status = at_speed_held(machine, fast=fast)
    hold = HOLD[machine.hold_reel_dryness_by]
    watch: Watch = ValueWatch() if single else RangeWatch()

    def gathered(known: Machine) -> Result:
        """The result of the line; `known` is the machine that runs, its numbers remembering or not."""
        around = surroundings(known, single=single, fast=fast, band=band, hold=hold)
        parts = run_line(known, around.with_(chained=chained))
        production = known.reel.production(parts.loop.around.demand, known.width)
        energy = consumers_of(parts, production)
        values = values_of(known, parts, energy, production)
        if speed_status is not None:
            values["hold_status"] = speed_status
        return Result(
            machine=known,
            asked=machine,
            held_by=machine.hold_reel_dryness_by,
            parts=parts,
            values=values if single else masked(values, np.asarray(parts.forming.formed)),
            energy=energy,
            watch=watch,
            again=(lambda sheet: gathered(remembering(running, sheet) if sheet else running)) if single else None,
        )

    with watching(watch):
        result = gathered(running)
        if not single:
            _ = result.notes  # they count the cases that left a range
        return result
