"""Writing machine files: values come back, comments stay, and nobody's changes are overwritten."""

from __future__ import annotations

import dataclasses
import os
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thinstock import case
from thinstock.case import library
from thinstock.case.shapes import shapes
from thinstock.case.values import exact, kind_of, unit_of
from thinstock.case.write import equal
from thinstock.errors import Refused
from thinstock.machine.line import Given, Machine
from thinstock.machine.surfaces import Grooved
from thinstock.words import units

TEXT = library.machine_text("facial-roll")
BUNDLED = library.machine_names()


def lines_changed(before: str, after: str) -> list[str]:
    old = before.split("\n")
    return [line for line in after.split("\n") if line not in old]


@pytest.mark.parametrize("name", BUNDLED)
def test_an_unchanged_machine_is_written_as_it_was_read(name):
    assert case.dumps(case.load(name)) == library.machine_text(name)


@pytest.mark.parametrize("name", BUNDLED)
def test_a_full_file_holds_the_same_values_at_the_same_addresses(name):
    machine = case.load(name)
    again = case.loads(case.dumps(machine, full=True))
    assert equal(again, machine)
    for address, known in machine.given.items():
        back = again.given[address]
        assert (back.status, back.source, back.where, back.note) == (
            known.status,
            known.source,
            known.where,
            known.note,
        ), address
        assert back.uncertainty == known.uncertainty, address


def test_in_a_full_file_defaults_stay_assumed():
    again = case.loads(case.dumps(case.load("facial-roll"), full=True))
    assert again.given["yankee.contact_level"].status == "assumed"
    assert again.given["hood.lower_heating_value"].status == "from memory"


def test_comments_order_and_untouched_texts_survive_a_change():
    machine = case.load("facial-roll").with_({"yankee.speed": 27.5, "stock.freeness": 500e-6})
    text = case.dumps(machine)
    assert equal(case.loads(text), machine)
    assert lines_changed(TEXT, text) == [
        'freeness = { value = "500 mL CSF", uncertainty = "15 mL CSF" }   # of the thick stock',
        'speed = "1650 m/min"                   # up to about here the hood holds 95 % at the reel',
    ]
    assert text.count("#") == TEXT.count("#")


def test_a_changed_value_loses_the_source_of_the_old_one():
    machine = case.load("facial-roll").with_({"burner_power_limit": 7e6})
    (line,) = lines_changed(TEXT, case.dumps(machine))
    assert line == 'burner_power_limit = { value = "7 MW", note = "invented" }'


def test_a_default_that_is_changed_appears_in_its_own_section():
    machine = case.load("facial-roll").with_({"headbox.velocity_coefficient": 0.98, "hood.covered": 0.55})
    text = case.dumps(machine)
    assert lines_changed(TEXT, text) == ["velocity_coefficient = 0.98", 'covered = "55 %"']
    assert text.index("velocity_coefficient") < text.index("[forming]")
    assert equal(case.loads(text), machine)


@pytest.mark.parametrize(
    "change",
    [
        {"stock.furnish.eucalyptus_kraft.fibre_length": 0.72 * 1e-3},
        {"forming.wire.air_permeability": 3.0},
        {"press.felt.time_constant": 1.4e-3},
        {"press.dewatering.specific_permeability": 1e-14},
        {"press.nip.suction_pressure_roll.surface": Grooved()},
        {"press.nip.suction_pressure_roll.surface.leakage_share": 0.8},
        {"grade.formation_target": None},
        {"grade.formation_target.cv": None, "grade.formation_target.formation_number": 2.0},
        {"stock.temperature": 314.0},
        {"headbox.slice_opening_limit": None},
        {"press.nip.suction_pressure_roll.line_load_limit": None},
        {"hold_reel_dryness_by": "steam pressure", "title": 'A "quoted" title'},
        {"vacuum.slot": ()},
        {"forming.element.forming_roll.inner_wrap": 3.0},
    ],
    ids=lambda change: ", ".join(change),
)
def test_whatever_is_changed_comes_back_from_the_file(change):
    machine = case.load("facial-roll").with_(change)
    text = case.dumps(machine)
    assert equal(case.loads(text), machine)
    assert "# A machine file. Every value is a text with its unit" in text


def test_an_element_of_a_library_former_that_is_changed_is_written_out():
    from test_case_read import SHORT

    machine = case.new(**SHORT).with_({"forming.element.forming_roll.wrap": 2.5, "headbox.consistency": 0.0021})
    text = case.dumps(machine)
    assert "tray_consistency" not in text and "[[forming.element]]" in text
    assert equal(case.loads(text), machine)


def test_new_knowledge_of_an_old_value_is_written():
    machine = case.load("facial-roll")
    known = dict(machine.given)
    known["hood.hood_factor"] = Given(text="", status="calibrated", source="survey", uncertainty=0.02)
    fitted = machine.with_({"hood.hood_factor": 0.6})
    fitted = dataclasses.replace(fitted, given=known)
    (line,) = lines_changed(TEXT, case.dumps(fitted))
    assert line == 'hood_factor = { value = 0.6, uncertainty = 0.02, status = "calibrated", source = "survey" }'
    again = case.loads(case.dumps(fitted)).given["hood.hood_factor"]
    assert (again.status, again.source, again.uncertainty) == ("calibrated", "survey", 0.02)


def test_arrays_do_not_go_into_a_file():
    machine = case.load("facial-roll").with_({"yankee.speed": np.array([30.0, 31.0])})
    with pytest.raises(Refused, match="one case"):
        case.dumps(machine)


