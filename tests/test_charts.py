"""Charts: every specification compiles, says in words and in a table what it shows, and shows what the run found."""

from __future__ import annotations

import dataclasses
import itertools
import json
import math
import xml.etree.ElementTree as ET
from importlib.resources import files

import numpy as np
import pytest

import thinstock
from thinstock.drawing import (
    chart_alt,
    chart_data,
    chart_full,
    chart_names,
    chart_needs,
    chart_spec,
    chart_svg,
    chart_table,
    chart_title,
)
from thinstock.drawing.chart import DATA
from thinstock.drawing.chart_rows_sheet import _spread
from thinstock.drawing.chart_units import CHART_UNITS
from thinstock.errors import Refused
from thinstock.words.units import UNIT_SETS

CHARTS = chart_names()
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def sources():
    from thinstock.studies.ladder import formers

    machine = thinstock.load("facial-roll")
    speeds = [5.0, 15.0, 25.0, 32.5]
    keys = ["flat_wire", "inclined_wire", "wire_felt_c"]
    return {
        "result": machine.run(),
        "limits": thinstock.limits(machine),
        "ladder": formers(machine, speeds=speeds, keys=keys),
    }


@pytest.fixture(scope="module")
def rows(sources):
    return {name: chart_data(name, sources[chart_needs(name)]) for name in CHARTS}


def _of(rows, kind):
    return [r for r in rows if r.get("kind") == kind]


@pytest.mark.parametrize("name", CHARTS)
def test_every_chart_compiles_for_print_and_prints_its_title(rows, name):
    root = ET.fromstring(chart_svg(name, rows[name], "print"))
    words = {"".join(e.itertext()) for e in root.iter(f"{SVG}text")}
    assert chart_title(name) in words
    marks = [e for e in root.iter() if "role-mark" in e.get("class", "")]
    assert marks and not any(e.tag == f"{SVG}image" for e in root.iter())


@pytest.mark.parametrize("name", CHARTS)
def test_a_specification_holds_no_numbers_of_a_machine_and_fetches_nothing(name):
    text = files("thinstock.drawing").joinpath("charts", f"{name}.vl.json").read_text(encoding="utf-8")
    spec = json.loads(text)
    assert spec["$schema"].endswith("/v5.json")
    assert "data" not in spec and "datasets" not in spec
    assert '"url"' not in text and "expr" not in text
    assert chart_spec(name)["data"] == {"name": DATA}


@pytest.mark.parametrize("name", CHARTS)
def test_every_chart_has_words_with_numbers_and_a_table_with_one_set_of_heads(rows, name):
    said = chart_alt(name, rows[name])
    assert said.startswith(chart_title(name)) and len(said) > 60
    assert sum(c.isdigit() for c in said) > 5
    assert "nan" not in said.split() and "None" not in said
    table = chart_table(name, rows[name])
    assert len(table) >= 3
    assert len({tuple(r) for r in table}) == 1
    assert all("_" not in head for head in table[0])


@pytest.mark.parametrize("name", CHARTS)
def test_rows_are_plain_data_without_nan(rows, name):
    assert json.loads(json.dumps(rows[name], allow_nan=False)) == rows[name]


@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("units", UNIT_SETS)
def test_rows_words_and_specification_go_together_in_every_set_of_units(sources, name, units):
    found = chart_data(name, sources[chart_needs(name)], units)
    assert found and chart_alt(name, found, units) and chart_table(name, found, units)
    text = json.dumps(chart_spec(name, "paper", units), ensure_ascii=False)
    assert not any(f"{{{what}}}" in text for what in CHART_UNITS)
    assert "$ink" not in text and "$water" not in text


@pytest.mark.parametrize("theme", ["paper", "dark", "print", "page"])
def test_a_theme_sets_every_colour(theme):
    texts = {name: json.dumps(chart_spec(name, theme)) for name in CHARTS}
    assert all(("var(--ts-ink" in t) == (theme == "page") for t in texts.values())
    with pytest.raises(Refused, match="themes are"):
        chart_spec("energy", "neon")


def test_an_unknown_chart_is_refused_with_the_known_ones():
    with pytest.raises(Refused, match="water_staircase"):
        chart_spec("pie")


@pytest.mark.parametrize("name", CHARTS)
def test_a_chart_can_be_narrower(rows, name):
    wide = float(ET.fromstring(chart_svg(name, rows[name])).get("width"))
    narrow = float(ET.fromstring(chart_svg(name, rows[name], width=120)).get("width"))
    assert narrow < wide - 50


def test_names_with_markup_in_them_stay_words(sources):
    machine = sources["result"].machine
    bad = "<script>alert(1)</script>"
    slots = tuple(dataclasses.replace(s, name=bad) for s in machine.vacuum.slot)
    renamed = dataclasses.replace(machine, vacuum=dataclasses.replace(machine.vacuum, slot=slots)).run()
    text = chart_svg("water_staircase", chart_data("water_staircase", renamed))
    assert "<script" not in text
    assert bad in {"".join(e.itertext()) for e in ET.fromstring(text).iter(f"{SVG}text")}


