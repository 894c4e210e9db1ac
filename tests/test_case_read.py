"""Reading machine files: what is read, where it comes from, and that everything wrong is told at once."""

from __future__ import annotations

import os
import subprocess
import sys
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thinstock import case
from thinstock.case import library
from thinstock.case.lines import lines_of
from thinstock.case.shapes import shapes
from thinstock.case.values import STATUSES, FileGiven
from thinstock.errors import Refused
from thinstock.machine.line import Machine
from thinstock.words import units

TEXT = library.machine_text("facial-roll")
BUNDLED = library.machine_names()


def changed(*pairs: tuple[str, str]) -> str:
    """The first bundled machine with texts replaced; each must be there."""
    text = TEXT
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def faults(text: str) -> list:
    with pytest.raises(Refused) as caught:
        case.loads(text, "machine.toml")
    return list(caught.value.faults)


def fault(*pairs: tuple[str, str]):
    """The single fault of a text changed so."""
    found = faults(changed(*pairs))
    assert len(found) == 1, [str(f) for f in found]
    return found[0]


def line_of(text: str, piece: str) -> int:
    """The line that begins with this, or holds it where none does."""
    lines = text.split("\n")
    found = [i for i, line in enumerate(lines, 1) if line.startswith(piece)]
    return (found or [i for i, line in enumerate(lines, 1) if piece in line])[0]


@pytest.mark.parametrize("name", BUNDLED)
def test_bundled_machines_say_that_they_are_invented_and_what_holds_the_dryness(name):
    machine = case.load(name)
    assert "nvented" in machine.scenario
    assert "holds the dryness" in machine.note
    for address, known in machine.given.items():
        if known.status == "nameplate":
            assert known.note.startswith("invented"), address


@pytest.mark.parametrize("name", BUNDLED)
def test_bundled_machines_are_dry_at_the_reel_with_their_holder_inside_its_bounds(name):
    machine = case.load(name)
    dry = machine.run().dry
    assert dry.dryness_out == pytest.approx(machine.grade.reel_dryness, abs=1e-6)
    hood = machine.hood
    if hood is None:
        return
    assert hood.air_temperature_lowest < dry.dried.air_temperature < hood.air_temperature_limit


def test_every_address_of_the_file_is_an_address_of_the_machine():
    for name in BUNDLED:
        machine = case.load(name)
        known = {address for address, _ in machine.addresses()}
        assert set(machine.given) <= known


def test_values_carry_text_status_and_line():
    machine = case.loads(TEXT, "machine.toml")
    freeness = machine.given["stock.freeness"]
    assert (freeness.text, freeness.status) == ("520 mL CSF", "given")
    assert freeness.uncertainty == pytest.approx(15e-6)
    assert freeness.line == line_of(TEXT, "freeness = {")
    limit = machine.given["press.nip.suction_pressure_roll.line_load_limit"]
    assert (limit.status, limit.note) == ("certificate", "invented")
    assert limit.line == line_of(TEXT, "line_load_limit")
    assert "yankee.contact_level" not in machine.given


def test_a_fibre_of_the_library_brings_its_values_and_their_status_and_may_be_overridden():
    text = changed(('share = "70 %" }', 'share = "70 %", fibre_length = "0.72 mm" }'))
    eucalyptus = case.loads(text).stock.furnish[0]
    row = library.table("furnishes")["eucalyptus kraft"]
    assert eucalyptus.fibre_length == pytest.approx(0.72e-3)
    assert eucalyptus.coarseness == pytest.approx(units.parse(row["coarseness"]["value"], "coarseness"))
    known = case.loads(text).given
    assert known["stock.furnish.eucalyptus_kraft.coarseness"].status == row["coarseness"]["status"]
    assert known["stock.furnish.eucalyptus_kraft.fibre_length"].status == "given"


def test_a_former_named_without_elements_comes_from_the_library():
    for name, row in library.table("formers").items():
        machine = case.new(**(SHORT | {"former": name}))
        assert [e.name for e in machine.forming.element] == [e["name"] for e in row["element"]]
        assert machine.forming.carrier == row["carrier"]
        assert machine.given["forming.transfers"].status == "assumed"


