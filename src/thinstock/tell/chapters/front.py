"""Chapters on the machine as a whole: what it does, where its water goes, part by part, the price, what gives out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from thinstock import drawing
from thinstock.machine.numbers import told_in
from thinstock.machine.told import WaterPrice
from thinstock.tell import blocks, everyday, walk
from thinstock.tell import limits as speeds
from thinstock.tell.blocks import Block, Chapter, Column, Picture, Table
from thinstock.tell.cells import number
from thinstock.tell.numbers import more
from thinstock.tell.pictures import chart, elevation
from thinstock.tell.teller import Teller
from thinstock.words.figures import figure
from thinstock.words.phrase import capital, listed, phrase

GIVEN = ("production", "speed", "reel_grammage", "reel_moisture", "consistency")
"""Numbers of the strip that are set or held: no spread beside them."""


# -- what the machine does -------------------------------------------------------------------------------------------


def machine(teller: Teller) -> Chapter:
    """One paragraph, the drawing, the numbers that matter."""
    scenario = [blocks.note(teller.machine.scenario)] if teller.machine.scenario else []
    heads = [phrase("handout.machine.what"), phrase("handout.machine.value")]
    rows = more(teller.result, "paper", teller.edge, teller.spreads)
    told: list[Block] = [
        *scenario,
        blocks.words(*_what_it_does(teller)),
        *blocks.care("general"),
        blocks.figure(
            "elevation.svg", drawing.alt_text(teller.result), phrase("handout.machine.elevation"), floats=True
        ),
        blocks.table(heads, _strip(teller), phrase("handout.machine.numbers"), small=True),
        *([blocks.table(heads, rows, phrase("numbers.more"), small=True)] if rows else []),
    ]
    told += [
        blocks.note(phrase("handout.machine.limit", part=capital(n.part), text=n.text))
        for n in teller.result.notes
        if n.level == "limit"
    ]
    return Chapter(key="machine", title=phrase("handout.title.machine"), blocks=tuple(told),
                   pictures={"elevation.svg": elevation(teller)})  # fmt: skip


def _what_it_does(teller: Teller) -> list[str]:
    result, made = teller.result, teller.machine
    flow = phrase(
        "handout.machine.flow",
        flow=teller.value("flow_per_width"),
        consistency=teller.value("consistency"),
        water=teller.kilograms(result["water_per_fibre"]),
    )
    if not teller.formed:
        return [
            phrase("handout.machine.runs", title=made.title, speed=teller.value("speed")), flow,
            phrase("handout.machine.no_sheet", left=teller.value("depth_not_drained", digits=2),
                   depth=teller.value("stock_depth", digits=2), former=made.forming.former),
        ]  # fmt: skip
    forming, drying = teller.stage("forming"), teller.stage("evaporation")
    assert forming is not None and drying is not None
    return [
        phrase("handout.machine.makes", title=made.title, production=teller.value("production"),
               speed=teller.value("speed"), grammage=teller.value("reel_grammage"),
               dryness=teller.given("dryness", result["reel_dryness_reached"])),
        flow,
        phrase("handout.machine.former", former=made.forming.former, share=teller.per_cent(forming.share),
               end=walk.end_of_forming(teller)),
        phrase("handout.machine.yankee" if teller.dried_on_yankee else "handout.machine.dryer",
               into=teller.value("dryness_into_press"), presses=listed(nip.name for nip in made.press.nip),
               out=teller.value("dryness_press", sure=False), share=teller.per_cent(drying.share, 2)),
        phrase("handout.machine.first", first=speeds.first_out(teller.limits, teller.edge, "said")),
    ]  # fmt: skip


def _strip(teller: Teller) -> list[list[str]]:
    rows = []
    for about in told_in("strip", teller.result.values):
        name = about.name
        if not teller.known(name) or (name.endswith("_per_product") and float(teller.result[name]) == 0):
            continue
        ends = name == "end_of_forming"
        value = walk.where_forming_ends(teller) if ends else teller.value(name, sure=name in GIVEN)
        rows.append([about.short if ends else about.label, value])
    return rows


# -- where the water goes --------------------------------------------------------------------------------------------


def water(teller: Teller) -> Chapter:
    """The staircase, and everyday things beside it."""
    picture, alt = chart(teller, "water_staircase")
    stations = teller.run.stations().only("place", "dryness", "moisture_ratio", "speed")
    amount = teller.kilograms(teller.result["water_per_fibre"])
    told: list[Block] = [
        blocks.words(phrase("handout.water.steps", water=amount), phrase("handout.water.tens")),
        blocks.figure("water_staircase.svg", alt, phrase("handout.water.figure"), width=78),
        blocks.head(phrase("handout.water.beside")),
        blocks.points([*everyday.flow(teller), *_times(teller)]),
        _headed(stations, phrase("handout.water.station"), phrase("handout.water.stations")),
    ]
    return Chapter(key="water", title=phrase("handout.title.water"), blocks=tuple(told),
                   pictures={"water_staircase.svg": picture})  # fmt: skip


def _headed(table: Table, first: str, caption: str) -> Table:
    """A table of a run under another caption and head of its first column."""
    columns = (replace(table.columns[0], head=first), *table.columns[1:])
    return replace(table, columns=columns, caption=caption, key="")


def _times(teller: Teller) -> list[str]:
    told = []
    time = walk.forming_time(teller)
    if time is not None:
        told.append(phrase("handout.water.time", time=teller.say("dwell", time, 2), blinks=everyday.blinks(time)))
    if teller.formed:
        nip, wet = teller.result.wet.nips[-1], teller.result.wet
        dwell = float(nip.nip_width) / float(wet.felt_speed)
        told.append(phrase("handout.water.nip", time=teller.say("dwell", dwell, 2), blinks=everyday.blinks(dwell)))
        power = sum(float(c.power) for c in teller.result.energy if c.kind == "electricity")
        year = power * float(teller.machine.width) * 365.25 * 86400
        told.append(phrase("handout.water.electricity", households=everyday.households(year),
                           each=everyday.told("household", teller.unit_set)))  # fmt: skip
    return told


# -- along the machine -----------------------------------------------------------------------------------------------


def along(teller: Teller) -> Chapter:
    """Part by part, with what can hurt there."""
    told: list[Block] = []
    pictures: dict[str, Picture] = {}
    shown: set[str] = set()
    for stop in walk.walk(teller):
        told += [blocks.head(stop.title), blocks.words(*stop.sentences)]
        if stop.chart and stop.chart not in shown:
            picture, alt = chart(teller, stop.chart)
            pictures[f"{stop.chart}.svg"] = picture
            told.append(blocks.figure(f"{stop.chart}.svg", alt, drawing.chart_title(stop.chart), width=84))
        told += blocks.care(*(part for part in stop.cautions if part not in shown))
        shown |= {*stop.cautions, stop.chart}
    return Chapter(key="along", title=phrase("handout.title.along"), blocks=tuple(told), pictures=pictures)


# -- the price of a kilogram of water --------------------------------------------------------------------------------


def price(teller: Teller) -> Chapter:
    """What each stage takes, and what a kilogram costs there."""
    rows = teller.result.water_prices
    title = phrase("handout.title.price", mass=teller.mass)
    if not rows:
        return Chapter(key="price", title=title, blocks=(blocks.words(phrase("handout.price.no_sheet")),))
    picture, alt = chart(teller, "water_takers")
    told: list[Block] = [
        blocks.words(*_price_sentences(teller, rows[0], rows[-1])),
        blocks.figure("water_takers.svg", alt, phrase("handout.price.figure"), width=92),
        _price_table(teller),
        blocks.note(phrase("handout.price.note")),
    ]
    return Chapter(key="price", title=title, blocks=tuple(told), pictures={"water_takers.svg": picture})


def _price_table(teller: Teller) -> Table:
    edge, rows = teller.edge, teller.result.water_prices
    words = {"taken": "water_per_fibre", "share": "share", "energy": "heat_per_water", "cost": "money_per_mass"}
    columns = [Column(key="stage", head=phrase("handout.price.stage"), sort="word")]
    columns += [Column(key=key, head=phrase(f"handout.price.{key}"), unit="" if key == "share" else edge.unit(word))
                for key, word in words.items()]  # fmt: skip
    body = tuple(
        (row.stage, number(edge, words["taken"], row.water_per_fibre),
         teller.per_cent(row.share, 2 if float(row.share) < 0.9 else 3),
         number(edge, words["energy"], row.energy_per_water, 2), number(edge, words["cost"], row.money_per_mass, 2))
        for row in rows
    )  # fmt: skip
    table = Table(columns=tuple(columns), rows=body, caption=phrase("handout.price.numbers"))
    if not all(row.money_per_mass is not None for row in rows):
        return table.only("stage", "taken", "share", "energy")
    return replace(table, caption=phrase("handout.price.numbers_money", currency=teller.machine.prices.currency))


def _price_sentences(teller: Teller, forming: WaterPrice, dry: WaterPrice) -> list[str]:
    cheap, dear = float(forming.energy_per_water), float(dry.energy_per_water)
    spent = {row.stage: float(row.energy_per_water) * float(row.water_per_fibre) for row in teller.result.water_prices
             if np.isfinite(float(row.energy_per_water))}  # fmt: skip
    total = sum(spent.values())
    return [
        phrase("handout.price.forming", share=teller.per_cent(forming.share),
               cost=teller.say("heat_per_water", cheap, 2)),
        phrase("handout.price.drying", share=teller.per_cent(dry.share, 2), mass=teller.mass,
               cost=teller.say("heat_per_water", dear, 3), times=figure(dear / cheap, 2)),
        phrase("handout.price.all", share=teller.per_cent(spent["evaporation"] / total, 2)),
        phrase("handout.price.worth", mass=teller.mass),
    ]  # fmt: skip


# -- what gives out first --------------------------------------------------------------------------------------------


def limit(teller: Teller) -> Chapter:
    """Speed limits of every part."""
    picture, alt = chart(teller, "limits")
    first = speeds.first_out(teller.limits, teller.edge, "said")
    told: list[Block] = [
        blocks.words(phrase("handout.limits.first", first=first),
                     phrase("handout.limits.held", head=capital(teller.limits.head))),
        blocks.figure("limits.svg", alt, phrase("handout.limits.figure"), width=70),
        speeds.text_table(teller.limits, teller.edge, phrase("handout.limits.numbers")),
        blocks.note(phrase("speeds.said.note")),
    ]  # fmt: skip
    return Chapter(key="limits", title=phrase("handout.title.limits"), blocks=tuple(told),
                   pictures={"limits.svg": picture})  # fmt: skip