# --- the rows are what the run found


def test_the_staircase_has_every_station_in_order(sources, rows):
    stations = sources["result"].stations
    assert [r["station"] for r in rows["water_staircase"]] == [s.name for s in stations]
    assert [r["water"] for r in rows["water_staircase"]] == [float(s.moisture_ratio) for s in stations]


def test_who_takes_the_water_adds_up_to_what_is_taken(sources, rows):
    taken = math.fsum(r["water"] for r in rows["water_takers"])
    stations = sources["result"].stations
    assert taken == pytest.approx(float(stations[0].moisture_ratio) - float(stations[-1].moisture_ratio), rel=1e-9)
    assert [r["stage"] for r in rows["water_takers"]] == ["forming", "vacuum", "press", "evaporation"]
    prices = [r["energy"] for r in rows["water_takers"]]
    assert all(a < b for a, b in itertools.pairwise(prices)), "every stage is dearer than the one before"


def test_drainage_ends_where_forming_ends_and_the_band_reaches_the_slow_mat(sources, rows):
    formed = sources["result"].wet.formed
    end = _of(rows["drainage"], "end")[0]
    assert end["place"] == pytest.approx(float(formed.dry_line))
    assert end["to"] == pytest.approx(float(formed.resistance_high[0]))
    laid = {r["place"]: r["grammage"] for r in _of(rows["drainage"], "fibre")}
    before = [g for p, g in laid.items() if p < end["place"] * 0.99]
    assert max(before) < 1e3 * float(sources["result"].wet.grammage_wire) == pytest.approx(max(laid.values()))
    water = [r["share"] for r in _of(rows["drainage"], "water")]
    slow = [r["share"] for r in _of(rows["drainage"], "slow")]
    assert np.interp(0.3, np.linspace(0, 1, len(slow)), slow) < np.interp(0.3, np.linspace(0, 1, len(water)), water)


def test_limits_are_sorted_mark_the_first_and_list_what_is_not_known(sources, rows):
    found = rows["limits"]
    binding = sources["limits"].binding
    first = _of(found, "first")
    assert [r["part"] for r in first] == [binding.part] and found[0] is first[0]
    speeds = [r["speed"] for r in found if r["kind"] in ("first", "limit", "practice")]
    assert speeds == sorted(speeds)
    assert {r["kind"] for r in found} >= {"first", "limit", "practice", "lowest", "none"}
    unknown = sources["result"].machine.with_({"headbox.fan_pump_flow_limit": None})
    told = chart_data("limits", thinstock.limits(unknown))
    row = next(r for r in told if r["part"] == "fan pump, flow")
    assert row["kind"] == "not known" and row["said"] == "not known" and row["speed"] is None
    assert "Not known: fan pump, flow" in chart_alt("limits", told)


def test_energy_adds_up_to_the_headlines(sources, rows):
    for kind, name in (("gas", "gas"), ("steam", "steam"), ("electricity", "electricity")):
        total = math.fsum(r["energy"] for r in rows["energy"] if r["kind"] == kind)
        assert total == pytest.approx(float(sources["result"][f"{name}_per_product"]) / 3600, rel=1e-9)
    values = [r["energy"] for r in rows["energy"]]
    assert values == sorted(values, reverse=True)


def test_flow_against_speed_shows_this_machine_and_straight_lines(sources, rows):
    here = _of(rows["flow_speed"], "here")[0]
    assert here["flow"] == pytest.approx(float(sources["result"]["flow_per_width"]) * 60)
    assert here["speed"] == pytest.approx(float(sources["result"]["speed"]) * 60)
    for grade in {r["grade"] for r in _of(rows["flow_speed"], "grade")}:
        a, b = (r for r in _of(rows["flow_speed"], "grade") if r["grade"] == grade)
        assert a["flow"] / a["speed"] == pytest.approx(b["flow"] / b["speed"])
    facial = next(r for r in _of(rows["flow_speed"], "grade") if r["grade"] == "facial")
    tea = next(r for r in _of(rows["flow_speed"], "grade") if r["grade"] == "tea-bag type")
    assert tea["flow"] > 5 * facial["flow"]


def test_names_on_a_logarithmic_axis_keep_their_order_and_distance():
    spread = _spread([{"y": v} for v in (30.0, 29.0, 28.5, 31.0, 140.0)], "y", "at", 1.3)
    assert [r["y"] for r in spread] == sorted(r["y"] for r in spread)
    assert all(b["at"] / a["at"] > 1.299 for a, b in itertools.pairwise(spread))
    assert spread[-1]["at"] == pytest.approx(140.0)