def test_a_percentage_and_a_plain_number_are_the_same_consistency():
    plain = case.loads(changed(('consistency = "0.19 %"', "consistency = 0.0019")))
    assert plain.headbox.consistency == pytest.approx(case.loads(TEXT).headbox.consistency, rel=1e-15)


def test_gauge_pressure_uses_the_air_pressure_of_the_site():
    text = changed(('"8 bar(a)"', '"6.5 bar(g)"'), ('altitude = "120 m"', 'air_pressure = "95 kPa(a)"'))
    assert case.loads(text).yankee.steam_pressure == pytest.approx(6.5e5 + 95e3)


def test_a_limit_that_is_not_given_is_none_and_recorded_as_such():
    text = changed(('{ value = "105 m3/min", status = "nameplate", note = "invented" }', '"not given"'))
    machine = case.loads(text)
    assert machine.headbox.fan_pump_flow_limit is None
    assert machine.given["headbox.fan_pump_flow_limit"].text == "not given"
    assert fault(('consistency = "0.19 %"', 'consistency = "not given"')).field == "headbox.consistency"


@pytest.mark.parametrize(
    ("address", "old", "value", "uncertainty", "sigma"),
    [
        ("yankee.speed", '"1800 m/min"', "1800 m/min", '"6 m/min"', 0.1),
        ("yankee.speed", '"1800 m/min"', "1800 m/min", '"1 % of value"', 0.3),
        ("yankee.speed", '"1800 m/min"', "1800 m/min", '"1 %"', 0.3),
        ("grade.reel_dryness", '"95 %"', "95 %", '"0.3 points"', 0.003),
        ("grade.reel_dryness", '"95 %"', "95 %", "0.003", 0.003),
        ("grade.reel_dryness", '"95 %"', "95 %", '"1 % of value"', 0.0095),
        ("stock.temperature", '"40 degC"', "40 degC", '"0.5 K"', 0.5),
        ("stock.temperature", '"40 degC"', "40 degC", '"0.5 degC"', 0.5),
        ("yankee.steam_pressure", '"8 bar(a)"', "8 bar(a)", '"10 kPa"', 1e4),
        ("yankee.steam_pressure", '"8 bar(a)"', "8 bar(a)", '"0.1 bar(a)"', 1e4),
        ("yankee.steam_pressure", '"8 bar(a)"', "8 bar(g)", '"0.1 bar(g)"', 1e4),
    ],
)
def test_uncertainty_is_read_in_the_unit_of_the_value_or_as_its_share(address, old, value, uncertainty, sigma):
    if value.endswith("(g)"):
        value = "7 bar(g)"
    text = changed((old, f'{{ value = "{value}", uncertainty = {uncertainty}, status = "measured" }}'))
    assert case.loads(text).given[address].uncertainty == pytest.approx(sigma, rel=1e-12)


def test_a_bare_percentage_as_uncertainty_of_a_percentage_is_refused_with_both_spellings():
    found = fault(('"95 %"', '{ value = "95 %", uncertainty = "3 %" }'))
    assert found.field == "grade.reel_dryness"
    assert "3 % of value" in found.remedy and "3 points" in found.remedy


