"""Worked calculations: what is printed can be worked again, in every set of units, and says where it comes from."""

from __future__ import annotations

import json
import re
from functools import lru_cache
from typing import Any

import numpy as np
import pint
import pytest

import reading
from thinstock import load, machines
from thinstock.errors import Refused
from thinstock.formula import expression, writing
from thinstock.formula.label import RELATIONS, label_of
from thinstock.formula.typeset import Number, Sum
from thinstock.machine.result import Result
from thinstock.tell import explained, filled, worked
from thinstock.words import units
from thinstock.words.figures import Edge

MACHINES = ("facial-roll", "facial-shoe-steel")
NUMBERS = ("flow_per_width", "dryness_press", "end_of_forming", "steam_per_product", "electricity_per_product",
           "fresh_water_per_product", "drying_rate", "nip_saturation", "production", "fan_power")  # fmt: skip


@lru_cache(maxsize=8)
def run(machine: str) -> Result:
    return load(machine).run()


@lru_cache(maxsize=64)
def working(machine: str, number: str, unit_set: Any) -> worked.Worked:
    return worked.worked(run(machine), number, unit_set)


def lines(machine: str, unit_set: str) -> list[tuple[worked.WorkedStep, filled.FilledLine]]:
    found = {}
    for number in NUMBERS:
        for step in working(machine, number, unit_set).steps:
            for k, line in enumerate(step.lines):
                found[(step.name, tuple(map(repr, step.inputs.values())), k)] = (step, line)
    return list(found.values())


# -------------------------------------------- the lines can be worked again


@pytest.mark.parametrize("unit_set", units.UNIT_SETS)
@pytest.mark.parametrize("machine", MACHINES)
def test_every_line_comes_to_what_it_shows_when_worked_again_from_what_it_shows(machine: str, unit_set: str) -> None:
    tried = 0
    for step, line in lines(machine, unit_set):
        right = writing.shape_text(line.right)
        if line.result is None or not reading.readable(right):
            continue
        assert not line.remark, f"{step.name} needs more digits than six: {explained.line_text(line)}"
        shown = writing.shape_text(line.result)
        assert isinstance(line.result, Number) and line.result.digits is not None
        places = line.result.digits
        got, told = reading.read(right), reading.read(shown)
        tried += 1
        assert f"{got:.{places - 1}e}" == f"{told:.{places - 1}e}" or abs(got - told) < 1e-12, (
            f"{step.name}: {explained.line_text(line)} comes to {got}"
        )
    assert tried > 80


BY_CASES = {"felt_state.felt_end_ratio_vacuum", "vacuum.ambient_air_flux_series", "vacuum.saturation_mobile"}


@pytest.mark.parametrize("machine", MACHINES)
def test_few_lines_are_beyond_a_pocket_calculator(machine: str) -> None:
    beyond = {s.name for s, line in lines(machine, "mill") if not reading.readable(writing.shape_text(line.right))}
    assert beyond <= {"nip.nip_width_covered_roll", "nip_felt.moisture_pressed_felt", *BY_CASES}, (
        "these two call another formula by name, the others choose between cases"
    )


@pytest.mark.parametrize("unit_set", units.UNIT_SETS)
def test_an_answer_put_back_into_its_equation_leaves_nothing_within_the_digits_shown(unit_set: str) -> None:
    residuals = [line for machine in MACHINES for _, line in lines(machine, unit_set) if line.residual]
    assert len(residuals) >= 4
    for line in residuals:
        right = writing.shape_text(line.right)
        terms = line.right.terms if isinstance(line.right, Sum) else ((False, line.right),)
        largest = max(abs(reading.read(writing.shape_text(term))) for _, term in terms)
        assert abs(reading.read(right)) <= 2e-5 * largest, explained.line_text(line)


def test_a_line_that_no_six_digits_serve_says_so() -> None:
    label = label_of(RELATIONS["balance.difference"])
    first, second = (name for name in label.arguments)
    made = filled.filled(label, {first: 1.00000000123, second: 1.0}, {}, "si")
    assert made.lines[-1].remark == filled.REMARK


