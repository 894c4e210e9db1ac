"""Formulas as MathML for the page and as typst mathematics for paper, from the shapes of typeset.py.

Both are text to be put into a document as it is: MathML is escaped, typst text quoted. Nothing is worked out.
"""

from __future__ import annotations

import math
import unicodedata
from html import escape
from typing import Final

from thinstock.formula import typeset
from thinstock.formula.label import RELATIONS, Label, label_of
from thinstock.formula.typeset import (
    Call,
    Cases,
    Comparison,
    Fraction,
    Negative,
    Number,
    Power,
    Product,
    Root,
    Row,
    Shape,
    Size,
    Sum,
    Symbol,
    Total,
)
from thinstock.words import units

MINUS: Final = "\u2212"
_MARKS: Final = {"\u0307": "dot", "\u0304": "macron"}


def mathml(what: Label | str) -> str:
    """A formula as one `math` element in display style, a table row per line."""
    label = label_of(RELATIONS[what]) if isinstance(what, str) else what
    if label.kind == "march":
        rows = "".join(f"<mtr><mtd>{_mtext(line)}</mtd></mtr>" for line in _raw_lines(label))
        return _math(f"<mtable>{rows}</mtable>")
    made = [f"<mrow>{_ml(x.left)}</mrow><mo>=</mo><mrow>{_ml(x.right)}</mrow>" for x in typeset.lines(label)]
    if len(made) == 1:
        return _math(f"<mrow>{made[0]}</mrow>")
    return _math("<mtable>" + "".join(f"<mtr><mtd>{row}</mtd></mtr>" for row in made) + "</mtable>")


def shape_mathml(shape: Shape) -> str:
    """A shape as a piece of MathML, to stand inside a `math` element."""
    return _ml(shape)


def shape_typst(shape: Shape) -> str:
    """A shape as a piece of typst mathematics."""
    return _ty(shape)


def typst_math(what: Label | str) -> str:
    """A formula as the inside of a typst equation, lines aligned at the equals sign."""
    label = label_of(RELATIONS[what]) if isinstance(what, str) else what
    if label.kind == "march":
        return " \\\n".join(quoted(line) for line in _raw_lines(label))
    return " \\\n".join(f"{_ty(line.left)} &= {_ty(line.right)}" for line in typeset.lines(label))


def _raw_lines(label: Label) -> list[str]:
    return [line.strip() for line in label.formula.replace(";", "\n").splitlines() if line.strip()]


# ---------------------------------------------------------------- MathML


def _math(inside: str) -> str:
    return f'<math xmlns="http://www.w3.org/1998/Math/MathML" display="block">{inside}</math>'


def _mtext(text: str) -> str:
    return f"<mtext>{escape(text)}</mtext>"


def _row(*parts: str) -> str:
    return f"<mrow>{''.join(parts)}</mrow>"


def _fenced(inside: str) -> str:
    return _row("<mo>(</mo>", inside, "<mo>)</mo>")


def _ml(shape: Shape) -> str:
    if isinstance(shape, Symbol):
        return _ml_symbol(shape)
    if isinstance(shape, Number):
        return _ml_number(shape)
    if isinstance(shape, Row):
        return _fenced("<mo>;</mo>".join(_ml_number(n) for n in shape.numbers))
    if isinstance(shape, Sum):
        return _row(*_ml_terms(shape))
    if isinstance(shape, Product):
        return _row("<mo>\u22c5</mo>".join(_ml_tight(f, Sum, Negative, Comparison) for f in shape.factors))
    if isinstance(shape, Fraction):
        return f"<mfrac>{_row(_ml(shape.top))}{_row(_ml(shape.bottom))}</mfrac>"
    if isinstance(shape, Power):
        loose = (Sum, Negative, Comparison, Product, Fraction, Power, Root, Number) if _is_loose(shape.base) else ()
        return f"<msup>{_row(_ml_tight(shape.base, *loose))}{_row(_ml(shape.exponent))}</msup>"
    if isinstance(shape, Root):
        return f"<msqrt>{_ml(shape.inside)}</msqrt>"
    if isinstance(shape, Negative):
        return _row(f"<mo>{MINUS}</mo>", _ml_tight(shape.inside, Sum, Negative, Comparison))
    if isinstance(shape, Size):
        return _row("<mo>|</mo>", _ml(shape.inside), "<mo>|</mo>")
    if isinstance(shape, Total):
        return _row("<mo>\u2211</mo>", _ml_tight(shape.inside, Sum, Negative, Comparison))
    if isinstance(shape, Call):
        return _row(_ml_symbol(shape.name), _fenced("<mo>,</mo>".join(_ml(a) for a in shape.arguments)))
    if isinstance(shape, Comparison):
        return _row(_ml(shape.left), f"<mo>{escape(shape.sign)}</mo>", _ml(shape.right))
    assert isinstance(shape, Cases)
    rows = (
        f"<mtr><mtd>{_ml(shape.then)}</mtd><mtd>{_ml(shape.condition)}</mtd></mtr>"
        f"<mtr><mtd>{_ml(shape.otherwise)}</mtd><mtd>{_mtext('else')}</mtd></mtr>"
    )
    return _row("<mo>{</mo>", f"<mtable>{rows}</mtable>")


def _is_loose(base: Shape) -> bool:
    """Whether a base of a power needs brackets."""
    if isinstance(base, Number):
        return base.value < 0 or base.digits is not None
    return not isinstance(base, Symbol | Row | Call | Size)


