"""Formulas quoted from memory or fitted here, held against general property libraries over their range.

What is asserted is what a card says: the largest difference of `library_checks.toml`, no larger and not much smaller.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from thinstock.formula.catalogue import formulas
from thinstock.formula.printed import library_checks_of


def cp() -> Any:
    return pytest.importorskip("CoolProp.CoolProp")


def iapws97() -> Any:
    return pytest.importorskip("iapws.iapws97")


ATMOSPHERE = 101325.0
ROWS = tomllib.loads((Path(__file__).parent / "library_checks.toml").read_text(encoding="utf-8"))["library"]
Point = tuple[float, ...]
Reference = tuple[Iterable[Point], Callable[..., float]]


def between(low: float, high: float, count: int = 40) -> list[Point]:
    return [(float(t),) for t in np.linspace(low + 273.15, high + 273.15, count)]


def humid(low: float, high: float) -> list[Point]:
    """Temperature and humidity, saturated air left out."""
    points = [(t, w) for (t,) in between(low, high, 9) for w in (0.01, 0.05, 0.1, 0.3)]
    return [
        (t, w) for t, w in points if w / (w + 0.622) * ATMOSPHERE < 0.95 * cp().PropsSI("P", "T", t, "Q", 0, "Water")
    ]


def fluid(what: str, name: str, pressure: float) -> Callable[[float], float]:
    return lambda t: float(cp().PropsSI(what, "T", t, "P", pressure, name))


def air(what: str) -> Callable[..., float]:
    return lambda t, w, *_: float(cp().HAPropsSI(what, "T", t, "P", ATMOSPHERE, "W", w))


def if97(quality: float) -> Callable[[float], float]:
    return lambda t: 1e3 * float(iapws97().IAPWS97(T=t, x=quality).h)


def liquid(t: float) -> float:
    from iapws._iapws import _Liquid

    return float(_Liquid(t, 0.1)["mu"])


WILKE = {(373.15, 0.05): 2.1157589119740035e-05, (473.15, 0.3): 2.294656391795095e-05,
         (673.15, 0.4): 3.0184406312515613e-05}  # fmt: skip
"""What `chemicals.viscosity.Wilke` 1.5.2 gives for the pure viscosities of this package."""


def fuller(t: float, pressure: float) -> float:
    """Diffusivity of water vapour in air, diffusion volumes 13.1 and 19.7."""
    masses = math.sqrt(2 / (1 / 28.97 + 1 / 18.015))
    return 1e-4 * 0.00143 * t**1.75 / (pressure / 1e5 * masses * (13.1 ** (1 / 3) + 19.7 ** (1 / 3)) ** 2)


@cache
def references() -> dict[str, Reference]:
    return {
        "mat.viscosity_water_iapws, supplementary release": (between(0.01, 95), liquid),
        "mat.viscosity_water_iapws, full formulation": (between(0.01, 95), fluid("V", "Water", ATMOSPHERE)),
        "mat.density_water_kell": (between(0.01, 95), fluid("D", "Water", ATMOSPHERE)),
        "steam.saturation_pressure_if97": (between(1, 367), lambda t: 1e6 * float(iapws97()._PSat_T(t))),
        "steam.saturation_temperature_if97": (
            [(float(p),) for p in np.geomspace(1e3, 2e7, 50)], lambda p: float(iapws97()._TSat_P(p / 1e6)),
        ),
        "steam.latent_heat_fit": (between(7, 240), lambda t: if97(1)(t) - if97(0)(t)),
        "steam.liquid_enthalpy_fit": (between(20, 240), if97(0)),
        "steam.vapour_enthalpy_fit": (between(7, 240), if97(1)),
        **{f"humid_air.{name}_dry_air": (between(27, 500), fluid(what, "Air", ATMOSPHERE))
           for name, what in (("heat_capacity", "C"), ("viscosity", "V"), ("conductivity", "L"))},
        **{f"humid_air.{name}_steam": (between(27, 500), fluid(what, "Water", 1000.0))
           for name, what in (("heat_capacity", "C"), ("viscosity", "V"), ("conductivity", "L"))},
        "humid_air.viscosity_wilke": (list(WILKE), lambda t, w: WILKE[t, w]),
        "humid_air.enthalpy_mixture": (humid(40, 200), air("H")),
        "humid_air.heat_capacity_mixture": (humid(100, 200), air("Cha")),
        "humid_air.density_mixture": (
            [(t, w, ATMOSPHERE) for t, w in humid(40, 200)], lambda t, w, _: (1 + w) / air("V")(t, w),
        ),
        "humid_air.dew_point_temperature": (
            [(w, ATMOSPHERE) for w in (0.01, 0.05, 0.1, 0.3)], lambda w, _: air("D")(473.15, w),
        ),
        "humid_air.wet_bulb_temperature": ([(t, w, ATMOSPHERE) for t, w in humid(40, 200)], air("B")),
        "humid_air.diffusivity_schirmer": ([(t, ATMOSPHERE) for (t,) in between(27, 450)], fuller),
    }  # fmt: skip


def key_of(row: dict[str, Any]) -> str:
    return ", ".join(filter(None, (row["relation"], row.get("case", ""))))


@pytest.mark.parametrize("row", ROWS, ids=key_of)
def test_a_formula_is_as_close_to_a_library_as_its_card_says(row: dict[str, Any]) -> None:
    points, reference = references()[key_of(row)]
    formula = formulas()[row["relation"]].function
    found = max(abs(float(formula(*point)) / reference(*point) - 1.0) for point in points)
    assert found <= row["difference"], f"{found:.3g}"
    assert row["difference"] < 1e-12 or found > 0.7 * row["difference"], f"only {found:.3g}: say so"


def test_every_row_is_tested_and_every_reference_has_a_row() -> None:
    assert sorted(map(key_of, ROWS)) == sorted(references())


def test_a_card_says_which_library_and_how_many_digits() -> None:
    said = [one.told() for one in library_checks_of(formulas()["mat.viscosity_water_iapws"])]
    assert said == [
        "checked against IAPWS SR6-08, liquid water (iapws 1.5), 0 to 95 °C: all digits",
        "checked against IAPWS 2008, full formulation (CoolProp 8), 0 to 95 °C, 1 atm: 4.5 digits",
    ]