def test_results_agree_with_the_text_of_the_formula_worked_out_by_itself() -> None:
    for machine in MACHINES:
        for number in NUMBERS:
            for step in working(machine, number, "si").steps:
                if step.label.kind != "formula" or isinstance(step.output, tuple):
                    continue
                assert expression.evaluate(step.label, step.inputs) == pytest.approx(step.output, rel=1e-12, abs=1e-15)


# -------------------------------------------- the end of a working


def ends(step: worked.WorkedStep) -> list[str]:
    """What the last line of a step says it comes to: in the units it was worked in, and in those of the set."""
    if not step.lines or step.lines[-1].residual:
        return [said.replace("\u00a0", " ") for _, said in step.results]
    line = step.lines[-1]
    shown = writing.shape_text(line.right if line.result is None else line.result)
    return [said.replace("\u00a0", " ") for said in (f"{shown} {line.unit}".strip(), line.also) if said]


def alike(said: str, head: str, digits: int) -> bool:
    """The same unit, and the same number to the digits of the one that has fewer."""
    number, _, unit = said.partition(" ")
    value, _, wanted = head.partition(" ")
    if unit != wanted:
        return False
    if value == "–":
        return number in ("nan", "inf")
    got, told = reading.read(number), reading.read(value)
    places = min(digits, len(re.sub(r"·10.*|[^0-9]", "", number).lstrip("0")) or 1)
    return abs(got - told) <= 0.501 * 10.0 ** (np.floor(np.log10(abs(told) or 1e-12)) + 1 - places)


@pytest.mark.parametrize("machine", [m.name for m in machines()])
def test_the_last_step_is_the_number_of_the_head_in_value_and_unit(machine: str) -> None:
    result = load(machine).run()
    edge = Edge(unit_set="mill", air=float(result.machine.site.atmospheric_pressure()))
    tried = 0
    for name, value in worked.numbers_of(result).items():
        step, about = worked.end_of(result, name), worked.about(name)
        word, digits = about.word, about.digits
        if step is None:
            continue
        head = (edge.text(word, value, digits) if word else worked._bare(about.unit, value)).replace("\u00a0", " ")
        assert any(alike(one, head, digits) for one in ends(step)), f"{name} is {head}, its end is {ends(step)}"
        tried += 1
    assert tried > 50


# -------------------------------------------- the constant of a set of units


def scaled(number: str, formula: str, unit_set: str) -> str:
    steps = [s for s in working("facial-roll", number, unit_set).steps if s.name == formula]
    return explained.symbol_line(steps[-1].scaled[0])


def test_the_flow_in_the_units_of_the_mill_has_the_constant_of_the_trade() -> None:
    # g/m² · m/min over % · % · kg/m³, in L/(min·m): 1e-3/60 / (1e-2·1e-2) m²/s, times 60 000
    assert scaled("flow_per_width", "jet.flow_per_width", "mill") == "q = 10000·W·v_w/(R·C·ρ)"


def test_constants_agree_with_a_general_unit_library() -> None:
    known = pint.UnitRegistry()
    pounds, feet = known.lb / (3000 * known.ft**2), known.ft / known.min
    flow = (pounds * feet / (0.01 * 0.01 * known.lb / known.ft**3)).to(known.gallon / known.min / known.inch).magnitude
    line = scaled("flow_per_width", "jet.flow_per_width", "us")
    assert float(re.search(r"/\(([\d.]+)·", line)[1]) == pytest.approx(1 / flow, rel=5e-6)  # type: ignore[index]
    impulse = (1 * known.lbf / known.inch / feet).to(known.psi * known.s).magnitude
    assert scaled("dryness_press", "nip.impulse", "us") == f"I = {impulse:.6g}·q/v"
    assert scaled("dryness_press", "nip.impulse", "mill") == "I = 60·q/v"
    energy = (1 * known.kW / (known.kg / known.s)).to(known.kWh / known.tonne).magnitude
    assert scaled("steam_per_product", "arithmetic", "mill") == f"e = Qₛ/({1 / energy:.6g}·ṁ)"


