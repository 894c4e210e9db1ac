"""Formulas as people read them: brackets where needed, symbols that differ, numbers that come out."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from typing import Any

import numpy as np
import pytest

import harness
from harness import LABELS
from thinstock.formula import typeset, writing
from thinstock.formula.writing import card, inputs, mathml, plain, plain_with_numbers, typst_math

READ = [name for name, label in LABELS.items() if label.kind != "march"]
SUPER = {small: letter for letter, small in writing.SUPER.items() if letter != "−"}
FUNCTIONS = {
    **{name: getattr(np, name) for name in ("exp", "sin", "cos", "tan", "sinh", "cosh", "tanh", "sqrt")},
    **{"ln": np.log, "arctan": np.arctan, "arcsin": np.arcsin, "arccos": np.arccos, "artanh": np.arctanh},
    **{"min": min, "max": max, "π": np.pi, "erf": math.erf},
}


def read_again(text: str) -> float:
    """The value of a line with numbers put in, worked out from what is printed."""
    text = re.sub(r"√(\d[\d.]*)", r"sqrt(\1)", text.replace("√π", "sqrt(π)")).replace("√(", "sqrt(")
    text = re.sub(r"\|([^|]*)\|", r"abs(\1)", text)
    small = "".join(SUPER)
    text = re.sub(f"[{small}]+", lambda m: "**(" + "".join(SUPER[c] for c in m[0]) + ")", text)
    text = text.replace("^", "**").replace("·", "*").replace("−", "-")
    # a number with a power of ten holds together wherever it stands
    text = re.sub(r"(?<![\w.])(\d[\d.]*)\*10\*\*\((-?\d+)\)", r"\1e\2", text)
    with np.errstate(all="ignore"):
        return float(eval(text, {"__builtins__": {"abs": abs}}, FUNCTIONS))


def readable(text: str) -> bool:
    return not re.search(r"[{;Σ]|arctan2", text) and set(re.findall(r"[^\W\d_]+", text)) <= set(FUNCTIONS)


def test_what_is_printed_with_numbers_comes_to_what_is_printed() -> None:
    tried = 0
    for name in harness.FORMULAS:
        label = LABELS[name]
        for point in list(harness.good_points(label, 6))[:2]:
            values: dict[str, Any] = dict(point)
            found = harness.lines_worked_out(label, values)
            lines = plain_with_numbers(label, values, digits=14)
            for value, line in zip(found.values(), lines, strict=True):
                right = line.split(" = ", 1)[1].split(", which")[0].split(" = ")[0]
                right = re.sub(r"(?<=[\d)]) [^\W\d].*$", "", right)
                if np.ndim(value) or not readable(right):
                    continue
                tried += 1
                assert read_again(right) == pytest.approx(float(value), rel=1e-7, abs=1e-12), f"{name}: {line}"
    assert tried > 300


@pytest.mark.parametrize("name", LABELS)
def test_every_formula_can_be_written_in_every_way(name: str) -> None:
    assert plain(name) and all(plain(name))
    root = ElementTree.fromstring(mathml(name))
    assert root.tag.endswith("math") and "".join(root.itertext()).strip()
    assert typst_math(name).strip()
    assert any(LABELS[name].status in line for line in card(name))


@pytest.mark.parametrize("name", READ)
def test_no_two_names_of_a_formula_are_written_alike(name: str) -> None:
    written = [(s.base, s.index) for s in typeset.symbols_of(LABELS[name]).values() if isinstance(s, typeset.Symbol)]
    assert len(written) == len(set(written))


def test_typst_sets_every_formula() -> None:
    typst = pytest.importorskip("typst")
    text = "\n\n".join(f"$ {typst_math(name)} $" for name in LABELS)
    assert typst.compile(text.encode(), format="pdf")


@pytest.mark.parametrize(
    ("name", "lines"),
    [
        ("drainage.pressure_forming_roll", ["Δp = (T − m·v²)/R"]),
        ("pressing.moisture_pressed_flow_limit", ["w = W/f", "push = n·A·I", "M₁ = (ν·w²/push)^(1/n)"]),
        ("evaporation.radiative_flux_grey", ["q = ε·σ_B·(Tₚₗ⁴ − Tₚ⁴)"]),
        ("circulation.retention_total", ["R′ = Σ(R·J)/Σ(J)"]),
        ("creping.drying_rate_circumference", ["R_d = E/(π·D_Y)"]),
    ],
)
def test_formulas_read_as_in_a_book(name: str, lines: list[str]) -> None:
    assert plain(name) == lines


def test_a_worked_line_shows_numbers_result_and_edge_unit() -> None:
    given = {"fabric_tension": 6e3, "fabric_mass": 0.4, "speed": 30.0, "roll_radius": 0.75}
    name = "drainage.pressure_forming_roll"
    assert plain_with_numbers(name, given) == ["Δp = (6000 − 0.4·30²)/0.75 = 7520 Pa = 7.52 kPa"]
    assert plain_with_numbers(name, given, "us") == ["Δp = (6000 − 0.4·30²)/0.75 = 7520 Pa = 1.0907 psi"]
    assert inputs(name, given)[2].startswith("v = 30 m/s = 1800 m/min, ")


def test_components_are_shown_as_a_row() -> None:
    given = {"jet_solids": [0.8, 0.2], "retention": [0.95, 0.45]}
    (line,) = plain_with_numbers("circulation.retention_total", given)
    assert line == "R′ = Σ((0.95; 0.45)·(0.8; 0.2))/(0.8 + 0.2) = 0.85 = 85 %"


def test_a_negative_number_is_bracketed_where_it_must_be() -> None:
    given = {"headbox_head": 1e4, "gauge_height": -0.5, "density": 1000.0}
    (line,) = plain_with_numbers("jet.headbox_gauge_pressure", given)
    assert "·(−0.5)" in line
