"""Units at the edge: pint is the referee of factors, offsets and kinds; what is read is what was written."""

from __future__ import annotations

import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness import registry
from thinstock.words import nomenclature, units
from thinstock.words.units import UnitError, parse, write

PINT = {
    "1": "",
    "%": "0.01",
    "°SR": "",
    "°C": "degC",
    "°F": "degF",
    "µm": "micrometer",
    "mL CSF": "mL",
    "a": "julian_year",
    "lb/3000 ft²": "lb/(3000 ft**2)",
    "lb/2880 ft²": "lb/(2880 ft**2)",
    "lb/1000 ft²": "lb/(1000 ft**2)",
    "mg/100 m": "mg/(100 m)",
    "mil": "thou",
    "dtex": "0.1 g/km",
    "short ton": "short_ton",
    "gal/short ton": "gal/short_ton",
    "kWh/short ton": "kWh/short_ton",
    "cfm/ft² at 125 Pa": "ft/min",
    "L/(m²·s) at 125 Pa": "L/m**2/s",
    "acfm": "ft**3/min",
    "acfm/in": "ft**3/min/in",
    "scfm": "ft**3/min*273.15/293.15",
    "hp": "550*ft*force_pound/s",
    "hp/in": "550*ft*force_pound/s/in",
    "inH2O": "inH2O",
    "mmH2O": "1e-3*mH2O",
    "kg^½/m": "kg**0.5/m",
    "√g/m": "g**0.5/m",
    "kg/(m² s^½)": "kg/m**2/s**0.5",
    "g/(m² s^½)": "g/m**2/s**0.5",
    "t steam/t": "t/t",
    "lbf/in": "force_pound/in",
    "lbf": "force_pound",
    "lbf ft": "force_pound*ft",
    "kgf": "force_kilogram",
    "kgf/cm": "force_kilogram/cm",
    "kgf m": "force_kilogram*m",
    "kgf cm": "force_kilogram*cm",
    "kgf/cm²": "force_kilogram/cm**2",
    "Btu/(h ft² °F)": "Btu_it/(h*ft**2*delta_degF)",
    "psi s": "psi*s",
    "Btu/lb": "Btu_it/lb",
}
"""Spellings of the trade in pint's words, written down apart from the table that is tested."""

DIFFERENCES = {"°C": "delta_degC", "°F": "delta_degF"}

BASE = {
    "heat flow per kelvin and width": "W/(K*m)",
    "mass per width": "kg/m",
    "mass per energy": "kg/J",
    "energy per length": "J/m",
    "number": "",
    "fraction": "",
    "mass ratio": "",
    "humidity": "",
    "drainability": "",
    "length": "m",
    "per time": "1/s",
    "acceleration": "m/s**2",
    "surface tension": "N/m",
    "area": "m**2",
    "volume": "m**3",
    "freeness": "m**3",
    "time": "s",
    "mass": "kg",
    "speed": "m/s",
    "air permeability": "m/s",
    "grammage": "kg/m**2",
    "coarseness": "kg/m",
    "density": "kg/m**3",
    "area per mass": "m**2/kg",
    "volume per mass": "m**3/kg",
    "gas volume per mass": "m**3/kg",
    "length per mass": "m/kg",
    "per length": "1/m",
    "per area": "1/m**2",
    "angle": "rad",
    "per angle": "1/rad",
    "temperature": "K",
    "temperature difference": "K",
    "pressure": "Pa",
    "pressure difference": "Pa",
    "force": "N",
    "moment": "N*m",
    "line load": "N/m",
    "impulse": "Pa*s",
    "viscosity": "Pa*s",
    "kinematic viscosity": "m**2/s",
    "mass flow": "kg/s",
    "mass flow per width": "kg/s/m",
    "drying rate": "kg/s/m**2",
    "volume flow": "m**3/s",
    "gas flow": "m**3/s",
    "volume flow per width": "m**2/s",
    "power": "W",
    "power per width": "W/m",
    "heat flux": "W/m**2",
    "energy": "J",
    "heat per year": "W",
    "energy per mass": "J/kg",
    "fuel per mass": "J/kg",
    "heat transfer coefficient": "W/m**2/K",
    "thermal resistance": "m**2*K/W",
    "thermal conductivity": "W/m/K",
    "heat capacity": "J/kg/K",
    "heat capacity per area": "J/m**2/K",
    "specific formation": "kg**0.5/m",
    "sorptivity": "kg/m**2/s**0.5",
    "emission factor": "kg/J",
    "money": "money",
    "money per mass": "money/kg",
    "money per year": "money/s",
    "money per energy": "money/J",
}