def test_a_save_never_overwrites_what_someone_else_changed(tmp_path):
    path = tmp_path / "machine.toml"
    first = case.save(case.load("facial-roll"), path)
    second = case.save(first.with_({"yankee.speed": 27.5}), path)
    third = case.save(second.with_({"yankee.speed": 31.0}), path)
    assert third.given["yankee.speed"].text == "1860 m/min"
    with pytest.raises(Refused, match="changed on disk"):
        case.save(first.with_({"yankee.speed": 29.0}), path)
    with pytest.raises(Refused, match="already"):
        case.save(case.load("facial-shoe"), path)
    assert equal(case.load(path), third)
    assert equal(case.save(case.load("facial-shoe"), path, overwrite=True), case.load("facial-shoe"))
    assert [p.name for p in tmp_path.iterdir()] == ["machine.toml"]
    with pytest.raises(Refused, match="folder"):
        case.save(first, tmp_path)
    with pytest.raises(Refused, match="cannot be written"):
        case.save(first, tmp_path / "none" / "machine.toml")


@pytest.mark.skipif(os.name == "nt", reason="file modes")
def test_a_save_keeps_the_mode_of_the_file(tmp_path):
    path = tmp_path / "machine.toml"
    machine = case.save(case.load("facial-roll"), path)
    path.chmod(0o640)
    case.save(machine.with_({"yankee.speed": 27.5}), path)
    assert path.stat().st_mode & 0o777 == 0o640


def test_windows_line_ends_stay(tmp_path):
    path = tmp_path / "machine.toml"
    path.write_bytes(TEXT.replace("\n", "\r\n").encode())
    case.save(case.load(path).with_({"yankee.speed": 27.5}), path)
    raw = path.read_bytes()
    assert raw.count(b"\r\n") == raw.count(b"\n") == TEXT.count("\n")


def test_provenance_that_went_to_a_worker_and_back_still_knows_its_text():
    machine = case.load("facial-roll").with_({"yankee.speed": 27.5})
    given = pickle.loads(pickle.dumps(dict(machine.given)))
    back = dataclasses.replace(machine, given=given)
    assert len(lines_changed(TEXT, case.dumps(back))) == 1


QUANTITIES = sorted(
    {
        (unit_of(shape.q), kind_of(shape.q))
        for part in [Machine]
        for inner in shapes(part).values()
        for cls in inner.kinds.values()
        for shape in shapes(cls).values()
        if shape.sort == "quantity"
    }
)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(QUANTITIES), st.floats(1e-12, 1e12))
def test_the_text_of_a_number_reads_back_as_exactly_that_number(unit_and_kind, value):
    unit, kind = unit_and_kind
    assert units.parse(exact(value, unit, kind), kind) == value


@settings(max_examples=25, deadline=None)
@given(
    st.floats(10, 60),
    st.floats(0.004, 0.4),
    st.floats(0, 0.6),
    st.floats(280, 360),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=40),
)
def test_any_machine_comes_back_from_its_file(speed, grammage, crepe, temperature, title):
    machine = case.load("facial-roll").with_(
        {
            "yankee.speed": speed,
            "grade.reel_grammage": grammage,
            "grade.crepe": crepe,
            "stock.temperature": temperature,
            "title": title,
        }
    )
    assert equal(case.loads(case.dumps(machine)), machine)
    assert equal(case.loads(case.dumps(machine, full=True)), machine)


def test_the_schema_names_every_field_and_takes_the_bundled_machines():
    import tomllib

    schema = case.schema()
    assert schema["required"][0] == "format"
    assert set(schema["properties"]) == {"format"} | set(shapes(Machine))
    for name in BUNDLED:
        assert not list(_violations(tomllib.loads(library.machine_text(name)), schema, schema, name))
    wrong = tomllib.loads(TEXT)
    wrong["yankee"]["sped"] = "1 m/min"
    wrong["press"]["nip"][0]["kind"] = "rol"
    wrong["grade"]["reel_grammage"] = 15.5
    del wrong["headbox"]["consistency"]
    assert len(list(_violations(wrong, schema, schema, ""))) == 4


def _violations(value, schema, root, at):
    """A small validator of what our schema uses."""
    if "$ref" in schema:
        target = root
        for step in schema["$ref"].removeprefix("#/").split("/"):
            target = target[step]
        yield from _violations(value, target, root, at)
        return
    for word in ("anyOf", "oneOf"):
        if word in schema:
            trials = [list(_violations(value, option, root, at)) for option in schema[word]]
            good = sum(not t for t in trials)
            if good == 0 or (word == "oneOf" and good > 1):
                yield f"{at}: fits {good} forms"
    if "const" in schema and value != schema["const"]:
        yield f"{at}: not {schema['const']}"
    if "enum" in schema and value not in schema["enum"]:
        yield f"{at}: not in the list"
    types = {"object": dict, "array": list, "string": str, "number": (int, float), "integer": int, "boolean": bool}
    if "type" in schema:
        wanted = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
        fits = any(isinstance(value, types[t]) and (t == "boolean" or not isinstance(value, bool)) for t in wanted)
        if not fits:
            yield f"{at}: wrong type"
            return
    if isinstance(value, dict) and "required" in schema:
        yield from (f"{at}: lacks {name}" for name in schema["required"] if name not in value)
    if isinstance(value, dict) and "properties" in schema:
        for name, inner in value.items():
            if name in schema["properties"]:
                yield from _violations(inner, schema["properties"][name], root, f"{at}.{name}")
            elif schema.get("additionalProperties") is False:
                yield f"{at}: unknown {name}"
    if isinstance(value, list) and "items" in schema:
        for number, inner in enumerate(value):
            yield from _violations(inner, schema["items"], root, f"{at}[{number}]")