def test_a_formula_whose_units_mix_stays_in_base_units_and_gives_its_result_in_both() -> None:
    step = next(
        s for s in working("facial-roll", "end_of_forming", "mill").steps if s.name == "drainage.pressure_forming_roll"
    )
    assert not step.scaled and step.lines[0].unit == "Pa" and step.lines[0].also.endswith("kPa")


def test_temperatures_go_into_formulas_as_kelvin_whatever_the_units() -> None:
    for unit_set in units.UNIT_SETS:
        steps = working("facial-roll", "flow_per_width", unit_set).steps
        density = next(s for s in steps if s.name == "mat.density_water_kell")
        assert density.uses[0].put.unit == "K"


# -------------------------------------------- the chain


def test_every_number_has_a_working_that_ends_in_it() -> None:
    result = run("facial-roll")
    names = worked.names_of(result)
    assert {"flow_per_width", "dryness_press", "stations.reel.dryness", "energy.fan_pump.power"} <= set(names)
    for name in names:
        made = worked.worked(result, name)
        assert made.text and made.label
        assert made.steps or made.inputs, name
        assert all(i.status for i in made.inputs), [i.name for i in made.inputs if not i.status]


def test_a_step_uses_only_what_is_given_or_was_found_before() -> None:
    for number in NUMBERS:
        for step in working("facial-roll", number, "mill").steps:
            assert all(before < step.number for before in step.after)
            for use in step.uses:
                assert use.origin, f"{step.name}: nothing says where {use.put.name} comes from"


def test_the_same_use_of_a_formula_stands_there_once() -> None:
    steps = working("facial-roll", "steam_per_product", "mill").steps
    assert len({(s.name, tuple(map(repr, s.inputs.values()))) for s in steps}) == len(steps)


def test_every_step_says_its_source_and_status() -> None:
    for step in working("facial-roll", "steam_per_product", "mill").steps:
        said = explained.provenance(step)
        assert said.startswith(("published", "from memory", "derived", "assumed", "common practice"))
        assert ".," not in said and ".:" not in said


def test_a_range_that_was_left_is_said_with_its_bounds_in_the_units_asked_for() -> None:
    result = load("facial-roll").run()
    name, bounds = next(
        (s, s.outside) for s in result.worksheet.steps if not s.outside and s.label.name == "nip.impulse"
    )
    bounds["line_load"] = (10e3, 50e3)
    notes = [s.note for s in worked.worked(result, "press_impulse", "mill").steps if s.note]
    assert notes == ["line load 90 kN/m is outside the range 10 kN/m to 50 kN/m in which this formula is known to hold"]
    assert name.label.name == "nip.impulse"


def test_the_march_along_the_former_is_shown_as_a_table_that_ends_with_the_whole_sheet() -> None:
    result = run("facial-roll")
    step = next(s for s in working("facial-roll", "end_of_forming", "mill").steps if s.name == "drainage.drain")
    assert step.table is not None and "0.426\u00a0m" in step.table.caption
    assert float(step.table.rows[0][4]) == 0.0
    laid = float(step.table.rows[-1][step.table.heads.index(("fibre laid down", "g/m²"))])
    assert laid == pytest.approx(1e3 * result["grammage_on_wire"], rel=5e-3)


def test_the_march_round_the_yankee_ends_with_the_moisture_at_the_doctor() -> None:
    step = next(s for s in working("facial-roll", "steam_per_product", "mill").steps if s.name == "dryer.dry")
    assert step.table is not None
    mean = float(run("facial-roll").parts.yankee.dried.moisture_ratio_mean)
    assert float(step.table.rows[-1][2]) == pytest.approx(mean, rel=5e-3)
    assert "mean grammage" in step.table.caption


# -------------------------------------------- refusals


def test_an_unknown_number_is_refused_with_the_names_that_exist() -> None:
    with pytest.raises(Refused) as refused:
        worked.worked(run("facial-roll"), "dryness_pres")
    text = str(refused.value)
    assert "Nearest: dryness_press" in text and "`thinstock explain MACHINE` lists all" in text