def test_the_ladder_is_shown_rung_by_rung_with_its_band(sources, rows):
    found = rows["lowest_consistency"]
    names = list(dict.fromkeys(r["former"] for r in found))
    assert len(names) == len(sources["ladder"].rungs)
    assert names[0].startswith("this machine")
    for r in _of(found, "lowest"):
        assert r["high"] >= r["low"] > 0
    assert len(_of(found, "here")) == len(names)


def test_evenness_at_one_millimetre_is_that_of_the_run(sources, rows):
    told = sources["result"].evenness().values()
    sheet = _of(rows["cv_zone"], "sheet")
    zones = np.log([r["zone"] for r in sheet])
    for key, name in (("cv", "cv_low"), ("high", "cv_high")):
        at_one = np.exp(np.interp(0.0, zones, np.log([r[key] for r in sheet])))
        assert at_one == pytest.approx(100 * float(told[name]), rel=5e-3)
    random = _of(rows["cv_zone"], "random")
    assert all(s["cv"] >= r["cv"] and s["high"] >= s["cv"] for s, r in zip(sheet, random, strict=True))
    holes = _of(rows["holes"], "sheet")
    at = np.exp(np.interp(math.log(100.0), np.log([r["size"] for r in holes]), np.log([r["ratio"] for r in holes])))
    assert 1.0 <= at <= 1.05 * float(told["holes_ratio_low"])


@pytest.mark.parametrize("name", CHARTS)
def test_lines_of_different_things_differ_by_dash_or_weight_not_by_colour_alone(name):
    for layers in _layered(chart_spec(name, "print")):
        looks: dict[tuple, set[str]] = {}
        for layer in layers:
            if layer["mark"]["type"] == "line":
                look = (layer["mark"].get("strokeWidth", 2), tuple(layer["mark"].get("strokeDash", ())))
                looks.setdefault(look, set()).add(json.dumps(layer.get("transform")))
        assert all(len(things) == 1 for things in looks.values()), looks


def _layered(part):
    if isinstance(part, dict):
        if "layer" in part:
            yield part["layer"]
        for value in part.values():
            yield from _layered(value)
    elif isinstance(part, list):
        for value in part:
            yield from _layered(value)


def test_bars_of_different_things_are_black_grey_white_or_dashed():
    bars = [p for p in _marks(chart_spec("limits", "print")) if p.get("type") == "bar"]
    assert len({(p["color"], tuple(p.get("strokeDash", ()))) for p in bars}) == len(bars) == 3
    fills = {p["color"] for p in _marks(chart_spec("energy", "print")) if p.get("type") == "bar"}
    assert fills == {"#000000", "#595959", "#ffffff"}


def _marks(part):
    if isinstance(part, dict):
        if isinstance(part.get("mark"), dict):
            yield part["mark"]
        for value in part.values():
            yield from _marks(value)
    elif isinstance(part, list):
        for value in part:
            yield from _marks(value)


def test_without_a_sheet_the_staircase_says_so_and_the_yankee_is_refused():
    undrained = thinstock.load("facial-roll").with_({"stock.resistance_factor": 20.0}).run()
    found = chart_data("water_staircase", undrained)
    assert found[-1]["water"] is None and found[-1]["said"] == "no sheet"
    assert "no sheet" in chart_alt("water_staircase", found)
    assert ET.fromstring(chart_svg("water_staircase", found)) is not None
    with pytest.raises(Refused, match="no sheet on a Yankee"):
        chart_data("yankee", undrained)
    told = chart_alt("drainage", chart_data("drainage", undrained))
    assert "does not end on this former" in told
    assert "No sheet" in chart_alt("water_takers", chart_data("water_takers", undrained))


def test_every_bundled_machine_fills_every_chart_it_can():
    for listed in thinstock.machines():
        result = thinstock.load(listed.name).run()
        for name in (n for n in CHARTS if chart_needs(n) == "result"):
            try:
                found = chart_data(name, result)
            except Refused as refused:
                heavy = listed.name.startswith(("board", "newsprint"))
                assert (name == "yankee" and result.machine.yankee is None) or (name == "holes" and heavy), refused
                continue
            assert chart_alt(name, found) and chart_table(name, found)


def test_several_cases_are_refused_with_a_remedy(sources):
    many = sources["result"].machine.with_({"yankee.speed": np.array([25.0, 30.0])}).run()
    with pytest.raises(Refused, match="one case"):
        chart_data("energy", many)


def test_the_full_specification_carries_its_rows(rows):
    full = chart_full("energy", rows["energy"])
    assert full["datasets"][DATA] == rows["energy"] and full["datasets"][DATA] is not rows["energy"]


@pytest.mark.parametrize("name, wrong", [("energy", "limits"), ("limits", "result"), ("lowest_consistency", "result")])
def test_a_chart_given_the_wrong_thing_says_what_it_is_made_from(sources, name, wrong):
    with pytest.raises(Refused, match="is made from"):
        chart_data(name, sources[wrong])