ALL = [(kind, name) for kind in units.kinds() for name in units.units_of(kind)]


def in_pint(name: str, kind: str) -> str:
    if kind == "temperature difference" and name in DIFFERENCES:
        return DIFFERENCES[name]
    plain = name
    for tail in ("(a)", "(g)", " LHV", " HHV", " dry air"):
        plain = plain.replace(tail, "")
    if plain in PINT:
        return PINT[plain]
    plain = plain.replace("Nm³", "m³").replace("MMBtu", "1e6*Btu_it").replace("short ton", "short_ton")
    if "/a" in plain and not plain.endswith("/area"):
        plain = plain.replace("/a", "/julian_year")
    for mark, word in (("²", "**2"), ("³", "**3"), ("·", "*"), ("µ", "micro"), (" ", "*")):
        plain = plain.replace(mark, word)
    return plain


@pytest.mark.parametrize(("kind", "name"), ALL)
def test_pint_agrees_on_every_factor_offset_and_kind(kind: str, name: str) -> None:
    ureg: pint.UnitRegistry = registry()
    unit = units.find(name, kind)
    assert unit is not None
    text = in_pint(name, kind)
    if text in ("degC", "degF"):
        base = [ureg.Quantity(number, text).to("K").magnitude for number in (0.0, 100.0)]
        assert unit.offset == pytest.approx(base[0], rel=1e-12)
        assert unit.factor == pytest.approx((base[1] - base[0]) / 100.0, rel=1e-12)
        return
    one = ureg.Quantity(ureg.parse_expression(text)) if text else ureg.Quantity(1.0)
    wanted = one.to(BASE[kind]).magnitude if BASE[kind] else one.to("").magnitude
    assert unit.factor == pytest.approx(wanted, rel=1e-9)
    assert unit.offset == 0.0


def test_base_si_comes_first_in_every_kind() -> None:
    assert set(BASE) == set(units.kinds())
    for kind in units.kinds():
        first = units.find(units.units_of(kind)[0], kind)
        assert first is not None
        if kind not in ("money per year", "heat per year"):
            assert first.factor == 1.0 and first.offset == 0.0 and not first.gauge


def test_a_spelling_has_one_factor_whatever_its_kind() -> None:
    for _, name in ALL:
        found = {(u.factor, u.gauge) for kind in units.kinds_of(name) if (u := units.find(name, kind))}
        assert len(found) == 1, name
    assert units.kind_of("g/m²") == "grammage"
    assert set(units.kinds_of("kg/kg")) == {"fraction", "mass ratio", "humidity"}


@pytest.mark.parametrize(
    "name",
    [
        *(
            "g/m²",
            "lb/3000 ft²",
            "lb/2880 ft²",
            "lb/1000 ft²",
            "oz/ft²",
            "m/min",
            "ft/min",
            "%",
            "kPa",
            "bar(a)",
        ),
        *(
            "bar(g)",
            "mbar",
            "inHg",
            "inH2O",
            "mmHg",
            "psi",
            "kN/m",
            "lbf/in",
            "°C",
            "°F",
            "L/(min·m)",
            "m³/min",
        ),
        *(
            "gal/min/in",
            "mL CSF",
            "°SR",
            "kWh/t",
            "GJ/t",
            "kg/(h m²)",
            "mg/m",
            "mm",
            "µm",
            "deg",
            "t/h",
            "t/d",
        ),
        *("short ton", "m³/t", "cfm/ft² at 125 Pa", "acfm", "scfm", "Nm³/h", "Nm³/t", "t steam/t"),
        *("MMBtu/t LHV", "MMBtu/t HHV", "kgf/cm", "kgf/cm²(g)", "mmH2O", "g/kg dry air"),
    ],
)
def test_the_trade_finds_its_units(name: str) -> None:
    assert units.kinds_of(name)


