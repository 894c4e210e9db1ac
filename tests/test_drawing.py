"""The side view of a machine: drawn as given, closed, readable without colour and without eyes."""

from __future__ import annotations

import dataclasses
import itertools
import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

import thinstock
from thinstock.drawing import alt_text, elevation, svg, table
from thinstock.drawing.elevation import DECADE, SMALLEST, depth, layer, round_flow
from thinstock.drawing.foot import bar_metres
from thinstock.drawing.layout import lay_out
from thinstock.errors import Refused
from thinstock.machine.along import along_former, along_nips, along_yankee
from thinstock.machine.elements import FormingRoll
from thinstock.machine.geometry import Arc, on_roll
from thinstock.machine.nips import ShoeNip
from thinstock.machine.outlines.shape import LAYER

SVG = "{http://www.w3.org/2000/svg}"
NAMES = [m.name for m in thinstock.machines()]


@pytest.fixture(scope="module")
def results():
    return {name: thinstock.load(name).run() for name in NAMES}


@pytest.fixture(scope="module")
def undrained():
    return thinstock.load("facial-roll").with_({"stock.resistance_factor": 20.0}).run()


def _parse(text: str) -> ET.Element:
    return ET.fromstring(text)


@pytest.mark.parametrize("name", NAMES)
def test_every_machine_is_drawn_as_sound_markup_that_fetches_and_runs_nothing(results, name):
    text = elevation(results[name])
    root = _parse(text)
    assert root.tag == f"{SVG}svg"
    tags = {e.tag.removeprefix(SVG) for e in root.iter()}
    assert not tags & {"script", "image", "foreignObject", "use", "a"}
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"\son\w+=", text)
    assert all("style" not in e.attrib for e in root.iter()), "styles stand in one sheet"


@pytest.mark.parametrize("name", NAMES)
def test_every_part_has_a_title_a_description_and_a_name_for_the_keyboard(results, name):
    root = _parse(elevation(results[name]))
    assert root.find(f"{SVG}title").text and root.find(f"{SVG}desc").text
    assert root.get("role") == "group" and root.get("aria-label")
    parts = [e for e in root.iter(f"{SVG}g") if e.get("tabindex") == "0"]
    told = {o.name for o in lay_out(results[name]).outlines}
    assert told <= {p.find(f"{SVG}title").text for p in parts}
    for part in parts:
        title = part.find(f"{SVG}title").text
        assert part.get("role") == "img"
        assert part.get("aria-label").startswith(title)
        assert part.find(f"{SVG}desc") is not None


@pytest.mark.parametrize("name", NAMES)
def test_fabrics_close_and_sheet_and_stock_join(results, name):
    plan = lay_out(results[name])
    for loop in plan.loops:
        assert loop.path.gap() < 1e-9, loop.name
        assert loop.path.start.distance(loop.path.end) < 1e-9, loop.name
    for run in plan.runs:
        assert run.path.gap() < 1e-6, run.name
        assert all(a <= b for a, b in itertools.pairwise(run.places)), run.name
        assert run.places[-1] <= run.path.length + 1e-6, run.name


ROLL_FORMERS = [n for n in NAMES if isinstance(thinstock.load(n).forming.element[0], FormingRoll)]


@pytest.mark.parametrize("name", ROLL_FORMERS)
def test_the_wrap_drawn_is_the_wrap_given_of_sheet_and_of_both_fabrics(results, name):
    result = results[name]
    plan, forming = lay_out(result), result.machine.forming
    given = {e.name: e for e in forming.element if isinstance(e, FormingRoll)}
    assert {w.part for w in plan.wraps} == set(given)
    for wrap in plan.wraps:
        element = given[wrap.part]
        assert abs(wrap.arc.turn) == pytest.approx(float(element.wrap), abs=1e-9)
        lift = LAYER if element.outer == "back" else 0.0
        assert wrap.arc.radius == pytest.approx(float(element.roll_diameter) / 2 + lift)
    first = plan.wraps[0]
    turns = {}
    for loop in plan.loops:
        for circle, _ in loop.rolls:
            if circle.centre.distance(first.arc.centre) < 1e-9:
                turns[loop.name] = (abs(on_roll(loop.path, circle).turn), circle.radius)
    assert len(turns) == 2
    outer = max(turns, key=lambda n: turns[n][1])
    inner = min(turns, key=lambda n: turns[n][1])
    assert turns[outer][0] == pytest.approx(float(forming.element[0].wrap), abs=1e-9)
    if forming.element[0].inner_wrap is not None:
        assert turns[inner][0] == pytest.approx(float(forming.element[0].inner_wrap), abs=1e-6)
    else:
        assert turns[inner][0] > turns[outer][0]