REFUSED = [
    ('speed = "1800 m/min"', "speed = 1800", "yankee.speed", 'speed = "1800 m/min"'),
    ('speed = "1800 m/min"', "speed = 1800 m/min", "yankee.speed", 'speed = "1800 m/min"'),
    ('speed = "1800 m/min"', 'speed = "0 m/min"', "yankee.speed", "between"),
    ('speed = "1800 m/min"', "speed = nan", "yankee.speed", "finite"),
    ('speed = "1800 m/min"', "speed = inf", "yankee.speed", "finite"),
    ('speed = "1800 m/min"', 'speed = "nan"', "yankee.speed", "number"),
    ('speed = "1800 m/min"', 'speed = "1800 kPa"', "yankee.speed", "speed"),
    ('speed = "1800 m/min"', "speed = true", "yankee.speed", "number"),
    ('speed = "1800 m/min"', 'speed = ["1800 m/min"]', "yankee.speed", "number"),
    ('speed = "1800 m/min"', "speed = 1979-05-27", "yankee.speed", "number"),
    ('speed = "1800 m/min"', "speed = {}", "yankee.speed", "value"),
    ('speed = "1800 m/min"', 'speed = { valu = "1800 m/min" }', "yankee.speed", "Nearest: value"),
    ('speed = "1800 m/min"', 'speed = { value = "1800 m/min", status = "guessed" }', "yankee.speed", "one of"),
    ('speed = "1800 m/min"', "speed = " + "9" * 400, "yankee.speed", "finite"),
    ('"8 bar(a)"', '"8 bar"', "yankee.steam_pressure", "bar(a)"),
    ('"8 bar(a)"', '"8.6 bar(a)"', "yankee.steam_pressure", "certificate"),
    ('consistency = "0.19 %"', 'consistency = "101 %"', "headbox.consistency", "between"),
    ('consistency = "0.19 %"', 'consistency = "-1 %"', "headbox.consistency", "between"),
    ('vacuum = "40 kPa"', 'vacuum = "-40 kPa"', "vacuum.slot.felt_vacuum.vacuum", "positive"),
    ('line_load = "90 kN/m"', 'line_load = "106 kN/m"', "press.nip.suction_pressure_roll.line_load", "certificate"),
    ('kind = "roll"', 'kind = "rol"', "press.nip.1.kind", "Nearest: roll"),
    ('kind = "forming roll"', "", "forming.element.1.kind", "one of"),
    ("trim_width", "trim_widht", "reel.trim_widht", "Nearest: trim_width"),
    ('fibre = "eucalyptus kraft"', 'fibre = "eucalyptus"', "stock.furnish.1.fibre", "Nearest: eucalyptus kraft"),
    ('wire = "tissue fabric"', 'wire = "tissue fabrik"', "forming.wire.fabric", "Nearest: tissue fabric"),
    ('share = "70 %"', 'share = "60 %"', "stock.furnish", "100 %"),
    ('heating = "gas"', 'heating = "oil"', "hood.heating", "one of"),
    ('felt = "press felt"', 'felt = "press felt"\nline_load = "90 kN/m"', "press.felt.line_load", "[[press.nip]]"),
    ("format = 1", "format = 2", "format", "newer"),
    ("format = 1", 'format = "1"', "format", "format = 1"),
    ("format = 1", "", "format", "format = 1"),
    ("[site]", "[site", "text", "section"),
    ("[loop]\n", '[loop]\nreject_share = "1 %"\n', "loop.reject_share", "twice"),
]


@pytest.mark.parametrize(("old", "new", "field", "says"), REFUSED, ids=[f"{r[2]}: {r[1][:40]}" for r in REFUSED])
def test_what_is_wrong_is_named_with_its_field_and_what_would_work(old, new, field, says):
    found = faults(changed((old, new)))
    assert any(f.field == field and says in str(f) for f in found), [str(f) for f in found]
    assert all(f.file == "machine.toml" for f in found)
    if field not in ("format", "text"):
        hit = next(f for f in found if f.field == field)
        assert hit.line is not None and abs(hit.line - line_of(TEXT, old.split("\n")[0])) <= 6