@pytest.mark.parametrize(("kind", "name"), ALL)
@settings(max_examples=15, deadline=None)
@given(number=st.floats(-1e6, 1e6).filter(lambda x: x == 0 or abs(x) > 1e-6))
def test_what_is_written_is_read_again(kind: str, name: str, number: float) -> None:
    value = units.to_si(number, name, kind)
    again = parse(write(value, name, 12, kind=kind), kind)
    factor = abs(units.find(name, kind).factor)  # type: ignore[union-attr]
    slack = abs(value) + abs(units.to_si(0.0, name, kind))
    assert math.isclose(again, value, rel_tol=1e-10, abs_tol=1e-12 * factor + 1e-11 * slack)


@given(value=st.floats(1e-9, 1e12), digits=st.integers(2, 9))
def test_a_number_is_written_with_the_digits_asked_for(value: float, digits: int) -> None:
    text = units.number_text(value, digits)
    assert float(text) == pytest.approx(value, rel=0.51 * 10.0 ** (1 - digits))
    shown = text.split("e")[0].replace(".", "").lstrip("0")
    assert len(shown.rstrip("0")) <= digits


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("1800 m/min", "speed", 30.0),
        ("1800m/min", "speed", 30.0),
        ("14 g/m2", "grammage", 0.014),
        ("14 g/m^2", "grammage", 0.014),
        ("40 degC", "temperature", 313.15),
        ("40 °C", "temperature", 313.15),
        ("\u2212 5 °C".replace(" ", "", 1), "temperature", 268.15),
        ("10 °C", "temperature difference", 10.0),
        ("18 °F", "temperature difference", 10.0),
        ("12000 L/min/m", "volume flow per width", 0.2),
        ("12000 L/(min m)", "volume flow per width", 0.2),
        ("12000 L/(min·m)", "volume flow per width", 0.2),
        ("12 m3/min/m", "volume flow per width", 0.2),
        ("60 m3/min", "volume flow", 1.0),
        ("7 bar(a)", "pressure", 7e5),
        ("7 bar(g)", "pressure", 801325.0),
        ("7 kPa(abs)", "pressure", 7e3),
        ("40 kPa", "pressure difference", 4e4),
        ("12 inHg", "pressure difference", 40636.66),
        ("520 mL CSF", "freeness", 520e-6),
        ("32 °SR", "drainability", 32.0),
        ("32", "drainability", 32.0),
        ("0.19 %", "fraction", 0.0019),
        ("0.95", "fraction", 0.95),
        ("160 deg", "angle", math.radians(160.0)),
        ("160°", "angle", math.radians(160.0)),
        ("20 \u00b5m", "length", 20e-6),
        ("20 \u03bcm", "length", 20e-6),
        ("20 um", "length", 20e-6),
        ("150 kg/(m² h)", "drying rate", 150.0 / 3600.0),
        ("10 lb/3000ft2", "grammage", 0.0162747588),
        ("5 GJ/t", "energy per mass", 5e6),
        ("2 short ton/h", "mass flow", 2 * 907.18474 / 3600.0),
        ("1.5e3 kg/m3", "density", 1500.0),
    ],
)
def test_reads_what_people_write(text: str, kind: str, value: float) -> None:
    assert parse(text, kind) == pytest.approx(value, rel=1e-7)


def test_gauge_pressure_counts_from_the_air_of_the_place() -> None:
    assert parse("7 bar(g)", "pressure", atmospheric_pressure=95000.0) == pytest.approx(795000.0)
    assert write(795000.0, "bar(g)", atmospheric_pressure=95000.0) == "7 bar(g)"
    assert parse("0 psi(g)", "pressure") == 101325.0