def _ml_tight(shape: Shape, *loose: type) -> str:
    return _fenced(_ml(shape)) if isinstance(shape, loose) else _ml(shape)


def _ml_terms(shape: Sum) -> list[str]:
    parts = []
    for number, (minus, term) in enumerate(shape.terms):
        if number or minus:
            parts.append(f"<mo>{MINUS if minus else '+'}</mo>")
        needs = (Sum, Negative, Comparison) if number or minus else (Comparison,)
        parts.append(_ml_tight(term, *needs))
    return parts


def _ml_symbol(shape: Symbol) -> str:
    if shape.words:
        return _mtext(shape.base)
    base = f"<mi>{escape(shape.base)}</mi>"
    if not shape.index:
        return base
    index = f"<mn>{shape.index}</mn>" if shape.index.isdigit() else _mtext(shape.index)
    return f"<msub>{base}{index}</msub>"


def _ml_number(shape: Number) -> str:
    if not math.isfinite(shape.value):
        return _mtext(_beyond(shape.value))
    mantissa, exponent = _number(shape)
    if not exponent:
        return f"<mn>{mantissa}</mn>"
    power = f"<msup><mn>10</mn><mn>{exponent.replace('-', MINUS)}</mn></msup>"
    return power if mantissa == "1" else _row(f"<mn>{mantissa}</mn>", "<mo>\u22c5</mo>", power)


def _number(shape: Number) -> tuple[str, str]:
    """Mantissa and power of ten ("" if none) of a number."""
    text = repr(shape.value) if shape.digits is None else units.number_text(shape.value, shape.digits)
    mantissa, _, exponent = text.partition("e")
    mantissa = mantissa.removesuffix(".0").replace("-", MINUS)
    return mantissa, str(int(exponent)) if exponent else ""


def _beyond(value: float) -> str:
    """What stands for a number that is none."""
    return "not known" if math.isnan(value) else "∞" if value > 0 else f"{MINUS}∞"


# ---------------------------------------------------------------- typst


def quoted(text: str) -> str:
    """Text as a typst string."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _ty(shape: Shape) -> str:
    if isinstance(shape, Symbol):
        return _ty_symbol(shape)
    if isinstance(shape, Number):
        return _ty_number(shape)
    if isinstance(shape, Row):
        return f"({', '.join(_ty_number(n) for n in shape.numbers)})"
    if isinstance(shape, Sum):
        return _ty_sum(shape)
    if isinstance(shape, Product):
        return " dot.op ".join(_ty_tight(f, Sum, Negative, Comparison) for f in shape.factors)
    if isinstance(shape, Fraction):
        return f"frac({_ty(shape.top)}, {_ty(shape.bottom)})"
    if isinstance(shape, Power):
        base = f"({_ty(shape.base)})" if _is_loose(shape.base) else _ty(shape.base)
        return f"attach({base}, t: {_ty(shape.exponent)})"
    if isinstance(shape, Root):
        return f"sqrt({_ty(shape.inside)})"
    if isinstance(shape, Negative):
        return f"-{_ty_tight(shape.inside, Sum, Negative, Comparison)}"
    if isinstance(shape, Size):
        return f"abs({_ty(shape.inside)})"
    if isinstance(shape, Total):
        return f"sum {_ty_tight(shape.inside, Sum, Negative, Comparison)}"
    if isinstance(shape, Call):
        return f"{_ty_symbol(shape.name)}({', '.join(_ty(a) for a in shape.arguments)})"
    if isinstance(shape, Comparison):
        sign = {"≤": "<=", "≥": ">="}.get(shape.sign, shape.sign)
        return f"{_ty(shape.left)} {sign} {_ty(shape.right)}"
    assert isinstance(shape, Cases)
    return f'cases({_ty(shape.then)} & {_ty(shape.condition)}, {_ty(shape.otherwise)} & "else")'


def _ty_tight(shape: Shape, *loose: type) -> str:
    return f"({_ty(shape)})" if isinstance(shape, loose) else _ty(shape)


def _ty_sum(shape: Sum) -> str:
    text = ""
    for number, (minus, term) in enumerate(shape.terms):
        sign = "-" if minus else "+"
        if number == 0:
            text = f"-{_ty_tight(term, Sum, Negative, Comparison)}" if minus else _ty_tight(term, Comparison)
        else:
            text += f" {sign} {_ty_tight(term, Sum, Negative, Comparison)}"
    return text


def _ty_symbol(shape: Symbol) -> str:
    if shape.words:
        return quoted(shape.base)
    letters = unicodedata.normalize("NFD", shape.base)
    if len(letters) == 2 and letters[1] in _MARKS:
        base = f"{_MARKS[letters[1]]}({letters[0]})"
    else:
        base = shape.base if len(shape.base) == 1 else quoted(shape.base)
    if not shape.index:
        return base
    index = shape.index if shape.index.isdigit() or len(shape.index) == 1 else quoted(shape.index)
    return f"attach({base}, b: {index})"


def _ty_number(shape: Number) -> str:
    if not math.isfinite(shape.value):
        return quoted(_beyond(shape.value))
    mantissa, exponent = _number(shape)
    mantissa = mantissa.replace(MINUS, "-")
    if not exponent:
        return mantissa
    power = f"10^({exponent})"
    return power if mantissa == "1" else f"{mantissa} dot.op {power}"
