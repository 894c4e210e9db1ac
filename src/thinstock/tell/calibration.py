"""A calibration told once: constants with their intervals, what cannot be told, how machine and readings agree."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from thinstock.survey.round import shown
from thinstock.tell.blocks import Block, Column, Group, Paragraph, Points, Table, marked, points, words
from thinstock.tell.survey import in_words, named, signed, told_value
from thinstock.words import nomenclature, units
from thinstock.words.figures import NONE, figure, plus_minus
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.survey.calibrated import Calibration, Checked, Found, NotTold
    from thinstock.survey.machine_constants import Unknown

SHOWN = 8
"""Readings told before and after, those that moved most."""
FAR = 3.0
CLOSE = 0.5
"""Correlations above this are told."""


def told(found: Calibration, *, all_readings: bool = False) -> list[Block]:
    """The whole page."""
    above = [found.machine.scenario, *(round_.name for round_ in found.rounds)]
    blocks: list[Block] = [
        Group(title=found.machine.title, blocks=tuple(words(text) for text in above if text)),
        _constants(found),
    ]
    if found.not_told:
        lines = [phrase("survey.calibration.why", constant=n.unknown.label, why=why(n)) for n in found.not_told]
        blocks.append(Group(title=phrase("survey.calibration.not_told"), blocks=(points(lines),)))
    notes = marked(map(str, found.notes), "* ")
    blocks += [_readings(found, all_readings), Group(blocks=notes)]
    return [*blocks, words(phrase("survey.page.caution"))]


# -- constants -------------------------------------------------------------------------------------------------------


def constant_rows(found: Calibration) -> list[tuple[str, ...]]:
    """Name, unit, value as it came, value found and its interval of every constant."""
    return [_constant(found, one) for one in found.found]


def _constant(found: Calibration, one: Found) -> tuple[str, ...]:
    unit, size = unit_of(found.machine, one.unknown)
    before = _number(one.unknown.centre / size, one.unknown.spread / size)
    after = _number(one.value / size, one.standard_uncertainty / size)
    low, high = (_bound(value / size) for value in (one.low, one.high))
    return (one.unknown.label, unit, before, after, phrase("survey.calibration.ends", low=low, high=high))


def interval(found: Calibration) -> str:
    """What the interval of a constant is made from."""
    return "interval" if found.evidence is None else "interval_draws"


def lean_lines(found: Calibration) -> list[str]:
    """Constants that hold with another as it stands."""
    lines = []
    for one in found.found:
        unit, size = unit_of(found.machine, one.unknown)
        for address, change in one.leans:
            other = address.rpartition(".")[2].replace("_", " ")
            text = phrase("survey.calibration.leans", constant=one.unknown.label, other=other,
                          change=_signed(change / size), unit=unit)  # fmt: skip
            lines.append(text.rstrip())
    return lines


def why(one: NotTold) -> str:
    """Why a constant cannot be told, and what would tell it."""
    if one.best:
        return phrase("survey.calibration.because_best", why=one.why, best=one.best)
    return phrase("survey.calibration.because", why=one.why)


def fit_line(found: Calibration) -> str:
    """How machine and readings agree, before and after."""
    before, after = figure(found.chi_square_before, 3), figure(found.fit.chi_square, 3)
    return phrase("survey.calibration.fit", before=before, after=after, freedom=found.degrees_of_freedom)


def _constants(found: Calibration) -> Block:
    if not found.found:
        return words(phrase("survey.calibration.no_constant"))
    columns = [Column(head=phrase("survey.calibration.constants"), sort="word", bold=True), Column(sort="word")]
    columns += [Column(head=phrase(f"survey.calibration.{key}"), sort="end") for key in ("was", "is", interval(found))]
    table = Table(key="constants", columns=tuple(columns), rows=tuple(constant_rows(found)))
    strong = [
        phrase("survey.calibration.correlated_one", a=a.replace("_", " "), b=b.replace("_", " "), r=f"{r:+.2f}")
        for (a, b), r in found.correlation.items()
        if abs(r) > CLOSE
    ]
    below = lean_lines(found)
    if strong:
        below.append(phrase("survey.calibration.correlated", list="; ".join(strong)).replace("-", "−"))
    more: tuple[Points, ...] = (points(below),) if below else ()
    return Group(blocks=(table, *more))


def unit_of(machine: Machine, unknown: Unknown) -> tuple[str, float]:
    """Edge unit of a constant, and its size in SI."""
    about = machine.declaration(unknown.address).about
    assert isinstance(about, Q)
    unit = about.unit or units.edge_unit(about.word, "mill")
    kind = nomenclature.word(about.word).kind
    one = units.find(unit, None if kind in nomenclature.PLAIN_KINDS else kind) if unit and unit != "1" else None
    return ("" if one is None else one.name), (1.0 if one is None else one.factor)


def _small(value: float) -> bool:
    return bool(value) and (abs(value) < 1e-3 or abs(value) >= 1e5)


def _number(value: float, spread: float) -> str:
    """A number with its uncertainty; very small ones as a power of ten."""
    if _small(value):
        power = math.floor(math.log10(abs(value)))
        return f"({plus_minus(value / 10**power, spread / 10**power, 3)})e{power}"
    return plus_minus(value, spread, 4)


def _bound(value: float) -> str:
    if not math.isfinite(value):
        return phrase("survey.calibration.not_bounded")
    return f"{value:.2e}" if _small(value) else figure(value, 3)


def _signed(value: float) -> str:
    sign = "+" if value > 0 else "−"
    return f"{sign}{abs(value):.1e}" if _small(value) else f"{sign}{figure(abs(value), 2)}"


# -- readings --------------------------------------------------------------------------------------------------------


def _readings(found: Calibration, everything: bool) -> Group:
    ranked = sorted(found.checked, key=lambda c: -abs(c.score_before - c.score_after))
    rows = list(found.checked) if everything else ranked[:SHOWN]
    heads = ("reading", "", "unit", "read", "came", "calibrated", "left_out", "off_by")
    columns = []
    for k, key in enumerate(heads):
        head = phrase(f"survey.calibration.{key}") if key else ""
        columns.append(Column(head=head if k else f"  {head}", sort="word" if k < 3 else "end"))
    table = Table(key="checked", columns=tuple(columns), rows=tuple(map(_row, rows)))
    left = len(ranked) - len(rows)
    more = (Paragraph(text=phrase("survey.calibration.more", count=left)),) if left > 0 else ()
    far = [c.reading for c in found.checked if math.isfinite(c.left_out_score) and abs(c.left_out_score) > FAR]
    off = phrase("survey.calibration.none_far")
    if far:
        off = phrase("survey.calibration.far", list="; ".join(named(r.stream, r.quantity) for r in far))
    below = [words(off)]
    if found.unused:
        names = "; ".join(
            phrase("survey.calibration.not_used_one", stream=r.stream, quantity=r.quantity, why=why)
            for r, why in found.unused
        )
        below.append(words(phrase("survey.calibration.not_used", list=names)))
    return Group(blocks=(words(fit_line(found)), table, *more, *below))


def _row(one: Checked) -> tuple[str, ...]:
    stream, quantity = one.reading.stream, one.reading.quantity
    lone = not math.isfinite(one.left_out_score)
    before, after, left = (figure(shown(v, quantity)[0], 3) for v in (one.before, one.after, one.left_out))
    return (
        stream,
        in_words(stream, quantity).removesuffix(":angle"),
        shown(one.reading.value, quantity)[1],
        told_value(one.reading.value, one.reading.standard_uncertainty, quantity),
        before,
        after,
        NONE if lone else left,
        NONE if lone else signed(one.left_out_score),
    )