def test_everything_wrong_comes_at_once_fields_first_each_with_its_line():
    text = changed(
        ('speed = "1800 m/min"', "speed = 1800 m/min"),
        ('consistency = "0.19 %"', 'consistency = "101 %"'),
        ('vacuum = "40 kPa"', 'vacuum = "-40 kPa"'),
        ("trim_width", "trim_widht"),
        ('reel_grammage = "15.5 g/m2"', ""),
        ('line_load = "90 kN/m"', 'line_load = "106 kN/m"'),
        ('"8 bar(a)"', '"8 bar"'),
    )
    found = faults(text)
    lines = {f.field: f.line for f in found}
    assert lines == {
        "yankee.speed": line_of(text, "speed = 1800 m/min"),
        "headbox.consistency": line_of(text, 'consistency = "101'),
        "vacuum.slot.felt_vacuum.vacuum": line_of(text, 'vacuum = "-40'),
        "reel.trim_widht": line_of(text, "trim_widht"),
        "reel.trim_width": line_of(text, "[reel]"),
        "grade.reel_grammage": line_of(text, "[grade]"),
        "press.nip.suction_pressure_roll.line_load": line_of(text, 'line_load = "106'),
        "yankee.steam_pressure": line_of(text, 'steam_pressure = "8 bar"'),
    }
    assert found[-1].field.endswith("line_load"), "rules come after the fields"


def test_an_empty_file_is_told_all_that_a_machine_needs():
    needed = {f.field for f in faults("format = 1\n")}
    assert {
        "grade.reel_grammage",
        "stock.furnish",
        "headbox.consistency",
        "forming.element",
        "press.nip",
        "yankee",
        "reel.trim_width",
    } <= needed
    found = {f.field for f in faults('format = 1\n[yankee]\nwidth = "5 m"\n')}
    assert {"yankee.speed", "yankee.steam_pressure", "hood.air_temperature"} <= found


def test_a_file_is_refused_before_it_is_parsed_where_it_cannot_be_a_machine_file(tmp_path):
    large = tmp_path / "large.toml"
    with open(large, "wb") as opened:
        opened.truncate(20_000_000)
    foreign = tmp_path / "foreign.toml"
    foreign.write_bytes(b'format = 1\ntitle = "\xe9"\n')
    started = time.perf_counter()
    for path, says in (
        (large, "at most 1 MB"),
        (tmp_path, "folder"),
        (foreign, "UTF-8"),
        (tmp_path / "none.toml", "no such file"),
    ):
        with pytest.raises(Refused, match=says):
            case.load(path)
    assert time.perf_counter() - started < 1.0
    with pytest.raises(Refused, match="facial-roll"):
        case.load("facial-rol")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(Refused, match="not a file"):
            case.load(tmp_path / "pipe")


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path):
    path = tmp_path / "windows.toml"
    path.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    machine = case.load(path)
    assert machine.given["yankee.speed"].line == line_of(TEXT, 'speed = "1800')


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=200))
def test_no_text_whatever_breaks_the_reader(text):
    with pytest.raises(Refused):
        case.loads(f"format = 1\n{text}")


NASTY = st.one_of(
    st.text(max_size=30).map(
        lambda s: '"' + s.encode("unicode_escape").decode().replace('"', "'").replace("\\", "/") + '"'
    ),
    st.floats().map(repr),
    st.integers(-(10**30), 10**30).map(str),
    st.sampled_from(["true", "[]", "{}", "[[]]", "1979-05-27", '""', '"1e999 m"', "[{}]", "{ value = [] }"]),
)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10**6), NASTY)
def test_any_value_in_any_place_is_read_or_refused_by_its_field(place, value):
    lines = TEXT.split("\n")
    places = [i for i, line in enumerate(lines) if " = " in line and not line.startswith(("#", " "))]
    number = places[place % len(places)]
    name = lines[number].split(" = ")[0]
    lines[number] = f"{name} = {value}"
    try:
        case.loads("\n".join(lines), "machine.toml")
    except Refused as refused:
        for found in refused.faults:
            assert found.field and found.file == "machine.toml"
            assert found.bound


@pytest.mark.parametrize("depth", [10, 200, 330, 1000, 100_000])
@pytest.mark.parametrize(("opening", "end", "closing"), [("[", "", "]"), ("{ a = ", "1", "}")])
def test_nesting_however_deep_is_refused(depth, opening, end, closing):
    assert faults("format = 1\nx = " + opening * depth + end + closing * depth)


