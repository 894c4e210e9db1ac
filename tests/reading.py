"""Reads a printed line of a working again, as a student with a pocket calculator would: from what is printed alone."""

from __future__ import annotations

import math
import re

SMALL = dict(zip("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻ⁿ", "0123456789+-n", strict=True))
FUNCTIONS = {
    "exp": math.exp, "ln": math.log, "sqrt": math.sqrt, "min": min, "max": max, "abs": abs, "sin": math.sin,
    "cos": math.cos, "tan": math.tan, "arctan": math.atan, "arcsin": math.asin, "arccos": math.acos,
    "sinh": math.sinh, "cosh": math.cosh, "tanh": math.tanh, "artanh": math.atanh, "π": math.pi,
}  # fmt: skip


def plainly(text: str) -> str:
    """A printed expression with ordinary signs only."""
    text = re.sub(f"[{''.join(SMALL)}]+", lambda m: "**(" + "".join(SMALL[c] for c in m[0]) + ")", text)
    text = re.sub(r"Σ\(\(([^()]*)\)\)", lambda m: "(" + m[1].replace(";", " +") + ")", text)
    text = re.sub(r"√(\d[\d.]*)", r"sqrt(\1)", text).replace("√(", "sqrt(")
    text = re.sub(r"\|([^|]*)\|", r"abs(\1)", text)
    text = text.replace("^", "**").replace("·", "*").replace("−", "-")
    return re.sub(r"(?<![\w.])(\d[\d.]*)\*10\*\*\((-?\d+)\)", r"\1e\2", text)


def readable(text: str) -> bool:
    """Whether a pocket calculator has all it takes."""
    words = re.findall(r"[^\W\d_]+", re.sub(r"\de-?\d", "", plainly(text)))
    return not re.search(r"[;Σ{]|∞|not known|unlimited", plainly(text)) and set(words) <= set(FUNCTIONS)


def read(text: str) -> float:
    """What a printed expression comes to."""
    return float(eval(plainly(text), {"__builtins__": {}}, FUNCTIONS))
