"""Chapters on forming: the sheet at three consistencies, the ladder of formers, tension and centrifugal force."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from thinstock.tell import blocks, formers, walk
from thinstock.tell.blocks import Block, Chapter, Figure, Picture, Table
from thinstock.tell.dilution import answers_text, helpless
from thinstock.tell.pictures import SheetPictures, chart, sheets
from thinstock.tell.teller import Teller
from thinstock.words.figures import figure
from thinstock.words.phrase import capital, phrase

if TYPE_CHECKING:
    from thinstock.machine.elements import FormingRoll
    from thinstock.studies.ladder import Rung


# -- the sheet at three consistencies --------------------------------------------------------------------------------


def sheet(teller: Teller) -> Chapter:
    """Look-through of simulated sheets, half, once and three times as thick."""
    found, even = sheets(teller), teller.evenness
    pictures: dict[str, Picture] = {}
    for k, one in enumerate(found):
        pictures[f"clouds-{k}.png"], pictures[f"holes-{k}.png"] = one.clouds, one.holes
    made = phrase("handout.sheet.calibrated")
    if not even.calibrated:
        variation = teller.say("suspension_variation", found[0].variation, 2)
        made = phrase("handout.sheet.assumed", variation=variation)
    same = phrase(
        "handout.sheet.same", grammage=teller.value("grammage_on_wire"), regime=even.regime,
        consistency=teller.value("consistency", digits=2),
        crowding=figure(float(np.ravel(even.low.crowding_number)[0]), 2),
    )  # fmt: skip
    told: list[Block] = [
        blocks.words(same, made, phrase("handout.sheet.label", label=capital(even.label))),
        blocks.row_of_figures(_lit(teller, found, "clouds"), phrase("handout.sheet.clouds")),
        blocks.row_of_figures(_lit(teller, found, "holes"), phrase("handout.sheet.holes")),
        _theory(teller, found),
        *_target(teller),
        *blocks.care("formation"),
    ]
    return Chapter(key="sheet", title=phrase("handout.title.sheet"), blocks=tuple(told), pictures=pictures)


def _where(teller: Teller, one: SheetPictures) -> str:
    said = teller.say("consistency", one.consistency, 2)
    return phrase("handout.sheet.own", consistency=said) if one.own else said


def _zone(teller: Teller, found: Sequence[SheetPictures]) -> str:
    return teller.say("zone", found[0].formation.zone, 3)


def _lit(teller: Teller, found: Sequence[SheetPictures], sort: str) -> list[Figure]:
    """The sheets against one light."""
    figures = []
    for k, one in enumerate(found):
        alt = phrase(
            "handout.sheet.alt", size=teller.say("size", one.size, 2), zone=_zone(teller, found),
            consistency=teller.say("consistency", one.consistency, 2), cv=teller.say("cv", one.formation.cv, 2),
            light=phrase(f"handout.sheet.{sort}_light"),
        )  # fmt: skip
        figures.append(blocks.figure(f"{sort}-{k}.png", alt, _where(teller, one)))
    return figures


def _theory(teller: Teller, found: Sequence[SheetPictures]) -> Table:
    heads = [
        phrase("handout.sheet.consistency"), phrase("handout.sheet.crowding"),
        phrase("handout.sheet.variation", zone=_zone(teller, found)), phrase("handout.sheet.number"),
        phrase("handout.sheet.times_random"),
    ]  # fmt: skip
    rows = []
    for one in found:
        f = one.formation
        times = float(f.holes_per_area) / float(f.holes_per_area_random)
        rows.append([_where(teller, one), figure(float(f.crowding_number), 2), teller.say("cv", f.cv, 2),
                     figure(float(f.formation_number), 2), figure(times, 2)])  # fmt: skip
    return blocks.table(heads, rows, phrase("handout.sheet.theory"))


def _target(teller: Teller) -> list[Block]:
    even = teller.evenness
    if not even.target:
        return []
    if not even.answers:
        return [blocks.words(phrase("handout.sheet.not_met", target=even.target, note=even.target_note))]
    answers = answers_text(even.answers, even.measure, even.calibrated, teller.say)
    said = [phrase("evenness.answer.target", target=even.target, answers=answers)]
    return [blocks.words(*said, *([phrase("evenness.answer.remedies")] if helpless(even.answers) else []))]


# -- two questions, not one ------------------------------------------------------------------------------------------


def axes(teller: Teller) -> Chapter:
    """The grade asks for dilution; former and speed for litres a second in less time."""
    from thinstock.studies.ladder import words

    said = words()
    flow_picture, flow_alt = chart(teller, "flow_speed")
    low_picture, low_alt = chart(teller, "lowest_consistency")
    story = [[rung.name, rung.changed, _reason(rung, teller)] for rung in teller.ladder.rungs if rung.changed]
    heads = [phrase(f"handout.axes.{key}") for key in ("former", "changed", "first")]
    told: list[Block] = [
        blocks.words(*_two_questions(teller)),
        blocks.figure("flow_speed.svg", flow_alt, phrase("handout.axes.flow"), width=66),
        blocks.words(said["uncalibrated"], said["power"]),
        blocks.figure("lowest_consistency.svg", low_alt, phrase("handout.axes.lowest"), width=84),
        _rungs(teller),
        formers.own_time(teller.ladder, teller.edge),
        blocks.words(said["ends"], said["bought"]),
        blocks.table(heads, story, phrase("handout.axes.ladder"), texts=(0, 1, 2), wide=(1, 2), small=True),
        blocks.words(said["side_branch"], said["felt"], said["second_bend"]),
        blocks.words(*said["finding"].split("\n")),
        *blocks.care("forming"),
    ]
    pictures = {"flow_speed.svg": flow_picture, "lowest_consistency.svg": low_picture}
    return Chapter(key="axes", title=said["title"], blocks=tuple(told), pictures=pictures)


def _reason(rung: Rung, teller: Teller) -> str:
    """When a former was, and what comes first on it."""
    told = "" if rung.own_time is None else phrase("handout.axes.when", when=formers.when(rung.own_time, teller.edge))
    return told + formers.reason(rung)


def _rungs(teller: Teller) -> Table:
    """Every former with this sheet at this speed."""
    from thinstock.studies.ladder import OWN

    rows = []
    for rung in teller.ladder.rungs:
        answer = rung.at(float(teller.result["speed"]))
        found = walk.rung_facts(teller, rung, answer)
        name = phrase("handout.axes.own") if rung.key == OWN else rung.name
        keys = ("lowest", "first", "length", "time", "end", "transfers")
        rows.append([name, *(found[key] for key in keys), answer.practice])
    heads = ("former", "low", "stops", "length", "time", "end", "transfers", "practice")
    return blocks.table(
        [phrase(f"handout.axes.{key}") for key in heads], rows,
        phrase("handout.axes.every", speed=teller.value("speed")),
        texts=(0, 1, 2, 5, 7), wide=(0, 1, 2, 5, 7), small=True,
    )  # fmt: skip


def _two_questions(teller: Teller) -> list[str]:
    own = teller.ladder.rungs[0]
    state = own.at(float(teller.result["speed"])).at_given
    slots = {"length": teller.say("dry_line", own.length, 2), "speed": teller.value("speed"),
             "time": teller.say("dwell", state.time_available, 2)}  # fmt: skip
    long = phrase("handout.axes.long", **slots)
    if state.end is not None:
        used = teller.say("dwell", state.time_available * state.end, 2)
        long = phrase("handout.axes.long_used", **slots, used=used)
    return [phrase("handout.axes.two"), long, phrase("handout.axes.way_out", flow=teller.value("flow_per_width"))]


# -- tension and centrifugal force -----------------------------------------------------------------------------------


def tension(teller: Teller) -> Chapter:
    """A box: what presses the water out, and what does not."""
    from thinstock.machine.elements import FormingRoll
    from thinstock.studies.ladder import words

    roll = next((e for e in teller.machine.forming.element if isinstance(e, FormingRoll)), None)
    said = [phrase("handout.tension.no_roll")] if roll is None else [*_forces(teller, roll), words()["four"]]
    box = blocks.box(phrase("handout.tension.title"), words()["centrifugal"], *said)
    return Chapter(key="tension", title=phrase("handout.title.tension"), blocks=(box, *blocks.care("forming")))


def _forces(teller: Teller, roll: FormingRoll) -> list[str]:
    wire, wet = teller.machine.forming.wire, teller.result.wet
    radius, speed = float(roll.roll_diameter) / 2, float(wet.wire_speed)
    pressed = float(roll.fabric_tension) / radius
    fabric = float(wire.fabric_mass) * speed**2 / radius
    depth = float(wet.delivery.stock_depth)
    stock = float(wet.water.density) * depth * speed**2 / radius
    case = "unloaded" if stock > pressed - fabric else "loaded"
    return [
        phrase("handout.tension.pulled", tension=teller.given("fabric_tension", roll.fabric_tension),
               diameter=teller.given("roll_diameter", roll.roll_diameter), speed=teller.value("speed"),
               pressure=teller.say("pressure_drop", pressed, 3), fabric=teller.say("pressure_drop", fabric, 2)),
        phrase(f"handout.tension.{case}", depth=teller.say("stock_depth", depth, 2),
               stock=teller.say("pressure_drop", stock, 3)),
        phrase("handout.tension.faster"),
    ]  # fmt: skip