def test_heat_of_a_fuel_is_kept_as_lower_heating_value() -> None:
    low = parse("1 MMBtu/t LHV", "fuel per mass")
    assert parse("1 MMBtu/t HHV", "fuel per mass") == pytest.approx(low / 1.108)
    assert parse("1 MMBtu/t HHV", "fuel per mass", heating_value_ratio=1.08) == pytest.approx(low / 1.08)


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("7 bar", "pressure", ("bar(a)", "bar(g)")),
        ("7 bar", "pressure difference", ("kPa",)),
        ("100 psi", "pressure", ("100 psi(a)", "100 psi(g)")),
        ("700 kPa", "pressure", ("700 kPa(a)", "700 kPa(g)")),
        ("30", "speed", ("30 m/min", "needs a unit")),
        (30, "speed", ("30 m/min", "needs a unit")),
        (30.0, "grammage", ("g/m²", "needs a unit")),
        ("1,800 m/min", "speed", ("1800 m/min",)),
        ("0,19 %", "fraction", ("0.19 %",)),
        ("1 800 m/min", "speed", ("1800 m/min",)),
        ("1\u202f800 m/min", "speed", ("1800 m/min",)),
        ("12 ton/d", "mass flow", ("12 t/d", "12 short ton/d")),
        ("5 tons", "mass", ("5 t", "5 short ton")),
        ("900 cfm", "volume flow", ("900 acfm",)),
        ("900 cfm", "gas flow", ("900 scfm",)),
        ("700 cfm/ft2", "air permeability", ("700 cfm/ft² at 125 Pa",)),
        ("3 MMBtu/t", "fuel per mass", ("LHV", "HHV")),
        ("40 %", "mass ratio", ("kg/kg", "dry or on the wet")),
        ("40 kPa", "speed", ("pressure difference", "m/min")),
        ("40 smoots", "length", ("unknown unit", "mm")),
        ("20 C", "temperature", ("20 °C",)),
        ("nan m/s", "speed", ("number",)),
        ("inf m/s", "speed", ("number",)),
        (math.nan, "number", ("finite",)),
        (math.inf, "fraction", ("finite",)),
        ("1e999 m/s", "speed", ("too large",)),
        (True, "fraction", ("not a number",)),
        (None, "fraction", ("not a number",)),
        ("", "fraction", ("number",)),
        ("m/s", "speed", ("number",)),
        ("10-20 kPa", "pressure difference", ("unknown unit",)),
    ],
)
def test_refuses_what_could_be_misread_and_says_what_would_work(
    text: object, kind: str, words: tuple[str, ...]
) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, kind, field="press.line_load")
    message = str(caught.value)
    assert message.startswith("press.line_load = ")
    assert all(word in message for word in words), message


def test_two_spellings_that_would_work_are_named_and_do_work() -> None:
    for kind in units.kinds():
        if kind in units.BARE:
            continue
        with pytest.raises(UnitError) as caught:
            parse("3", kind)
        offered = caught.value.remedy.removeprefix("Write ").replace('"', "").split(" or ")
        assert len(offered) == min(2, len(units.units_of(kind)))
        assert all(math.isfinite(parse(text, kind)) for text in offered)


def test_every_word_has_edge_units_of_its_own_kind_for_every_set() -> None:
    for name, word in nomenclature.words().items():
        for unit_set in units.UNIT_SETS:
            unit = units.edge_unit(name, unit_set)
            if word.kind in nomenclature.PLAIN_KINDS:
                assert unit == "1"
            else:
                assert unit in units.units_of(word.kind), (name, unit)


def test_edge_units_follow_the_trade() -> None:
    assert units.edge_unit("grammage") == "g/m²"
    assert units.edge_unit("grammage", "us") == "lb/3000 ft²"
    assert units.edge_unit("vacuum", "us") == "inHg"
    assert units.edge_unit("line_load", "us") == "lbf/in"
    assert units.edge_unit("flow_per_width") == "L/(min·m)"
    assert units.write_word("wire_speed", 30.0) == "1800 m/min"
    assert units.write_word("temperature", 313.15, "us") == "104 °F"


def test_reading_units_loads_no_array_library() -> None:
    code = "import sys, thinstock.words.units as u; u.parse('1 m', 'length'); print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