def test_a_name_may_be_written_with_spaces_or_as_its_label() -> None:
    assert worked.worked(run("facial-roll"), "dryness press").name == "dryness_press"
    assert worked.worked(run("facial-roll"), "dryness out of the press").name == "dryness_press"


def test_a_form_or_a_set_of_units_that_does_not_exist_is_refused() -> None:
    with pytest.raises(Refused, match="text, html, pdf, json"):
        explained.explain(run("facial-roll"), "speed", "slides")
    with pytest.raises(Refused, match="si, mill, us"):
        explained.explain(run("facial-roll"), "flow_per_width", "text", "imperial")  # type: ignore[arg-type]
    with pytest.raises(Refused, match="a4, letter"):
        explained.explain(run("facial-roll"), "flow_per_width", "pdf", paper="a3")


def test_a_run_over_many_cases_has_no_working() -> None:
    many = load("facial-roll").with_({"yankee.speed": np.array([25.0, 30.0])}).run()
    with pytest.raises(Refused, match="one case only"):
        worked.worked(many, "flow_per_width")


def test_what_lies_behind_a_former_that_forms_no_sheet_is_refused_with_the_reason() -> None:
    wet = load("facial-roll").with_({"stock.resistance_factor": 40.0}).run()
    assert not wet["formed"]
    with pytest.raises(Refused, match="forms no sheet"):
        worked.worked(wet, "dryness_press")
    assert worked.worked(wet, "flow_per_width").steps


# -------------------------------------------- forms

HOSTILE = '<script>alert(1)</script> #panic("out") $x$ "quoted" \\ & µ'


@lru_cache(maxsize=1)
def hostile() -> Result:
    import dataclasses

    return dataclasses.replace(load("facial-roll"), title=HOSTILE).run()


def test_text_shows_inputs_formulas_numbers_and_sources() -> None:
    text = explained.explain(run("facial-roll"), "flow_per_width", "text", "mill")
    assert isinstance(text, str)
    for wanted in ("headbox flow per metre of width: 14500 L/(min·m)", "headbox.consistency", "0.19 %",
                   "q = 10000·W·v_w/(R·C·ρ)", "= 14464 L/(min·m)", "fibre balance over the wire"):  # fmt: skip
        assert wanted in text
    assert max(map(len, text.splitlines())) < 160


def test_a_page_holds_mathml_is_escaped_and_asks_for_nothing_outside() -> None:
    page = explained.explain(hostile(), "flow_per_width", "html")
    assert isinstance(page, str)
    assert "<math" in page and "<mfrac>" in page and "<script>alert" not in page and "&lt;script&gt;" in page
    outside = re.findall(r"(?:src|href)=\"([^\"#][^\"]*)\"", page)
    assert outside == [] and "@import" not in page and "url(" not in page


def test_every_piece_of_mathml_is_well_formed() -> None:
    import xml.etree.ElementTree as ElementTree

    for number in NUMBERS:
        for step in explained.view(working("facial-shoe-steel", number, "us"))["steps"]:
            for row in (*step["symbols"], *step["scaled"], *step["lines"], *(u["symbol"] for u in step["uses"])):
                ElementTree.fromstring(row["mathml"])


def test_paper_is_tagged_and_takes_text_as_data() -> None:
    made = explained.explain(hostile(), "flow_per_width", "pdf", "us", paper="letter")
    assert isinstance(made, bytes) and made.startswith(b"%PDF-")
    assert b"pdfuaid" in made and b"headbox flow per metre of width, worked" in made
    assert explained.explain(hostile(), "flow_per_width", "pdf", "us", paper="letter") == made


def test_paper_of_every_number_is_typeset_without_a_warning() -> None:
    from thinstock.tell import paper

    for number in ("steam_per_product", "dryness_press"):
        view = explained.view(working("facial-shoe-steel", number, "mill"))
        _, warnings = paper.compiled("working", {"working": view}, title=number, paper="a4")
        assert warnings == []