def test_a_c_bends_once_and_an_s_bends_both_ways(results):
    for name, signs in (
        ("facial-roll", 1),
        ("facial-twin-wire-c", 1),
        ("facial-wire-felt-s", 2),
        ("bath-twin-wire-s", 2),
    ):
        plan = lay_out(results[name])
        assert len({w.arc.side for w in plan.wraps}) == signs, name


@pytest.mark.parametrize("name", NAMES)
def test_the_sheet_lies_below_the_felt_so_that_it_meets_the_yankee(results, name):
    machine, plan = results[name].machine, lay_out(results[name])
    if machine.yankee is None:
        return
    felt = next(loop for loop in plan.loops if loop.name == "felt")
    carried = next(r for r in plan.runs if r.name == "sheet on the felt")
    assert carried.lies == -1.0
    end = carried.path.at(carried.path.length)
    shell = float(machine.yankee.diameter) / 2
    assert math.hypot(*end.point) == pytest.approx(shell, abs=1e-6), "the sheet arrives at the shell"
    to_centre = end.point.angle_to(type(end.point)(0.0, 0.0))
    assert math.sin(to_centre - end.heading) < 0, "with the Yankee on the sheet's side"
    assert felt.path.at(felt.path.nearest(end.point)).point.distance(end.point) < 1e-6


@pytest.mark.parametrize("name", NAMES)
def test_scale_bar_and_rolls_have_the_same_scale(results, name):
    root = _parse(elevation(results[name]))
    bar = next(e for e in root.iter() if "data-metres" in e.attrib)
    scale = float(bar.get("data-pixels")) / float(bar.get("data-metres"))
    boxes = [e for e in root.iter(f"{SVG}path") if e.get("class") in ("ts-black", "ts-white")]
    xs = [float(x) for e in boxes for x in re.findall(r"[ML](-?[\d.]+) ", e.get("d"))]
    assert max(xs) - min(xs) == pytest.approx(float(bar.get("data-pixels")), abs=0.05)
    shells = [e for e in root.iter(f"{SVG}path") if e.get("class") == "ts-shell"]
    radius = float(re.search(r"A([\d.]+) ", shells[0].get("d"))[1])
    machine = results[name].machine
    metres = float(machine.yankee.diameter) / 2 if machine.yankee is not None else 0.75
    assert radius / scale == pytest.approx(metres, rel=2e-3)


