"""A machine told from headbox to reel, and up the ladder of formers: one step a part, every number from the run.

Each step is a few short sentences, the numbers that go with them, the picture that shows them and the cautions of its
part. Handout and class page tell the same steps, in the phrases of `walk.toml`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from thinstock.tell import everyday
from thinstock.tell.run import KINDS
from thinstock.tell.teller import Teller
from thinstock.words.figures import figure
from thinstock.words.phrase import capital, listed, phrase

if TYPE_CHECKING:
    from thinstock.studies.ladder import Answer, Lowest, Rung


@dataclass(frozen=True, kw_only=True)
class Stop:
    """One step of the walk."""

    key: str
    title: str
    sentences: tuple[str, ...]
    numbers: tuple[tuple[str, str], ...]
    """(what, value) of the numbers that matter here."""
    chart: str = ""
    """Name of the chart that shows it; "drawing" for the elevation."""
    cautions: tuple[str, ...] = ()
    explains: tuple[str, ...] = field(default=())
    """Names of numbers whose working belongs here."""


SETTLED = 3.0
"""Time constants after which 95 % of a step has come through a mixed tank: -ln 0.05."""
SURE = ("consistency", "production", "reel_moisture")
"""Numbers that are set or held: no spread beside them where others have one."""


def walk(teller: Teller) -> tuple[Stop, ...]:
    """Every step, in machine order."""
    return tuple(_walk(teller))


def _walk(teller: Teller) -> Iterator[Stop]:
    yield stock(teller)
    yield headbox(teller)
    yield former(teller)
    if not teller.formed:
        return
    if teller.result.wet.slots:
        yield vacuum(teller)
    yield press(teller)
    yield yankee(teller) if teller.dried_on_yankee else dryer(teller)
    yield reel(teller)
    yield loop(teller)


def _stop(
    key: str, sentences: Iterable[str], numbers: Iterable[tuple[str, str]], *, cautions: tuple[str, ...],
    explains: tuple[str, ...],
) -> Stop:  # fmt: skip
    """A step by its key; numbers by the key of their words."""
    return Stop(
        key=key, title=phrase(f"walk.title.{key}"), sentences=tuple(sentences), cautions=cautions, explains=explains,
        numbers=tuple((phrase(f"walk.number.{name}"), value) for name, value in numbers),
    )  # fmt: skip


def _named(teller: Teller, *names: str, sure: bool = True) -> list[tuple[str, str]]:
    """Named numbers of the run."""
    return [(name, teller.value(name, sure=sure or name in SURE)) for name in names]


def stock(teller: Teller) -> Stop:
    """What comes to the fan pump."""
    machine, result = teller.machine, teller.result
    furnish = listed(f"{teller.per_cent(part.share, 2)} {part.name}" for part in machine.stock.furnish)
    thick, thin = float(machine.stock.thick_consistency), float(result["consistency"])
    given = teller.given("consistency", thick)
    crowding = figure(float(np.ravel(teller.evenness.low.crowding_number)[0]), 2)
    sentences = [
        phrase("walk.stock.furnish", list=furnish),
        phrase("walk.stock.thinned", thick=given, thin=teller.given("consistency", thin),
               times=figure(thick / thin, 2)),
    ]  # fmt: skip
    if machine.stock.freeness is not None:
        sentences.append(phrase("walk.stock.freeness", freeness=teller.given("freeness", machine.stock.freeness)))
    sentences.append(phrase("walk.stock.crowding", number=crowding, regime=teller.evenness.regime))
    return _stop(
        "stock", sentences,
        [("thick", given), *_named(teller, "consistency"), ("crowding", crowding),
         ("temperature", teller.given("temperature", machine.stock.temperature))],
        cautions=("circulation",), explains=("consistency", "retention"),
    )  # fmt: skip


def headbox(teller: Teller) -> Stop:
    """The jet."""
    sentences = [
        phrase("walk.headbox.flow", flow=teller.value("flow_per_width"),
               water=teller.kilograms(teller.result["water_per_fibre"])),
        *everyday.flow(teller),
        phrase("walk.headbox.jet", opening=teller.value("slice_opening"), thickness=teller.value("jet_thickness"),
               speed=teller.value("jet_speed"), head=teller.value("headbox_head")),
    ]  # fmt: skip
    return _stop(
        "headbox", sentences,
        _named(teller, "flow_per_width", "headbox_flow", "jet_speed", "headbox_head", "slice_opening"),
        cautions=("headbox",), explains=("flow_per_width", "headbox_head", "slice_opening"),
    )  # fmt: skip


def forming_time(teller: Teller) -> float | None:
    """Time from the first element to the end of forming, s."""
    wet = teller.result.wet
    line = float(wet.formed.dry_line)
    return line / float(wet.wire_speed) if np.isfinite(line) else None


def where_forming_ends(teller: Teller) -> str:
    """Where forming ends, as a band until it is calibrated; empty where it does not."""
    result = teller.result
    share, slow = float(result["end_of_forming"]), result.values.get("end_of_forming_slow")
    if not np.isfinite(share):
        return ""
    slots = {"share": teller.per_cent(share, 2), "zone": _zone(teller)}
    if teller.known("end_of_forming_wrap"):
        wrap = teller.say("wrap", result["end_of_forming_wrap"], 2)
        where = phrase("walk.end.where_wrap", **slots, wrap=wrap)
    else:
        where = phrase("walk.end.where", **slots)
    if teller.calibrated("stock.resistance_factor"):
        return where
    if slow is None or not np.isfinite(float(slow)):
        return phrase("walk.end.open", where=where)
    return phrase("walk.end.band", where=where, slow=teller.per_cent(slow, 2))


def _zone(teller: Teller) -> str:
    return phrase("walk.end.wrap" if teller.known("end_of_forming_wrap") else "walk.end.zone")


def end_of_forming(teller: Teller) -> str:
    """Where forming ends, in a sentence."""
    where = where_forming_ends(teller)
    return phrase("walk.end.share", where=where) if where else phrase("walk.end.never", zone=_zone(teller))


def former(teller: Teller) -> Stop:
    """Where nearly all the water goes."""
    result, time, stage = teller.result, forming_time(teller), teller.stage("forming")
    name = teller.machine.forming.former
    sentences = [phrase("walk.former.name", former=name, end=capital(end_of_forming(teller)))]
    if time is not None:
        sentences.append(phrase("walk.former.time", time=teller.say("dwell", time, 2), blinks=everyday.blinks(time)))
    if stage is not None:
        water = teller.kilograms(result.stations[1].moisture_ratio, 2)
        sentences.append(phrase("walk.former.drained", share=capital(teller.per_cent(stage.share, 3)), water=water,
                                dryness=teller.value("dryness_formed")))  # fmt: skip
    else:
        sentences.append(phrase("walk.former.not_drained", depth=teller.value("stock_depth", digits=2),
                                left=capital(teller.value("depth_not_drained", digits=2))))  # fmt: skip
    kept = figure(100 * float(result["retention"]), 2)
    sentences.append(phrase("walk.former.retention", retention=teller.value("retention"), kept=kept))
    made = _stop(
        "former", sentences, _named(teller, "grammage_on_wire", "stock_depth", "drainage_impulse", "retention"),
        cautions=("forming",), explains=("end_of_forming", "retention", "grammage_on_wire"),
    )  # fmt: skip
    return replace(made, chart="drainage")


def vacuum(teller: Teller) -> Stop:
    """Air that helps."""
    sentences = [
        phrase("walk.vacuum.slot", name=capital(slot.name), vacuum=teller.given("vacuum", part.vacuum),
               width=teller.given("slot_width", part.slot_width), water=teller.kilograms(slot.moisture_ratio_out))
        for slot, part in zip(teller.result.wet.slots, teller.machine.vacuum.slot, strict=False)
    ]  # fmt: skip
    sentences.append(phrase("walk.vacuum.out", dryness=teller.value("dryness_into_press")))
    stage = teller.stage("vacuum")
    if stage is not None and float(stage.water_per_fibre) > 0 and np.isfinite(float(stage.energy_per_water)):
        cost = teller.say("heat_per_water", stage.energy_per_water, 2)
        sentences.append(phrase("walk.vacuum.cost", mass=teller.mass, cost=cost))
    return _stop("vacuum", sentences, _named(teller, "dryness_into_press"), cautions=("vacuum",),
                 explains=("dryness_into_press",))  # fmt: skip


def press(teller: Teller) -> Stop:
    """The last water taken by pressure."""
    wet = teller.result.wet
    sentences = []
    for nip, part in zip(wet.nips, teller.machine.press.nip, strict=True):
        limit = part.line_load_limit
        sentences.append(phrase(
            "walk.press.nip", name=capital(nip.name), load=teller.given("line_load", part.line_load),
            limit=phrase("walk.press.no_limit") if limit is None
            else phrase("walk.press.limit", limit=teller.given("line_load", limit)),
            time=teller.say("dwell", float(nip.nip_width) / float(wet.felt_speed), 2),
            impulse=teller.say("press_impulse", nip.press_impulse), dryness=teller.say("dryness", nip.dryness, 3),
        ))  # fmt: skip
    key = "out" if teller.calibrated("press.dewatering.permeability_factor") else "out_open"
    out, rewet = teller.value("dryness_press", sure=False), teller.per_cent(wet.nips[-1].share_rewet, 2)
    sentences.append(phrase(f"walk.press.{key}", dryness=out, rewet=rewet))
    sentences.append(phrase("walk.press.felt", share=teller.per_cent(teller.result["nip_saturation"], 2)))
    return _stop(
        "press", [*sentences, _cost(teller)],
        [("through_press", f"{teller.value('dryness_into_press')} → {out}"),
         *_named(teller, "press_impulse", "nip_saturation")],
        cautions=("press", "felt"), explains=("dryness_press", "press_impulse", "nip_saturation"),
    )  # fmt: skip


def _cost(teller: Teller) -> str:
    """What a kilogram costs here against drying."""
    row, dry = teller.stage("press"), teller.stage("evaporation")
    if row is None or dry is None or not float(row.energy_per_water) > 0:
        return phrase("walk.press.little", mass=teller.mass)
    times = figure(float(dry.energy_per_water) / float(row.energy_per_water), 2)
    cost = teller.say("heat_per_water", row.energy_per_water, 2)
    return phrase("walk.press.cost", mass=teller.mass, cost=cost, times=times)


def yankee(teller: Teller) -> Stop:
    """Heat for the last water."""
    stage, dried = teller.stage("evaporation"), teller.result.parts.yankee.dried
    assert stage is not None
    shell, air = float(dried.contact_heat), float(dried.sheet_heat)
    sure = teller.calibrated("hood.hood_factor", "yankee.contact_level")
    sentences = [
        phrase("walk.yankee.last", water=teller.kilograms(stage.water_per_fibre), mass=teller.mass,
               share=teller.per_cent(stage.share, 2), cost=teller.say("heat_per_water", stage.energy_per_water, 3),
               kettle=everyday.kettle(float(stage.energy_per_water))),
        phrase("walk.yankee.heat", steam=teller.value("steam_pressure"), shell=teller.value("surface_temperature"),
               air=teller.value("air_temperature"), share=teller.per_cent(shell / (shell + air), 2)),
        phrase("walk.yankee.rate" if sure else "walk.yankee.rate_open", rate=capital(teller.value("drying_rate"))),
        holder(teller),
    ]  # fmt: skip
    made = _stop(
        "yankee", sentences,
        [*_named(teller, "drying_rate"), *_named(teller, "steam_per_product", "gas_per_product", sure=False)],
        cautions=("yankee", "hood"), explains=("steam_per_product", "gas_per_product", "drying_rate", "evaporation"),
    )  # fmt: skip
    return replace(made, chart="yankee")


def holder(teller: Teller) -> str:
    """What holds the dryness at the reel, and whether it can."""
    case, slots = teller.run.moisture("walk")
    return phrase(f"walk.reached.{case}", **slots)


def dryer(teller: Teller) -> Stop:
    """Drying by a stated specific energy."""
    stage, part = teller.stage("evaporation"), teller.machine.dryer
    assert stage is not None and part is not None
    sentences = (
        phrase("walk.dryer.last", water=teller.kilograms(stage.water_per_fibre),
               share=teller.per_cent(stage.share, 2), cost=teller.given("heat_per_water", part.heat_per_water)),
        phrase("walk.dryer.kettle", kettle=everyday.kettle(float(part.heat_per_water))),
    )  # fmt: skip
    return _stop(
        "dryer", sentences, [*_named(teller, "evaporation"), *_named(teller, "steam_per_product", sure=False)],
        cautions=("drives",), explains=("steam_per_product", "evaporation"),
    )  # fmt: skip


def reel(teller: Teller) -> Stop:
    """What is sold."""
    result, grade = teller.result, teller.machine.grade
    sentences = [
        phrase("walk.reel.made", production=teller.value("production"), grammage=teller.value("reel_grammage"),
               dryness=teller.given("dryness", grade.reel_dryness), speed=teller.value("speed")),
    ]  # fmt: skip
    if float(grade.crepe) > 0:
        speed = teller.say("speed", result.wet.reel_speed, 4)
        sentences.append(phrase("walk.reel.crepe", crepe=teller.given("crepe", grade.crepe), speed=speed,
                                grammage=teller.value("grammage_on_wire")))  # fmt: skip
    energies = [
        phrase(f"walk.reel.{kind}", number=teller.value(f"{kind}_per_product", sure=False))
        for kind in KINDS
        if teller.known(f"{kind}_per_product") and float(result[f"{kind}_per_product"]) > 0
    ]
    if energies:
        sentences.append(phrase("walk.reel.energy", list=listed(energies)))
    return _stop(
        "reel", sentences, _named(teller, "production", "reel_moisture", "electricity_per_product", sure=False),
        cautions=("drives",), explains=("production", "electricity_per_product"),
    )  # fmt: skip


def loop(teller: Teller) -> Stop:
    """Where the water goes then."""
    share, silo = float(teller.result["return_share"]), teller.machine.loop.silo_mass
    sentences = [
        phrase("walk.loop.back", share=teller.per_cent(share, 3)) if share <= 1 else phrase("walk.loop.short"),
    ]
    flow = sum(float(s.water) for s in teller.stream("white_water")) * float(teller.machine.width)
    if silo is not None and float(silo) > 0 and flow > 0:
        seconds = float(silo) / flow
        sentences.append(phrase("walk.loop.silo", mass=teller.given("silo_mass", silo), seconds=figure(seconds, 2),
                                minutes=figure(SETTLED * seconds / 60, 2)))  # fmt: skip
    if teller.known("fresh_water_per_product"):
        sentences.append(phrase("walk.loop.fresh", water=teller.value("fresh_water_per_product", digits=2)))
    return _stop("loop", sentences, _named(teller, "return_share"), cautions=("circulation",),
                 explains=("return_share", "fresh_water_per_product"))  # fmt: skip


# -- up the ladder ---------------------------------------------------------------------------------------------------


def rungs(teller: Teller) -> tuple[Stop, ...]:
    """The formers of the trade for this sheet at this speed, one step a rung."""
    from thinstock.studies.ladder import OWN

    speed = float(teller.result["speed"])
    return tuple(
        Stop(
            key=rung.key, title=capital(rung.name), sentences=tuple(_rung(teller, rung, rung.at(speed))),
            numbers=tuple(rung_numbers(teller, rung, rung.at(speed))), cautions=("forming",),
        )
        for rung in teller.ladder.rungs if rung.key != OWN
    )  # fmt: skip


def _rung(teller: Teller, rung: Rung, answer: Answer) -> Iterator[str]:
    from thinstock.studies.ladder import words

    window, edge = rung.window, teller.edge
    if rung.changed:
        side = f" {words()['side_branch']}" if rung.branch == "side branch" else ""
        yield phrase("walk.rung.changed", changed=rung.changed) + side
    if rung.gave_out:
        yield phrase("walk.rung.gave_out", gave_out=rung.gave_out)
    yield phrase(
        "walk.rung.practice", low=edge.figure("speed", window.speed_low, 2),
        high=teller.say("speed", window.speed_high, 2), thin=edge.figure("consistency", window.consistency_low, 2),
        thick=teller.say("consistency", window.consistency_high, 2),
    )  # fmt: skip
    if rung.own_time is not None:
        own = rung.own_time
        yield phrase("walk.rung.first", sentence=own.reasons.sentence)
        yield phrase(
            "walk.rung.own_time", years=own.era.years, speed=teller.say("speed", own.usual.speed, 3),
            grammage=teller.say("reel_grammage", own.era.reel_grammage, 3),
            low=_percent(teller, own.usual.lowest), slow=_percent(teller, own.usual.lowest_slow),
            packed=_percent(teller, own.usual.lowest_packed),
        )  # fmt: skip
    slots = {"speed": teller.say("speed", answer.speed, 4), "low": _lowest(teller, answer)}
    if answer.practice == "inside":
        yield phrase("walk.rung.lowest", **slots)
    else:
        yield phrase("walk.rung.lowest_beyond", **slots, practice=answer.practice)


def _percent(teller: Teller, lowest: Lowest) -> str:
    """A lowest consistency by drainage alone."""
    if lowest.drainage is None:
        return phrase("walk.rung.none")
    shown = teller.say("consistency", lowest.drainage, 2)
    return phrase("walk.rung.below", low=shown) if lowest.below else shown


def _lowest(teller: Teller, answer: Answer) -> str:
    """The lowest consistency as a band."""
    ends = [answer.lowest.consistency, answer.lowest_slow.consistency]
    low, slow = (None if v is None else teller.edge.figure("consistency", v, 2) for v in ends)
    unit = teller.edge.unit("consistency")
    if low is None:
        return phrase("walk.rung.no_lowest", first=answer.lowest.first)
    if slow is None:
        return phrase("walk.rung.lowest_or_none", low=f"{low} {unit}".rstrip())
    return f"{low if low == slow else phrase('walk.rung.span', low=low, high=slow)} {unit}".strip()


def rung_facts(teller: Teller, rung: Rung, answer: Answer) -> dict[str, str]:
    """The numbers of a rung at one speed, by key."""
    state = answer.at_given
    end = phrase("walk.rung.not_drained")
    if state.end is not None:
        end = phrase("walk.rung.of_length", share=teller.per_cent(state.end, 2))
    return {
        "lowest": _lowest(teller, answer),
        "first": answer.lowest.first,
        "length": teller.say("dry_line", rung.length, 2),
        "time": teller.say("dwell", state.time_available, 2),
        "flow": teller.say("flow_per_width", state.flow_per_width, 3),
        "end": end,
        "impulse": teller.say("drainage_impulse", state.drainage_impulse, 2),
        "transfers": str(rung.transfers),
    }


def rung_numbers(teller: Teller, rung: Rung, answer: Answer) -> Iterator[tuple[str, str]]:
    """The numbers of a rung at one speed, with their words."""
    for key, text in rung_facts(teller, rung, answer).items():
        yield phrase(f"walk.rung_number.{key}"), text
