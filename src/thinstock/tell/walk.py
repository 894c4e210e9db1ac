"""A machine told from headbox to reel, and up the ladder of formers: one step a part, every number from the run.

Each step is a few short sentences, the numbers that go with them, the picture that shows them and the cautions of its
part. Handout and class page tell the same steps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from thinstock.machine.holders import holder as holder_of
from thinstock.tell import everyday
from thinstock.tell.teller import Teller, capital, listed
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase


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


def stock(teller: Teller) -> Stop:
    """What comes to the fan pump."""
    machine, result = teller.machine, teller.result
    furnish = listed([f"{teller.per_cent(part.share, 2)} {part.name}" for part in machine.stock.furnish])
    thick, thin = float(machine.stock.thick_consistency), float(result["consistency"])
    sentences = [
        f"The furnish is {furnish}.",
        f"Thick stock of {teller.given('consistency', thick)} is thinned with white water to "
        f"{teller.given('consistency', thin)}: {figure(thick / thin, 2)} times.",
    ]
    if machine.stock.freeness is not None:
        sentences.append(f"It drains with a freeness of {teller.given('freeness', machine.stock.freeness)}.")
    found = teller.evenness
    crowding = float(np.ravel(found.low.crowding_number)[0])
    sentences.append(
        f"At that consistency {figure(crowding, 2)} fibres share a sphere as wide as a fibre is long "
        f"(crowding number; {found.regime}). That is why stock is thinned: fibres that touch their neighbours make "
        "flocs."
    )
    return Stop(
        key="stock",
        title="Stock",
        sentences=tuple(sentences),
        numbers=(
            ("consistency of the thick stock", teller.given("consistency", thick)),
            ("headbox consistency", teller.value("consistency")),
            ("crowding number", figure(crowding, 2)),
            ("temperature at the jet", teller.given("temperature", machine.stock.temperature)),
        ),
        cautions=("circulation",),
        explains=("consistency", "retention"),
    )


def headbox(teller: Teller) -> Stop:
    """The jet."""
    result = teller.result
    sentences = [
        f"Every metre of width gets {teller.value('flow_per_width')}: {teller.kilograms(result['water_per_fibre'])}.",
        *everyday.flow(teller),
        f"The slice is open {teller.value('slice_opening')}; the jet is {teller.value('jet_thickness')} thick and "
        f"leaves at {teller.value('jet_speed')}, driven by {teller.value('headbox_head')} in the headbox.",
    ]
    return Stop(
        key="headbox",
        title="Headbox",
        sentences=tuple(sentences),
        numbers=(
            ("flow per metre of width", teller.value("flow_per_width")),
            ("flow in all", teller.value("headbox_flow")),
            ("jet speed", teller.value("jet_speed")),
            ("head", teller.value("headbox_head")),
            ("slice opening", teller.value("slice_opening")),
        ),
        cautions=("headbox",),
        explains=("flow_per_width", "headbox_head", "slice_opening"),
    )


def forming_time(teller: Teller) -> float | None:
    """Time from the first element to the end of forming, s."""
    wet = teller.result.wet
    line = float(wet.formed.dry_line)
    return line / float(wet.wire_speed) if np.isfinite(line) else None


def end_of_forming(teller: Teller) -> str:
    """Where forming ends, as a band until it is calibrated."""
    result = teller.result
    share = float(result["end_of_forming"])
    wrap = teller.known("end_of_forming_wrap")
    zone = "the wrap" if wrap else "the forming zone"
    if not np.isfinite(share):
        return f"forming does not end within {zone}"
    told = f"forming ends after {teller.per_cent(share, 2)} of {zone}"
    if wrap:
        told += f" ({teller.say('wrap', result['end_of_forming_wrap'], 2)})"
    given = teller.machine.given.get("stock.resistance_factor")
    if given is not None and given.status in ("measured", "calibrated"):
        return told
    slow = result.values.get("end_of_forming_slow")
    if slow is None or not np.isfinite(float(slow)):
        return f"{told}, or not at all if the mat resists five times as much (not calibrated)"
    return f"{told}, after {teller.per_cent(slow, 2)} if the mat resists five times as much (not calibrated)"


def former(teller: Teller) -> Stop:
    """Where nearly all the water goes."""
    machine, result = teller.machine, teller.result
    sentences = [f"The former: {machine.forming.former}. {capital(end_of_forming(teller))}."]
    time = forming_time(teller)
    if time is not None:
        sentences.append(f"It takes {teller.say('dwell', time, 2)}, {everyday.blinks(time)}.")
    stage = teller.stage("forming")
    if stage is not None:
        sentences.append(
            f"{capital(teller.per_cent(stage.share, 3))} of the water leaves here; the sheet goes on with "
            f"{teller.kilograms(teller.result.stations[1].moisture_ratio, 2)}, {teller.value('dryness_formed')} dry."
        )
    else:
        sentences.append(
            f"{capital(teller.value('depth_not_drained', digits=2))} of {teller.value('stock_depth', digits=2)} of "
            "stock is not drained when the former ends: there is no sheet. Thicker stock, a lower speed or a former "
            "that drains more is needed."
        )
    sentences.append(
        f"First-pass retention is {teller.value('retention')}: of 100 kg of fibre in the jet "
        f"{figure(100 * float(result['retention']), 2)} kg stay in the sheet, the rest goes round with the white water."
    )
    return Stop(
        key="former",
        title="Former",
        sentences=tuple(sentences),
        numbers=(
            ("bone-dry grammage on the wire", teller.value("grammage_on_wire")),
            ("depth of stock on the wire", teller.value("stock_depth")),
            ("drainage impulse", teller.value("drainage_impulse")),
            ("first-pass retention", teller.value("retention")),
        ),
        chart="drainage",
        cautions=("forming",),
        explains=("end_of_forming", "retention", "grammage_on_wire"),
    )


def vacuum(teller: Teller) -> Stop:
    """Air that helps."""
    wet = teller.result.wet
    sentences = []
    for slot, part in zip(wet.slots, teller.machine.vacuum.slot, strict=False):
        sentences.append(
            f"{capital(slot.name)}: {teller.given('vacuum', part.vacuum)} below the air outside over "
            f"{teller.given('slot_width', part.slot_width)} of slot leave {teller.kilograms(slot.moisture_ratio_out)}."
        )
    sentences.append(
        f"The sheet enters the press {teller.value('dryness_into_press')} dry. What vacuum draws is mostly air: the "
        "pumps pay for air, not for water."
    )
    stage = teller.stage("vacuum")
    if stage is not None and float(stage.water_per_fibre) > 0 and np.isfinite(float(stage.energy_per_water)):
        sentences.append(
            f"A {teller.mass} of water costs {teller.say('heat_per_water', stage.energy_per_water, 2)} here."
        )
    return Stop(
        key="vacuum",
        title="Vacuum",
        sentences=tuple(sentences),
        numbers=(("dryness into the press", teller.value("dryness_into_press")),),
        cautions=("vacuum",),
        explains=("dryness_into_press",),
    )


def press(teller: Teller) -> Stop:
    """The last water taken by pressure."""
    result, wet = teller.result, teller.result.wet
    sentences = []
    for nip, part in zip(wet.nips, teller.machine.press.nip, strict=True):
        limit = part.line_load_limit
        bound = f"limit {teller.given('line_load', limit)}" if limit is not None else "limit not given"
        sentences.append(
            f"{capital(nip.name)}: {teller.given('line_load', part.line_load)} ({bound}) press for "
            f"{teller.say('dwell', float(nip.nip_width) / float(wet.felt_speed), 2)}; the impulse is "
            f"{teller.say('press_impulse', nip.press_impulse)} and the sheet leaves "
            f"{teller.say('dryness', nip.dryness, 3)} dry."
        )
    last = wet.nips[-1]
    sure = "" if teller.calibrated("press.dewatering.specific_permeability") else " (not calibrated)"
    sentences.append(
        f"Dryness out of the press is {teller.value('dryness_press', sure=False)}{sure}. "
        f"{teller.per_cent(last.share_rewet, 2)} of the water left in the sheet came back from the felt as rewet."
    )
    sentences.append(
        f"The felt is {teller.per_cent(result['nip_saturation'], 2)} full in the nip; full felts crush the sheet."
    )
    sentences.append(
        f"Every point of dryness here is water that need not be evaporated: a {teller.mass} of it costs "
        + _cost_ratio(teller)
    )
    return Stop(
        key="press",
        title="Press",
        sentences=tuple(sentences),
        numbers=(
            ("dryness into → out of the press",
             f"{teller.value('dryness_into_press')} → {teller.value('dryness_press', sure=False)}"),
            ("press impulse", teller.value("press_impulse")),
            ("nip saturation of the felt", teller.value("nip_saturation")),
        ),
        cautions=("press", "felt"),
        explains=("dryness_press", "press_impulse", "nip_saturation"),
    )  # fmt: skip


def _cost_ratio(teller: Teller) -> str:
    press_row, dry = teller.stage("press"), teller.stage("evaporation")
    if press_row is None or dry is None or not float(press_row.energy_per_water) > 0:
        return "a small part of what drying spends on it."
    ratio = float(dry.energy_per_water) / float(press_row.energy_per_water)
    return (
        f"{teller.say('heat_per_water', press_row.energy_per_water, 2)} in the press and {figure(ratio, 2)} times that "
        "in drying."
    )


def yankee(teller: Teller) -> Stop:
    """Heat for the last water."""
    machine, result = teller.machine, teller.result
    stage = teller.stage("evaporation")
    assert stage is not None and machine.yankee is not None
    shell, air = float(result.parts.yankee.dried.contact_heat), float(result.parts.yankee.dried.sheet_heat)
    sentences = [
        f"The last {teller.kilograms(stage.water_per_fibre)} are {teller.per_cent(stage.share, 2)} of all the water; "
        f"a {teller.mass} of it costs {teller.say('heat_per_water', stage.energy_per_water, 3)} of heat and power. "
        f"That is {everyday.kettle(float(stage.energy_per_water))}.",
        f"Steam at {teller.value('steam_pressure')} heats the shell to {teller.value('surface_temperature')} outside; "
        f"the hood blows air of {teller.value('air_temperature')}. The shell gives "
        f"{teller.per_cent(shell / (shell + air), 2)} of the heat, the hood the rest.",
        f"{capital(teller.value('drying_rate'))} leave the sheet on its way round"
        + (
            "."
            if teller.calibrated("hood.hood_factor", "yankee.contact_level")
            else " (contact and hood not calibrated)."
        ),
        holder(teller),
    ]
    return Stop(
        key="yankee",
        title="Yankee and hood",
        sentences=tuple(sentences),
        numbers=(
            ("drying rate on the wrap", teller.value("drying_rate")),
            ("steam heat per product", teller.value("steam_per_product", sure=False)),
            ("gas per product", teller.value("gas_per_product", sure=False)),
        ),
        chart="yankee",
        cautions=("yankee", "hood"),
        explains=("steam_per_product", "gas_per_product", "drying_rate", "evaporation"),
    )


def holder(teller: Teller) -> str:
    """What holds the dryness at the reel, and whether it can."""
    result = teller.result
    held = holder_of(result.held_by)
    reached, wanted = float(result["reel_moisture"]), float(result["reel_moisture_wanted"])
    points = 100 * (reached - wanted)
    if abs(points) < 0.02:
        told = f"The sheet reaches the reel with {teller.value('reel_moisture')} moisture, as wanted"
    else:
        told = (
            f"The sheet reaches the reel {figure(abs(points), 2)} points too {'wet' if points > 0 else 'dry'}: "
            f"{teller.value('reel_moisture')} moisture"
        )
    if not held.number:
        return f"{told}; nothing is moved to hold it."
    what, at = phrase(f"holders.walk.{held.phrase}"), teller.value(held.number)
    return f"{told}; {what} holds it, {'now' if abs(points) < 0.02 else 'at its bound,'} {at}."


def dryer(teller: Teller) -> Stop:
    """Drying by a stated specific energy."""
    machine = teller.machine
    stage = teller.stage("evaporation")
    assert stage is not None and machine.dryer is not None
    return Stop(
        key="dryer",
        title="Dryer",
        sentences=(
            f"The last {teller.kilograms(stage.water_per_fibre)} are evaporated: {teller.per_cent(stage.share, 2)} of "
            f"all the water, at {teller.given('heat_per_water', machine.dryer.heat_per_water)} (stated, not computed).",
            f"That is {everyday.kettle(float(machine.dryer.heat_per_water))}.",
        ),
        numbers=(
            ("evaporation per metre of width", teller.value("evaporation")),
            ("steam heat per product", teller.value("steam_per_product", sure=False)),
        ),
        cautions=("drives",),
        explains=("steam_per_product", "evaporation"),
    )


def reel(teller: Teller) -> Stop:
    """What is sold."""
    result, grade = teller.result, teller.machine.grade
    sentences = [
        f"The machine makes {teller.value('production')} of paper of {teller.value('reel_grammage')}, "
        f"{teller.given('dryness', grade.reel_dryness)} dry, at {teller.value('speed')}."
    ]
    if float(grade.crepe) > 0:
        sentences.append(
            f"Creping shortens the sheet by {teller.given('crepe', grade.crepe)}: on the wire it weighed only "
            f"{teller.value('grammage_on_wire')} bone-dry, and the reel turns at "
            f"{teller.say('speed', result.wet.reel_speed, 4)}."
        )
    energies = [
        f"{teller.value(f'{kind}_per_product', sure=False)} of {said}"
        for kind, said in (("steam", "steam heat"), ("gas", "gas"), ("electricity", "electricity"))
        if teller.known(f"{kind}_per_product") and float(result[f"{kind}_per_product"]) > 0
    ]
    if energies:
        sentences.append(f"Of the parts computed here it takes {listed(energies)}.")
    return Stop(
        key="reel",
        title="Reel",
        sentences=tuple(sentences),
        numbers=(
            ("production", teller.value("production")),
            ("moisture at the reel", teller.value("reel_moisture")),
            ("electricity per product", teller.value("electricity_per_product", sure=False)),
        ),
        cautions=("drives",),
        explains=("production", "electricity_per_product"),
    )


def loop(teller: Teller) -> Stop:
    """Where the water goes then."""
    result = teller.result
    share = float(result["return_share"])
    sentences = [
        f"{teller.per_cent(min(share, 1.0), 3)} of the water that leaves the former goes straight back to the fan pump "
        "to thin new stock; it is the same water again and again."
        if share <= 1
        else "The wire gives less water than the fan pump needs to thin the stock: make-up water is needed."
    ]
    silo = teller.machine.loop.silo_mass
    if silo is not None and float(silo) > 0:
        flow = sum(float(s.water) for s in teller.stream("white_water")) * float(teller.machine.width)
        if flow > 0:
            sentences.append(
                f"The silo holds {teller.given('silo_mass', silo)}; at this flow it is filled anew every "
                f"{figure(float(silo) / flow, 2)} seconds, and 95 % of a change of consistency has come through after "
                f"{figure(SETTLED * float(silo) / flow / 60, 2)} minutes."
            )
    if teller.known("fresh_water_per_product"):
        sentences.append(
            f"Fresh water of the parts computed here (showers): {teller.value('fresh_water_per_product', digits=2)}."
        )
    return Stop(
        key="loop",
        title="White water",
        sentences=tuple(sentences),
        numbers=(("share of the forming water that returns", teller.value("return_share")),),
        cautions=("circulation",),
        explains=("return_share", "fresh_water_per_product"),
    )


# -- up the ladder ---------------------------------------------------------------------------------------------------


def rungs(teller: Teller) -> tuple[Stop, ...]:
    """The formers of the trade for this sheet at this speed, one step a rung."""
    from thinstock.studies.ladder import OWN, words

    speed = float(teller.result["speed"])
    found = []
    for rung in teller.ladder.rungs:
        if rung.key == OWN:
            continue
        answer = rung.at(speed)
        side = f" {words()['side_branch']}" if rung.branch == "side branch" else ""
        found.append(
            Stop(
                key=rung.key,
                title=capital(rung.name),
                sentences=tuple(s for s in (
                    f"What it changed: {rung.changed}.{side}" if rung.changed else "",
                    f"What gave out: {rung.gave_out}." if rung.gave_out else "",
                    _practice(teller, rung),
                    _computed(teller, rung, answer),
                ) if s),
                numbers=tuple(rung_numbers(teller, rung, answer)),
                cautions=("forming",),
            )
        )  # fmt: skip
    return tuple(found)


def _practice(teller: Teller, rung: Any) -> str:
    window = rung.window
    speeds = f"{teller.edge.figure('speed', window.speed_low, 2)} to {teller.say('speed', window.speed_high, 2)}"
    thin = (
        f"{teller.edge.figure('consistency', window.consistency_low, 2)} to "
        f"{teller.say('consistency', window.consistency_high, 2)}"
    )
    return f"Practice runs it at {speeds} and {thin} (common practice, no source, at least ±30 %)."


def _computed(teller: Teller, rung: Any, answer: Any) -> str:
    at = teller.say("speed", answer.speed, 4)
    low = _lowest(teller, answer)
    inside = "" if answer.practice == "inside" else f"; this speed is {answer.practice}"
    return f"Lowest consistency for this sheet at {at}: {low} (computed, not calibrated{inside})."


def _lowest(teller: Teller, answer: Any) -> str:
    """The lowest consistency as a band."""
    ends = [answer.lowest.consistency, answer.lowest_slow.consistency]
    shown = [None if v is None else teller.edge.figure("consistency", v, 2) for v in ends]
    unit = teller.edge.unit("consistency")
    if shown[0] is None:
        return f"no consistency ({answer.lowest.first} stops it)"
    if shown[1] is None:
        return f"{shown[0]} {unit}".rstrip() + ", or none if the mat resists five times as much"
    return f"{shown[0]} {unit}".strip() if shown[0] == shown[1] else f"{shown[0]} to {shown[1]} {unit}".strip()


def rung_numbers(teller: Teller, rung: Any, answer: Any) -> Iterator[tuple[str, str]]:
    """The numbers of a rung at one speed."""
    state = answer.at_given
    yield "lowest consistency", _lowest(teller, answer)
    yield "what stops further dilution", answer.lowest.first
    yield "forming length", teller.say("dry_line", rung.length, 2)
    yield "time available", teller.say("dwell", state.time_available, 2)
    yield "flow at this consistency", teller.say("flow_per_width", state.flow_per_width, 3)
    end = f"{teller.per_cent(state.end, 2)} of the length" if state.end is not None else "not drained"
    yield "end of forming at this consistency", end
    yield "drainage impulse", teller.say("drainage_impulse", state.drainage_impulse, 2)
    yield "transfers to the dryer", str(rung.transfers)