def test_a_file_full_of_nonsense_is_refused_in_good_time():
    started = time.perf_counter()
    assert len(faults("format = 1\n" + "\n".join(f"a{i} = {i}" for i in range(50_000)))) < 40
    assert faults("format = 1\n" + "\n".join(f"a{i} = {i} kPa" for i in range(50_000)))
    assert time.perf_counter() - started < 10


def test_the_line_of_every_key_is_its_own():
    text = 'a = 1\n[b.c]\nd = """\nx\n"""\n"e f".g = [1,\n 2, { h = 3 }]\n[[i]]\nj = 1\n[[i]]\n[i.k]\nl = \'#\' # c\n'
    places = lines_of(text)
    assert places[("a",)] == 1
    assert places[("b", "c", "d")] == 3
    assert places[("b", "c", "e f", "g", 2 - 1)] == 7
    assert places[("b", "c", "e f", "g", 2, "h")] == 7
    assert places[("i", 0, "j")] == 9
    assert places[("i", 1)] == 10
    assert places[("i", 1, "k", "l")] == 12


def test_every_part_of_a_machine_has_a_place_in_the_file():
    def walk(cls):
        for shape in shapes(cls).values():
            for inner in shape.kinds.values():
                walk(inner)

    walk(Machine)


def test_statuses_are_those_the_declarations_use():
    def walk(cls):
        for shape in shapes(cls).values():
            if shape.sort == "quantity":
                yield shape.q.status
            for inner in shape.kinds.values():
                yield from walk(inner)

    assert set(walk(Machine)) <= set(STATUSES)


SHORT = dict(
    reel_grammage="15.5 g/m2",
    crepe="17 %",
    reel_dryness="95 %",
    yankee_speed="1800 m/min",
    width="5.4 m",
    freeness="520 mL CSF",
    stock_temperature="40 degC",
    consistency="0.19 %",
    tray_consistency="0.04 %",
    former="wire and felt, C-wrap",
    press="roll",
    line_load="90 kN/m",
    steam_pressure="8 bar(a)",
    hood_temperature="450 degC",
)


def test_twelve_numbers_make_a_machine_that_runs():
    machine = case.new(**SHORT)
    assert machine.stock.retention == pytest.approx(1 - 0.04 / 0.19)
    assert machine.given["stock.retention"].status == "derived"
    assert machine.given["stock.furnish.eucalyptus_kraft.share"].status == "assumed"
    dry = machine.run().dry
    assert dry.dried.status == 0, "the hood has heat to spare: at its limit no dryness is held"
    assert dry.dryness_out == pytest.approx(0.95, abs=1e-6)
    shoe = case.new(**(SHORT | {"press": "shoe", "former": "twin_wire_s", "freeness": None, "furnish": "birch kraft"}))
    assert shoe.given["stock.freeness"].status == "assumed"
    assert [f.name for f in shoe.stock.furnish] == ["birch kraft"]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"freeness": None}, "furnish or freeness"),
        ({"former": "wire and felt"}, "Nearest: wire and felt, S-wrap; wire and felt, C-wrap"),
        ({"press": "wet"}, "roll"),
        ({"tray_consistency": "0.3 %"}, "headbox consistency"),
        ({"yankee_speed": 1950}, 'speed = "1950 m/min"'),
    ],
)
def test_the_short_form_refuses_like_the_long_one(change, says):
    with pytest.raises(Refused, match=says):
        case.new(**(SHORT | change))


def test_the_machines_are_listed_without_building_them():
    script = (
        "import sys; from thinstock import case; rows = case.machines();"
        "assert not {'numba', 'numpy', 'pydantic', 'tomlkit'} & set(sys.modules), sys.modules.keys();"
        "row = {r.name: r for r in rows}['facial-roll'];"
        "print(len(rows), row.name, row.press)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, env=os.environ)
    assert done.stdout.split() == [str(len(BUNDLED)), "facial-roll", "roll", "90", "kN/m"]


def test_file_values_know_their_place():
    machine = case.load("facial-roll")
    speed = machine.given["yankee.speed"]
    assert isinstance(speed, FileGiven) and speed.key == ("yankee", "speed")
    assert np.isscalar(machine.yankee.speed)
