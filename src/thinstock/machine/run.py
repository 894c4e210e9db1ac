"""Runs the web down a line of parts, once, from the demand at the reel down to the reel.

Only order: every number comes from a part. A search (what speed holds the reel dryness) runs muted and the line is
then run once more at its answer.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from thinstock.formula.label import range_watch, worksheet
from thinstock.machine.demand import demand
from thinstock.machine.gather import gathered
from thinstock.machine.holding import held_by_speed
from thinstock.machine.part import Done
from thinstock.machine.parts import Parts
from thinstock.machine.remember import remembering
from thinstock.machine.web import Around, Web

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.result import Result

HOLD = {"nothing": 0, "hood temperature": 1, "steam pressure": 2, "speed": 0}
"""What the dryer moves, by the word of the machine file."""


def surroundings(machine: Machine, *, single: bool, fast: bool = False, band: bool = False, hold: int = 0) -> Around:
    """What the parts may know besides the web."""
    wanted = demand(machine.grade, machine.speed, machine.forming.wire_draw, machine.press.felt_draw)
    return Around(
        demand=wanted,
        site=machine.site,
        atmospheric_pressure=machine.site.atmospheric_pressure(),
        stock=machine.stock,
        resistance=machine.stock.specific_resistance(),
        water=machine.stock.water(),
        press_partner=machine.yankee.diameter if machine.yankee is not None else None,
        boxes=tuple(slot for slot in machine.vacuum.slot if slot.carrier == "wire"),
        grammage_cv_across=machine.reel.grammage_cv_across,
        moisture_deviation=machine.press.moisture_deviation,
        single=single,
        fast=fast,
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
    for place in machine.line:
        web, done[place.name] = place.part.run(web, around)
        if place.name == through or (around.single and not web.formed):
            break
        around = done[place.name].onward(around)
    return Parts(done)


def run_machine(machine: Machine, *, fast: bool = False) -> Result:
    """Run the machine and gather its result."""
    cases = machine.cases()
    running, speed_status = machine, None
    if machine.hold_reel_dryness_by == "speed" and machine.yankee is not None:
        running, speed_status = held_by_speed(machine, fast=fast)
    hold = HOLD[machine.hold_reel_dryness_by]
    if cases is not None:
        with range_watch() as watch:
            parts = run_line(running, surroundings(running, single=False, fast=fast, hold=hold))
            return gathered(machine, running, parts, watch=watch, speed_status=speed_status)
    with worksheet() as sheet:
        known = remembering(running, sheet)
        parts = run_line(known, surroundings(known, single=True, fast=fast, band=True, hold=hold))
        result = gathered(machine, known, parts, sheet=sheet, speed_status=speed_status)
        return dataclasses.replace(result, machine=running)