def test_data_hold_base_values_beside_the_texts() -> None:
    made = json.loads(explained.explain(run("facial-roll"), "flow_per_width", "json", "us"))
    assert made["value"] == pytest.approx(run("facial-roll")["flow_per_width"]) and made["unit"] == "m²/s"
    assert made["steps"][-1]["formula"] == "jet.flow_per_width" and made["text"].endswith("gal/min/in")
    last = {use["word"]: use["value"] for use in made["steps"][-1]["uses"]}
    assert expression.evaluate(label_of(RELATIONS["jet.flow_per_width"]), last) == pytest.approx(
        made["value"], rel=1e-12
    )


# -------------------------------------------- command


def test_the_command_writes_the_form_that_the_file_name_asks_for(tmp_path: Any, capsys: Any) -> None:
    from thinstock.cli import status

    for name, start in (("a.html", b"<!doctype html>"), ("a.pdf", b"%PDF"), ("a.json", b"{"), ("a.txt", b"jet speed")):
        assert status(["explain", "facial-roll", "jet_speed", "--out", str(tmp_path / name)]) == 0
        assert (tmp_path / name).read_bytes().startswith(start)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.html", "a.json", "a.pdf", "a.txt"]
    capsys.readouterr()
    assert status(["explain", "facial-roll", "jet_speed", "--set", "yankee.speed=1000 m/min"]) == 0
    assert "1000 m/min" in capsys.readouterr().out


def test_the_command_lists_names_and_refuses_what_is_none(capsys: Any) -> None:
    from thinstock.cli import status

    assert status(["explain", "facial-roll"]) == 0
    listed = capsys.readouterr().out
    assert "dryness_press" in listed and "flow_per_width" in listed
    assert status(["explain", "facial-roll", "no such number"]) == 1
    assert "`thinstock explain MACHINE` lists all" in capsys.readouterr().err
    assert status(["explain", "facial-roll", "jet_speed", "--format", "pdf"]) == 1
    assert "--out" in capsys.readouterr().err
    assert status(["explain", "facial-roll", "jet_speed", "--format", "slides"]) == 2
    assert "'text', 'html', 'pdf', 'json'" in capsys.readouterr().err


# -------------------------------------------- for a crew


def test_a_sum_stands_in_the_unit_of_its_head_and_adds_up_what_the_steps_before_it_show() -> None:
    made = working("facial-roll", "electricity_per_product", "mill")
    last = made.steps[-1]
    assert last.lines[-1].unit == "kWh/t" and " + " in explained.line_text(last.lines[-1])
    assert "axis" not in last.title


def test_flows_per_width_are_not_told_as_those_of_the_machine() -> None:
    made = working("facial-roll", "fresh_water_per_product", "mill")
    assert [use.put.unit for use in made.steps[-1].uses] == ["kg/(s m)", "kg/(s m)"]
    assert made.steps[-1].lines[-1].unit == "kg/kg"


def test_no_title_of_a_step_speaks_of_arrays_or_by_a_name_of_code() -> None:
    titles = {worked.title_of(label_of(function)) for function in RELATIONS.values()}
    assert not [t for t in titles if re.search(r"last axis|\barray|_|not a number|one case|None\b", t)]


@pytest.mark.parametrize("number", ["headbox_flow", "dryness_press", "electricity_per_product", "drying_rate"])
def test_a_working_begins_with_three_or_four_lines_for_a_crew(number: str) -> None:
    made = working("facial-roll", number, "mill")
    said = [part for part in made.parts if part != worked.judged_by(made.name)]
    assert 3 <= len(said) <= 4
    assert all("_" not in part for part in said)
    assert explained.short(made).startswith(f"{made.label}: ")


def test_a_long_working_is_folded_by_stage_and_loses_no_step() -> None:
    from thinstock.tell.short_working import folded

    made = working("facial-roll", "dryness_press", "mill")
    stages = folded(made.steps)
    assert [s.number for _, steps in stages for s in steps] == [s.number for s in made.steps]
    assert len(stages) > 3 and all(name for name, _ in stages)
    assert explained.explain(run("facial-roll"), "dryness_press", "html").count("<details") == len(stages)