def _straight_bands(root):
    """(flow, width as drawn) of the bands that go straight, measured at their outline."""
    for e in root.iter(f"{SVG}path"):
        if "data-flow" not in e.attrib or "A" in e.get("d"):
            continue
        p = [tuple(map(float, m)) for m in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", e.get("d"))]
        yield float(e.get("data-flow")), math.dist(p[1], p[2])


@pytest.mark.parametrize("name", NAMES)
def test_band_widths_follow_the_flow(results, name):
    result = results[name]
    bands = list(_straight_bands(_parse(elevation(result))))
    assert len(bands) >= 2
    biggest = max(bands)
    for flow, width in bands:
        assert width == pytest.approx(biggest[1] * flow / biggest[0], abs=0.03)
    root = _parse(elevation(result, log_water=True))
    bar = next(e for e in root.iter() if "data-metres" in e.attrib)
    scale = float(bar.get("data-pixels")) / float(bar.get("data-metres"))
    for flow, width in _straight_bands(root):
        assert width == pytest.approx(max(DECADE * scale * math.log10(flow / SMALLEST), 0.0), abs=0.05)


@pytest.mark.parametrize("name", NAMES)
def test_the_bands_together_are_the_water_between_jet_and_reel(results, name):
    result = results[name]
    water = {s.name: float(s.water) for s in result.streams}
    leaving = math.fsum(b.flow for b in lay_out(result).leaving)
    brought = water["jet"] + water.get("steam_box", 0.0)
    assert leaving == pytest.approx(brought - water["reel"], rel=1e-9)


def test_names_with_markup_in_them_are_printed_not_run(results):
    machine = results["facial-roll"].machine
    bad = '<script>alert("1")</script> & co'
    slots = tuple(dataclasses.replace(s, name=bad) for s in machine.vacuum.slot)
    renamed = dataclasses.replace(
        machine, title=bad, vacuum=dataclasses.replace(machine.vacuum, slot=slots),
        forming=dataclasses.replace(
            machine.forming, element=tuple(dataclasses.replace(e, name=bad) for e in machine.forming.element)
        ),
    )  # fmt: skip
    text = elevation(renamed.run())
    assert "<script" not in text
    root = _parse(text)
    assert bad in {e.text for e in root.iter(f"{SVG}title")}
    assert any(bad in (e.text or "") for e in root.iter(f"{SVG}text"))
    assert not any(e.tag == f"{SVG}script" for e in root.iter())


def test_stock_that_is_not_drained_is_carried_on_and_nothing_is_drawn_behind_it(undrained):
    assert not undrained["formed"]
    plan = lay_out(undrained)
    assert {r.name for r in plan.runs} == {"jet", "stock, not drained"}
    assert "stock not drained" in {b.name for b in plan.leaving}
    assert min(plan.runs[-1].moisture_ratios) > 100, "it stays stock to the end of the former"
    text = elevation(undrained)
    assert "no sheet" in {e.text for e in _parse(text).iter(f"{SVG}text")}
    assert "not formed" in alt_text(undrained)
    assert "Pressure in the nip" not in text


def test_a_line_load_stands_beside_its_limit_or_the_limit_is_said_to_be_unknown(results):
    said = [e.text for e in _parse(elevation(results["facial-roll"])).iter(f"{SVG}text")]
    assert "line load 90 kN/m, limit 105 kN/m" in said
    machine = results["facial-roll"].machine
    nips = tuple(dataclasses.replace(n, line_load_limit=None) for n in machine.press.nip)
    open_ended = dataclasses.replace(machine, press=dataclasses.replace(machine.press, nip=nips)).run()
    said = [e.text for e in _parse(elevation(open_ended)).iter(f"{SVG}text")]
    assert "line load 90 kN/m, limit not known" in said


@pytest.mark.parametrize("name", NAMES)
def test_in_running_nips_are_marked_on_both_sides_of_every_fabric_roll_and_press_nip(results, name):
    plan, machine = lay_out(results[name]), results[name].machine
    kinds = [h.kind for h in plan.hazards]
    rolls = sum(on_roll(loop.path, c) is not None for loop in plan.loops for c, _ in loop.rolls if c.radius <= 1.5)
    assert kinds.count("roll") == kinds.count("roll at crawl") == rolls
    assert kinds.count("nip at crawl") == len(machine.press.nip)
    assert kinds.count("nip") >= len(machine.press.nip)
    assert "hot" in kinds
    assert ("blade" in kinds) == (machine.yankee is not None)


def test_a_shoe_is_as_long_as_it_was_given_and_bent_like_its_counter_roll(results):
    for name in ("facial-shoe", "board-two-shoes"):
        result = results[name]
        plan = lay_out(result)
        for nip in result.machine.press.nip:
            assert isinstance(nip, ShoeNip)
            shape = next(s for s in plan.outline(nip.name).shapes if s.role == "shoe")
            inner = min((p for p in shape.path.pieces if isinstance(p, Arc)), key=lambda a: a.radius)
            assert inner.length == pytest.approx(float(nip.shoe_length), rel=1e-9)
            if nip.on_yankee:
                assert 0 < inner.radius - float(result.machine.yankee.diameter) / 2 < 0.01


def test_two_rolls_on_one_yankee_do_not_touch(results):
    for name in NAMES:
        machine = results[name].machine
        if machine.yankee is None or len(machine.press.nip) < 2:
            continue
        plan = lay_out(results[name])
        circles = [
            next(s for s in plan.outline(n.name).shapes if s.role == "roll").path.pieces[0] for n in machine.press.nip
        ]
        for a, b in itertools.pairwise(circles):
            assert a.centre.distance(b.centre) > a.radius + b.radius + 0.19


def test_the_inset_carries_the_line_load_and_the_peak_of_the_run(results):
    for name in ("facial-roll", "facial-shoe", "board-three-nips"):
        result = results[name]
        for one, part, did in zip(
            along_nips(result.parts.press, 2001), result.machine.press.nip, result.wet.nips, strict=True
        ):
            assert np.trapezoid(one.pressure, one.place) == pytest.approx(float(part.line_load), rel=1e-3)
            assert one.pressure.max() == pytest.approx(float(did.peak_pressure), rel=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_drainage_along_the_former_ends_where_the_run_ended(results, name):
    result = results[name]
    run, along = result.wet.formed, along_former(result.parts.forming)
    reached = along.place >= float(run.dry_line) - 1e-9
    assert along.deposited[reached] == pytest.approx(float(result.wet.grammage_wire), rel=1e-6)
    assert np.all(np.diff(along.drained) >= -1e-9)
    elements = run.rows[-1][2]
    white = float(run.drained.white_water[0][:elements].sum())
    assert along.drained[-1] == pytest.approx(white, rel=1e-4)


def test_drying_round_the_yankee_ends_at_the_moisture_of_the_mean_spot(results):
    for name in ("facial-roll", "facial-shoe", "facial-flat-wire"):
        found, result = along_yankee(results[name].parts.yankee), results[name]
        assert found.moisture_ratio[0] == pytest.approx(float(result.wet.moisture_pressed))
        mean = float(result.parts.yankee.dried.moisture_ratio_mean)
        assert found.moisture_ratio[-1] == pytest.approx(mean, rel=1e-6), "the profile is that of the mean spot"
        assert mean < float(result.dry.moisture_ratio_out), "heavy spots hold more water than light ones lack"


GREY = re.compile(r"\$(ink|paper|water|faint|tint)")
APART = (
    ("wire", "felt", "sheet", "nozzles", "curve", "curve 2", "curve 3"),
    ("box", "hood", "paper roll", "steel", "shoe", "roll", "wrap"),
    ("band", "band vapour", "band undrained"),
    ("roll", "shell", "open", "voids"),
    ("sign", "sign small", "sign crawl"),
    ("formed", "formed slow", "wrap edge"),
)


@pytest.mark.parametrize("roles", APART)
def test_lines_and_areas_differ_without_their_colours(roles):
    styles = [GREY.sub(lambda m: "light" if m[1] in ("paper", "tint") else "dark", svg.STYLES[r]) for r in roles]
    assert len(set(styles)) == len(roles), "by dash, hatch, weight or black against white"


def test_the_blue_deepens_and_the_layer_thickens_with_dilution():
    ratios = [0.05, 0.5, 1.5, 4.0, 8.0, 30.0, 200.0, 525.0, 2700.0]
    assert all(a < b for a, b in itertools.pairwise([depth(r) for r in ratios]))
    assert all(a < b for a, b in itertools.pairwise([layer(r) for r in ratios]))
    assert depth(math.inf) == 1.0


def test_a_drawing_stands_by_itself_unless_it_is_asked_for_a_page(results):
    assert elevation(results["facial-roll"]) == elevation(results["facial-roll"], theme="print")


@pytest.mark.parametrize("theme", ["paper", "dark", "print"])
def test_a_fixed_theme_needs_no_variables_and_the_page_sets_its_own(results, theme):
    assert "var(" not in elevation(results["facial-roll"], theme=theme)
    assert "var(--ts-water,#" in elevation(results["facial-roll"], theme="page")


def test_a_narrow_drawing_has_numerals_with_a_key(results):
    wide = [e.text for e in _parse(elevation(results["facial-roll"], width_px=1200)).iter(f"{SVG}text")]
    root = _parse(elevation(results["facial-roll"], width_px=360))
    narrow = [e.text for e in root.iter(f"{SVG}text")]
    assert float(root.get("width")) == 360
    assert "Yankee" in wide and "1" not in wide
    assert narrow.count("1") == 2 and "Yankee" in narrow, "once on the drawing, once in the key"


def test_units_follow_the_unit_set_and_water_is_per_metre_or_of_the_whole_machine(results):
    def said(**how):
        return " | ".join(e.text or "" for e in _parse(elevation(results["facial-roll"], **how)).iter(f"{SVG}text"))

    assert "line load 90 kN/m" in said() and "of width" in said() and "236 kg/(s·m)" in said()
    us = said(unit_set="us")
    assert "line load 514 lbf/in" in us and "lb/(h in)" in us and "psi" in us
    for unit in ("kN/m", "MPa", "kg/(s", " mm", "°C", " m |"):
        assert unit not in us, unit
    whole = said(whole=True)
    width = float(results["facial-roll"].machine.width)
    jet = float(next(s.water for s in results["facial-roll"].streams if s.id == "jet"))
    assert "whole machine" in whole and "t/h" in whole and "kg/(s·m)" not in whole
    flows = [float(x) for x in re.findall(r"(?<=\| )([\d.]+)(?= t/h \|)", whole)]
    assert max(flows) == pytest.approx(3.6 * jet * width, rel=0.03), "the former takes nearly all of it"


@pytest.mark.parametrize("name", NAMES)
def test_an_arrow_shows_the_way_of_the_sheet_and_the_foot_says_what_the_signs_mean(results, name):
    root = _parse(elevation(results[name]))
    said = {e.text for e in root.iter(f"{SVG}text")}
    assert {"way of the sheet", "draws in", "turned backwards"} <= said
    assert sum(e.get("class") == "ts-way" for e in root.iter(f"{SVG}path")) >= 4


@pytest.mark.parametrize("name", NAMES)
def test_former_and_press_stand_below_the_machine_at_one_larger_scale(results, name):
    said = " | ".join(e.text or "" for e in _parse(elevation(results[name])).iter(f"{SVG}text"))
    times = re.findall(r"(?:Former|Press), ([\d.]+) times as large", said)
    assert len(times) == 2 and len(set(times)) == 1 and float(times[0]) > 1.2
    alone = elevation(results[name], inset=False)
    assert "as large" not in alone and "Pressure in the nip, MPa" not in alone


def test_a_twin_wire_c_opens_to_the_machine_like_the_letter(results):
    for name in ("facial-twin-wire-c", "facial-twin-wire-open-roll", "towel-twin-wire-suction-roll"):
        arc = lay_out(results[name]).wraps[0].arc
        start, end, middle = (math.degrees(arc.begin + share * arc.turn) % 360 for share in (0.0, 1.0, 0.5))
        assert 90 < middle < 270, "its back is away from the press"
        assert 225 < start < 300 and 60 < end < 135, (name, start, end)


def test_the_boxes_of_an_inclined_wire_stand_clear_of_its_rolls_and_their_water_leaves_below_them(results):
    plan = lay_out(results["tea-bag-inclined-wire"])
    part = plan.outline("inclined boxes")
    boxes = [s.path for s in part.shapes if s.role == "box"]
    rolls = [plan.outline(r).shapes[0].path.pieces[0] for r in ("breast roll", "top roll")]
    for box in boxes:
        for roll in rolls:
            assert min(p.distance(roll.centre) for p in box.points(0.05)) > roll.radius
    lowest = min(p.y for p in part.shapes[0].path.points())
    starts = [b.path.start.y for b in plan.leaving if b.part == "inclined boxes"]
    assert starts and max(starts) < lowest + 0.2


def test_the_water_of_a_long_open_wire_leaves_in_several_places(results):
    machine = results["facial-flat-wire"].machine
    from thinstock.studies import exchange

    plan = lay_out(exchange.with_former(machine, "flat wire, open table").machine.run())
    table = [b for b in plan.leaving if b.stage == "forming"]
    assert len(table) >= 3
    assert [b.flow for b in table] == sorted((b.flow for b in table), reverse=True), "less and less of it drains"


def test_the_words_carry_the_numbers_and_the_table_the_water(results):
    result = results["facial-roll"]
    said = alt_text(result)
    for text in (
        "5.5 m across",
        "wrap 160°",
        "line load 90 kN/m, limit 105 kN/m",
        "236 kg/s per metre",
        "peak 2.5 MPa",
    ):
        assert text in said
    rows = table(result)
    heads = {tuple(r) for r in rows}
    assert len(heads) == 1
    water = {s.name: float(s.water) for s in result.streams}
    told = math.fsum(r["water leaving, kg/s per metre"] or 0.0 for r in rows)
    assert told == pytest.approx(water["jet"] - water["reel"], rel=1e-9)


def test_the_same_result_gives_the_same_drawing(results):
    assert elevation(results["facial-roll"]) == elevation(results["facial-roll"])


def test_several_cases_are_refused_with_a_remedy(results):
    many = results["facial-roll"].machine.with_({"yankee.speed": np.array([25.0, 30.0])}).run()
    with pytest.raises(Refused, match="one case"):
        elevation(many)


def test_scale_bar_and_sample_band_are_round_and_have_room():
    assert [bar_metres(s, 360.0) for s in (25.0, 60.0, 150.0)] == [10.0, 5.0, 2.0]
    for total in (0.3, 31.0, 255.0, 900.0):
        flow = round_flow(total, 45.0)
        assert float(f"{flow:.0e}") == pytest.approx(flow)
        assert 15 <= 45.0 * flow / total <= 51
