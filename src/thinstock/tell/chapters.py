"""The chapters of a handout on one machine: blocks of words, tables and pictures, none of them written by hand.

Every sentence with a number is made from the run; nothing is worked out here that a study or section does not give.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from thinstock import drawing
from thinstock.formula import writing
from thinstock.machine.numbers import headline, told_in
from thinstock.machine.provenance import assumed, in_words
from thinstock.tell import blocks, everyday, walk
from thinstock.tell.blocks import Block, Chapter, Picture
from thinstock.tell.dilution import answers_text, helpless
from thinstock.tell.explained import step_view
from thinstock.tell.numbers import more
from thinstock.tell.pictures import chart, elevation, sheets
from thinstock.tell.teller import STAGES, Teller, capital, listed
from thinstock.tell.worked import numbers_of, worked
from thinstock.words import nomenclature
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

# -- what the machine does -------------------------------------------------------------------------------------------


def machine(teller: Teller) -> Chapter:
    """One paragraph, the drawing, the numbers that matter."""
    told: list[Block] = []
    if teller.machine.scenario:
        told.append(blocks.note(teller.machine.scenario))
    told += [blocks.words(*_what_it_does(teller)), *blocks.care("general")]
    picture = elevation(teller)
    told.append(
        blocks.figure(
            "elevation.svg", drawing.alt_text(teller.result),
            "To scale. The width of a band of water is its flow. Triangles mark places where people are hurt.",
        )
    )  # fmt: skip
    told.append(blocks.table(("what", "value"), _strip(teller), "The numbers to keep in mind", small=True))
    told += _more(teller)
    told += [blocks.note(f"{capital(n.part)}: {n.text}") for n in teller.result.notes if n.level == "limit"]
    return Chapter(
        key="machine", title="What this machine does", blocks=tuple(told), pictures={"elevation.svg": picture}
    )


def _what_it_does(teller: Teller) -> list[str]:
    result, made = teller.result, teller.machine
    flow = (
        f"The headbox puts {teller.value('flow_per_width')} on every metre of width at {teller.value('consistency')}: "
        f"{teller.kilograms(result['water_per_fibre'])}."
    )
    if not teller.formed:
        return [
            f"{made.title} runs at {teller.value('speed')}.", flow,
            f"It forms no sheet: {teller.value('depth_not_drained', digits=2)} of "
            f"{teller.value('stock_depth', digits=2)} of stock is not drained when the former "
            f"({made.forming.former}) ends.",
        ]  # fmt: skip
    taken = {row.stage: row for row in result.water_prices}
    presses = listed([nip.name for nip in made.press.nip])
    dryer = "the Yankee and its hood" if teller.dried_on_yankee else "the dryer"
    return [
        f"{made.title} makes {teller.value('production')} at {teller.value('speed')}: paper of "
        f"{teller.value('reel_grammage')}, {teller.given('dryness', made.grade.reel_dryness)} dry.",
        flow,
        f"The former ({made.forming.former}) takes {teller.per_cent(taken['forming'].share)} of that water; "
        f"{walk.end_of_forming(teller)}.",
        f"Vacuum brings the sheet to {teller.value('dryness_into_press')}, {presses} to "
        f"{teller.value('dryness_press', sure=False)}; {dryer} evaporates the last "
        f"{teller.per_cent(taken['evaporation'].share, 2)} of the water, and that is most of the bill.",
        f"What gives out first when it is run faster: {_first_out(teller)}.",
    ]


def _first_out(teller: Teller) -> str:
    row = teller.limits.binding
    if row is None or row.speed is None or row.margin is None:
        return "nothing that is known below 3000 m/min"
    if abs(row.margin) < 5e-4:
        return f"{row.part}; this speed is its limit"
    side = "above" if row.margin > 0 else "below"
    return (
        f"{row.part}, at {teller.say('speed', row.speed, 4)}, {teller.per_cent(abs(row.margin), 2)} {side} this speed"
    )


GIVEN = ("production", "speed", "reel_grammage", "reel_moisture", "consistency")
"""Numbers of the strip that are set or held: no spread beside them."""


def _strip(teller: Teller) -> list[list[str]]:
    rows = []
    for about in told_in("strip", teller.result.values):
        name = about.name
        if not teller.known(name):
            continue
        if name.endswith("_per_product") and float(teller.result[name]) == 0:
            continue
        if name == "end_of_forming":
            rows.append([about.short, walk.end_of_forming(teller).removeprefix("forming ends after ")])
        else:
            rows.append([about.label, teller.value(name, sure=name in GIVEN)])
    return rows


def _more(teller: Teller) -> list[Block]:
    """Numbers that ask for a line of their own; nothing where none does."""
    rows = more(teller.result, "paper", teller.edge, teller.spreads)
    return [blocks.table(("what", "value"), rows, phrase("numbers.more"), small=True)] if rows else []


# -- where the water goes --------------------------------------------------------------------------------------------


def water(teller: Teller) -> Chapter:
    """The staircase, and everyday things beside it."""
    picture, alt = chart(teller, "water_staircase")
    told: list[Block] = [
        blocks.words(
            f"From headbox to reel the sheet loses water in a few steps. At the headbox there are "
            f"{teller.kilograms(teller.result['water_per_fibre'])}.",
            "The scale of the picture is by tens: each mark is ten times the one before.",
        ),
        blocks.figure("water_staircase.svg", alt, "Water at every station; the scale goes by tens"),
        blocks.head("Beside things everybody knows"),
        blocks.points([*everyday.flow(teller), *_times(teller)]),
        blocks.table(
            ("station", _unit("dryness", teller, "dryness"), _unit("water per fibre", teller, "moisture_ratio"),
             _unit("speed", teller, "speed")),
            [
                _station(teller, station) for station in teller.result.stations
            ],
            "The sheet from headbox to reel",
        ),
    ]  # fmt: skip
    return Chapter(
        key="water", title="Where the water goes", blocks=tuple(told), pictures={"water_staircase.svg": picture}
    )


def _station(teller: Teller, station: Any) -> list[str]:
    if station.dryness is None or not np.isfinite(float(station.dryness)):
        return [station.name, "no sheet", "", ""]
    digits = {"dryness": 3, "moisture_ratio": 3, "speed": 4}
    return [station.name, *(teller.edge.figure(word, getattr(station, word), n) for word, n in digits.items())]


def _unit(said: str, teller: Teller, word: str) -> str:
    unit = teller.edge.unit(word)
    return f"{said}, {unit}" if unit else said


def _times(teller: Teller) -> list[str]:
    told = []
    time = walk.forming_time(teller)
    if time is not None:
        told.append(f"Forming is over after {teller.say('dwell', time, 2)}: {everyday.blinks(time)}.")
    if teller.formed:
        nip, wet = teller.result.wet.nips[-1], teller.result.wet
        dwell = float(nip.nip_width) / float(wet.felt_speed)
        told.append(f"The last nip lasts {teller.say('dwell', dwell, 2)}: {everyday.blinks(dwell)}.")
        power = sum(float(c.power) for c in teller.result.energy if c.kind == "electricity")
        year = power * float(teller.machine.width) * 365.25 * 86400
        told.append(
            f"The electricity of the parts computed is, run all year, that of {everyday.households(year)} "
            f"({everyday.told('household', teller.unit_set)} a year each)."
        )
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
    return Chapter(key="along", title="Along the machine", blocks=tuple(told), pictures=pictures)


# -- the price of a kilogram of water --------------------------------------------------------------------------------


def price(teller: Teller) -> Chapter:
    """What each stage takes, and what a kilogram costs there."""
    rows = teller.result.water_prices
    title = f"The price of a {teller.mass} of water"
    if not rows:
        return Chapter(key="price", title=title, blocks=(blocks.words("There is no sheet, so there is no price."),))
    picture, alt = chart(teller, "water_takers")
    money = all(row.money_per_mass is not None for row in rows)
    heads = ["stage", _unit("taken", teller, "water_per_fibre"), "share of all",
             _unit("energy", teller, "heat_per_water")]  # fmt: skip
    if money:
        heads.append(_unit("cost", teller, "money_per_mass"))
    body = []
    for row in rows:
        line = [
            row.stage,
            teller.edge.figure("water_per_fibre", row.water_per_fibre, 3),
            teller.per_cent(row.share, 2 if float(row.share) < 0.9 else 3),
            teller.edge.figure("heat_per_water", row.energy_per_water, 2),
        ]
        body.append([*line, teller.edge.figure("money_per_mass", row.money_per_mass, 2)] if money else line)
    forming, dry = rows[0], rows[-1]
    told: list[Block] = [
        blocks.words(*_price_sentences(teller, forming, dry)),
        blocks.figure("water_takers.svg", alt, "Who takes the water, and at what price"),
        blocks.table(
            heads, body, "The same as numbers" + (f"; money: {teller.machine.prices.currency}" if money else "")
        ),
        blocks.note("Energy is that of the parts computed here: pumps, vacuum, felt drag, steam, gas, fans, blade."),
    ]
    return Chapter(key="price", title=title, blocks=tuple(told), pictures={"water_takers.svg": picture})


def _price_sentences(teller: Teller, forming: Any, dry: Any) -> list[str]:
    cheap, dear = float(forming.energy_per_water), float(dry.energy_per_water)
    spent = {row.stage: float(row.energy_per_water) * float(row.water_per_fibre) for row in teller.result.water_prices
             if np.isfinite(float(row.energy_per_water))}  # fmt: skip
    total = sum(spent.values())
    return [
        f"Forming takes {teller.per_cent(forming.share)} of the water, at {teller.say('heat_per_water', cheap, 2)}.",
        f"Drying takes {teller.per_cent(dry.share, 2)} of it, at {teller.say('heat_per_water', dear, 3)}: "
        f"a {teller.mass} there costs {figure(dear / cheap, 2)} times as much.",
        f"Of all energy counted here drying uses {teller.per_cent(spent['evaporation'] / total, 2)}.",
        f"So {teller.mass}s that {STAGES['press']} or {STAGES['vacuum']} takes are worth more than their number.",
    ]


# -- the sheet at three consistencies --------------------------------------------------------------------------------


def sheet(teller: Teller) -> Chapter:
    """Look-through of simulated sheets, half, once and three times as thick."""
    found = sheets(teller)
    zone = teller.say("zone", found[0].formation.zone, 3)
    pictures: dict[str, Picture] = {}
    clouds, holes, rows = [], [], []
    for k, one in enumerate(found):
        said = teller.say("consistency", one.consistency, 2)
        where = f"{said}{' (this machine)' if one.own else ''}"
        f = one.formation
        alt = (
            f"Simulated sheet of {teller.say('size', one.size, 2)} side made from stock of {said}: variation of "
            f"grammage {teller.say('cv', f.cv, 2)} in zones of {zone}, "
        )
        pictures[f"clouds-{k}.png"], pictures[f"holes-{k}.png"] = one.clouds, one.holes
        clouds.append(blocks.figure(f"clouds-{k}.png", alt + "against diffuse light, which shows clouds.", where))
        holes.append(blocks.figure(f"holes-{k}.png", alt + "against direct light, which shows bare places.", where))
        rows.append(
            [where, figure(float(f.crowding_number), 2), teller.say("cv", f.cv, 2),
             figure(float(f.formation_number), 2), figure(float(f.holes_per_area) / float(f.holes_per_area_random), 2)]
        )  # fmt: skip
    even = teller.evenness
    told: list[Block] = [
        blocks.words(
            f"The same furnish, the same {teller.value('grammage_on_wire')} on the wire, three consistencies at the "
            f"headbox. At {teller.value('consistency', digits=2)} the crowding number is "
            f"{figure(float(np.ravel(even.low.crowding_number)[0]), 2)}: {even.regime}.",
            "Simulated fibre by fibre; what the headbox does to flocs is assumed "
            f"({teller.say('suspension_variation', found[0].variation, 2)} suspension variation), the same for all."
            if not even.calibrated
            else "Simulated fibre by fibre, with the headbox as calibrated.",
            f"{capital(even.label)}.",
        ),
        blocks.row_of_figures(clouds, "Against diffuse light: clouds"),
        blocks.row_of_figures(holes, "Against direct light: bare places shine"),
        blocks.table(
            ("consistency", "crowding number", f"variation in zones of {zone}", "formation number",
             "holes, times random"),
            rows, "What theory says of the three sheets",
        ),
        *_target(teller),
        *blocks.care("formation"),
    ]  # fmt: skip
    return Chapter(key="sheet", title="The sheet at three consistencies", blocks=tuple(told), pictures=pictures)


def _target(teller: Teller) -> list[Block]:
    even = teller.evenness
    if not even.target:
        return []
    if not even.answers:
        return [blocks.words(f"The grade's target ({even.target}) is not met by thinning alone: {even.target_note}.")]
    answers = answers_text(even.answers, even.measure, even.calibrated, teller.say)
    said = [phrase("evenness.answer.target", target=even.target, answers=answers)]
    return [blocks.words(*said, *([phrase("evenness.answer.remedies")] if helpless(even.answers) else []))]


# -- two questions, not one ------------------------------------------------------------------------------------------


def axes(teller: Teller) -> Chapter:
    """The grade asks for dilution; former and speed for litres a second in less time."""
    from thinstock.studies.ladder import OWN, words

    said, speed = words(), float(teller.result["speed"])
    flow_picture, flow_alt = chart(teller, "flow_speed")
    low_picture, low_alt = chart(teller, "lowest_consistency")
    numbers, story = [], []
    for rung in teller.ladder.rungs:
        answer = rung.at(speed)
        found = dict(walk.rung_numbers(teller, rung, answer))
        name = "this machine" if rung.key == OWN else rung.name
        numbers.append(
            [name, found["lowest consistency"], found["what stops further dilution"], found["forming length"],
             found["time available"], found["end of forming at this consistency"], str(rung.transfers),
             answer.practice]
        )  # fmt: skip
        if rung.changed:
            story.append([rung.name, rung.changed, rung.gave_out])
    told: list[Block] = [
        blocks.words(*_two_questions(teller)),
        blocks.figure("flow_speed.svg", flow_alt, "What grades ask for, over where practice runs each former",
                      width=66),
        blocks.words(said["uncalibrated"], said["power"]),
        blocks.figure("lowest_consistency.svg", low_alt, "Lowest consistency of every former by speed", width=84),
        blocks.table(
            ("former", "lowest consistency", "what stops it", "length", "time", "end of forming now", "transfers",
             "this speed against practice"),
            numbers, f"Every former with this sheet at {teller.value('speed')} (computed, not calibrated)",
            texts=(0, 1, 2, 5, 7), wide=(0, 1, 2, 5, 7), small=True,
        ),
        blocks.table(("former", "what it changed", "what gave out"), story, "The ladder in words", texts=(0, 1, 2),
                     wide=(1, 2), small=True),
        blocks.words(said["side_branch"], said["felt"], said["second_bend"]),
        blocks.words(*said["finding"].split("\n")),
        *blocks.care("forming"),
    ]  # fmt: skip
    return Chapter(
        key="axes", title=said["title"], blocks=tuple(told),
        pictures={"flow_speed.svg": flow_picture, "lowest_consistency.svg": low_picture},
    )  # fmt: skip


def _two_questions(teller: Teller) -> list[str]:
    own = teller.ladder.rungs[0]
    answer = own.at(float(teller.result["speed"]))
    state = answer.at_given
    used = (
        "" if state.end is None else f"; forming uses {teller.say('dwell', state.time_available * state.end, 2)} of it"
    )
    return [
        "The grade asks for dilution. Former and speed ask for more litres a second and metre in ever less time.",
        f"This machine's former is {teller.say('dry_line', own.length, 2)} long; at {teller.value('speed')} that is "
        f"{teller.say('dwell', state.time_available, 2)}{used}.",
        f"In that time {teller.value('flow_per_width')} have to find their way out.",
    ]


# -- what gives out first --------------------------------------------------------------------------------------------


def limit(teller: Teller) -> Chapter:
    """Speed limits of every part."""
    picture, alt = chart(teller, "limits")
    rows = []
    for row in sorted(teller.limits.rows, key=lambda r: r.speed if r.speed is not None else math.inf):
        speed = (
            teller.say("speed", row.speed, 4) if row.speed else "does not limit" if row.scope == "none" else row.scope
        )
        if row.scope == "lowest":
            speed = f"at least {speed}"
        margin = "" if row.margin is None else f"{100 * row.margin:+.1f} %".replace("-", "−")
        rows.append([("→ " if row.binding else "") + row.part, row.duty, speed, margin, row.status])
    told: list[Block] = [
        blocks.words(f"Gives out first: {_first_out(teller)}.", f"{capital(teller.limits.head)}."),
        blocks.figure("limits.svg", alt, "Highest speed at which each part still does its duty", width=80),
        blocks.table(("part", "duty", "speed", "margin", "known from"), rows, "The same as numbers",
                     texts=(0, 1, 4), wide=(0, 1, 4), small=True),
        blocks.note("A limit that nobody gave is not known; it is never taken as unlimited. Line load and steam "
                    "pressure are bounded by the vessel's certificate alone."),
    ]  # fmt: skip
    return Chapter(key="limits", title="What gives out first", blocks=tuple(told), pictures={"limits.svg": picture})


# -- tension and centrifugal force -----------------------------------------------------------------------------------


BOX = "What tension and centrifugal force really do"
NO_ROLL = (
    "This machine has no forming roll; on a flat wire the weight of the stock, foils, rolls and boxes do the work."
)


def tension(teller: Teller) -> Chapter:
    """A box: what presses the water out, and what does not."""
    from thinstock.machine.elements import FormingRoll
    from thinstock.studies.ladder import words

    roll = next((e for e in teller.machine.forming.element if isinstance(e, FormingRoll)), None)
    told: list[Block] = []
    if roll is None:
        told.append(blocks.box(BOX, words()["centrifugal"], NO_ROLL))
    else:
        told.append(blocks.box(BOX, words()["centrifugal"], *_forces(teller, roll), words()["four"]))
    told += blocks.care("forming")
    return Chapter(key="tension", title="Tension and centrifugal force", blocks=tuple(told))


def _forces(teller: Teller, roll: Any) -> list[str]:
    wire, wet = teller.machine.forming.wire, teller.result.wet
    radius, speed = float(roll.roll_diameter) / 2, float(wet.wire_speed)
    pressed = float(roll.fabric_tension) / radius
    fabric = float(wire.fabric_mass) * speed**2 / radius
    depth = float(wet.delivery.stock_depth)
    stock = float(wet.water.density) * depth * speed**2 / radius
    told = [
        f"Here the fabric is pulled with {teller.given('fabric_tension', roll.fabric_tension)} round a roll of "
        f"{teller.given('roll_diameter', roll.roll_diameter)}: tension over radius presses with "
        f"{teller.say('pressure_drop', pressed, 3)} on the stock. The fabric's own mass takes "
        f"{teller.say('pressure_drop', fabric, 2)} of that back at {teller.value('speed')}.",
    ]
    if stock > pressed - fabric:
        told.append(
            f"To carry {teller.say('stock_depth', depth, 2)} of stock round the roll takes "
            f"{teller.say('pressure_drop', stock, 3)} at the start, more than the fabric presses: there the roll's "
            "side is not loaded at all, and all water leaves through the fabric."
        )
    else:
        told.append(
            f"To carry {teller.say('stock_depth', depth, 2)} of stock round the roll takes "
            f"{teller.say('pressure_drop', stock, 3)} of it at the start: by so much the roll's side is pressed less "
            "than the fabric's side. Not a pascal is added on the outside."
        )
    told.append("Run faster and the tension presses no harder; a tighter fabric or a smaller roll does press harder.")
    return told


# -- worked calculations ---------------------------------------------------------------------------------------------

SHOWN: dict[str, tuple[str, ...]] = {
    "flow_per_width": ("jet.grammage_on_wire", "jet.flow_per_width"),
    "headbox_head": ("jet.headbox_head_for_jet",),
    "end_of_forming": ("drainage.pressure_forming_roll", "joints.share_of_zone"),
    "dryness_press": ("nip.impulse", "pressing.moisture_pressed_decreasing_permeability",
                      "pressing.moisture_ratio_rewetted", "pressing.dryness_from_moisture_ratio"),
    "steam_per_product": ("joints.steam_heat_yankee", "creping.production_reel", "balance.energy_per_mass"),
}  # fmt: skip
"""Numbers worked in a handout, and the formulas of their chain that are shown there."""


def working(teller: Teller) -> Chapter:
    """Chosen steps of a few chains."""
    known = numbers_of(teller.result)
    told: list[Block] = [
        blocks.words(
            "The last steps of a few numbers, to be worked again with a pocket calculator.",
            "The whole chain of any number: thinstock explain, with the machine and the number.",
        )
    ]
    for name, formulas in SHOWN.items():
        if name not in known or not teller.known(name):
            continue
        made = worked(teller.result, name, teller.unit_set)
        views = chosen_steps(made, formulas)
        if views:
            told.append(blocks.steps(views, capital(made.label), made.text))
    return Chapter(key="working", title="Worked calculations", blocks=tuple(told))


def chosen_steps(made: Any, formulas: tuple[str, ...]) -> list[dict[str, Any]]:
    """Views of the last use of each of these formulas in a chain, numbered anew."""
    last = {step.name: step for step in made.steps if step.name in formulas}
    kept = sorted(last.values(), key=lambda step: step.number)
    again = {f"step {step.number}": f"step {k}" for k, step in enumerate(kept, start=1)}
    titles = {f"step {step.number}": step.title for step in made.steps}
    views = []
    for k, step in enumerate(kept, start=1):
        view = step_view(step)
        view["number"] = k
        view["further"] = []
        view["table"] = None
        for use in view["uses"]:
            origin = use["origin"]
            use["origin"] = again.get(origin) or ("worked out before" if origin in titles else origin)
        views.append(view)
    return views


# -- words, sources, cautions ----------------------------------------------------------------------------------------


def glossary(teller: Teller) -> Chapter:
    """The words used, with symbol and unit."""
    names = dict.fromkeys(about.word for about in headline().values())
    for extra in ("crowding_number", "coverage", "cv", "formation_number", "moisture_ratio", "press_impulse", "rewet",
                  "crepe", "wrap", "fabric_tension", "drainage_impulse", "freeness", "line_load",
                  "first_pass_retention"):  # fmt: skip
        if extra in nomenclature.words():
            names.setdefault(extra)
    rows = []
    for name in sorted(names):
        word = nomenclature.word(name)
        rows.append([name.replace("_", " "), _pretty(word.symbol), teller.edge.unit(name), word.meaning])
    told = [blocks.table(("word", "symbol", "unit", "meaning"), rows, texts=(0, 1, 2, 3), wide=(3,), small=True)]
    return Chapter(key="glossary", title="Words", blocks=tuple(told))


def _pretty(symbol: str) -> str:
    from thinstock.formula.typeset import symbol as shape

    return writing.shape_text(shape(symbol)) if symbol else ""


def sources(teller: Teller) -> Chapter:
    """Where the formulas are from, and what is assumed."""
    used: dict[str, set[str]] = {}
    for step in teller.result.worksheet.steps if teller.result.worksheet is not None else ():
        used.setdefault(step.label.source, set()).add(step.label.status)
    held = {key: row.get("held", "") for key, row in writing.sources().items()}
    cited = [
        [writing.citation(key), ", ".join(sorted(statuses)), held.get(key, "")]
        for key, statuses in sorted(used.items())
        if key not in ("DERIVED", "ASSUMED", "COMMON_PRACTICE")
    ]
    counts = {key: sum(1 for name, _ in teller.result.formulas() if _source_of(teller, name) == key)
              for key in ("DERIVED", "ASSUMED", "COMMON_PRACTICE")}  # fmt: skip
    values = assumed(teller.machine)
    cells = [[in_words(teller.machine, k.address), teller.given(k.about.word, k.value)] for k in values]
    half = (len(cells) + 1) // 2
    rows = [[*cells[i], *(cells[i + half] if i + half < len(cells) else ("", ""))] for i in range(half)]
    told: list[Block] = [
        blocks.words(
            f"{len(teller.result.formulas())} formulas made the numbers of this run; {counts['DERIVED']} of them are "
            f"derived in this project from stated premises, {counts['ASSUMED']} are assumptions, "
            f"{counts['COMMON_PRACTICE']} common practice without a single source. The others are from:"
        ),
        blocks.table(("source", "the formula is", "the source was"), cited, texts=(0, 1, 2), wide=(0,), small=True),
        blocks.words(f"{len(values)} values of this machine are assumed, given by nobody:"),
        blocks.table(("value", "assumed", "value", "assumed"), rows, texts=(0, 2), wide=(0, 2), small=True),
    ]
    return Chapter(key="sources", title="Sources, and what is assumed", blocks=tuple(told))


def _source_of(teller: Teller, name: str) -> str:
    from thinstock.formula.label import RELATIONS, label_of

    return label_of(RELATIONS[name]).source


def cautions(teller: Teller) -> Chapter:
    """What can hurt, part by part."""
    parts = ["general", "headbox", "forming", "vacuum", "felt", "press"]
    parts += ["yankee", "hood"] if teller.dried_on_yankee else []
    parts += ["circulation", "drives", "formation", "survey"]
    return Chapter(key="cautions", title="What can hurt", blocks=tuple(blocks.care(*parts)))


CHAPTERS: dict[str, Callable[[Teller], Chapter]] = {
    "machine": machine,
    "water": water,
    "along": along,
    "price": price,
    "sheet": sheet,
    "axes": axes,
    "limits": limit,
    "tension": tension,
    "working": working,
    "glossary": glossary,
    "sources": sources,
    "cautions": cautions,
}
"""Every chapter by its key, in the order of a handout."""

TITLES = {
    "machine": "what this machine does, drawn to scale",
    "water": "where the water goes, beside everyday things",
    "along": "part by part from stock to reel",
    "price": "the price of a kilogram of water",
    "sheet": "the sheet at three consistencies",
    "axes": "two questions, not one: the ladder of formers",
    "limits": "what gives out first",
    "tension": "what tension and centrifugal force really do",
    "working": "chosen worked calculations",
    "glossary": "words, symbols and units",
    "sources": "sources, and what is assumed",
    "cautions": "what can hurt, part by part",
}
