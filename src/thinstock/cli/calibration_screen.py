"""A calibration on a screen: constants with their intervals, what cannot be told, how machine and readings agree."""

from __future__ import annotations

import math

from thinstock import nomenclature, units
from thinstock.cli.survey_screen import CAUTION, in_words, told
from thinstock.cli.text import NONE, Page, figure, page_width, plus_minus, table, wrapped
from thinstock.quantity import Q
from thinstock.survey.machine_calibration import Calibration, Checked, Found
from thinstock.survey.machine_constants import Unknown
from thinstock.survey.round import shown

SHOWN = 8
"""Readings told before and after, those that moved most."""


def page(found: Calibration, *, all_readings: bool = False) -> Page:
    """The whole page."""
    made = Page()
    width = page_width()
    made.heading(found.machine.title, "Constants", "Not told", "Machine and readings")
    made.add(found.machine.title)
    if found.machine.scenario:
        made.add(*wrapped(found.machine.scenario, width=width))
    for round_ in found.rounds:
        made.add(*wrapped(round_.name, width=width))
    made.add("", *_constants(found, width))
    if found.not_told:
        made.add("", "Not told by these readings, left as they were")
        for one in found.not_told:
            best = f" Best to add: {one.best}." if one.best else ""
            made.add(*wrapped(f"{one.unknown.label}: {one.why}.{best}", width=width, first="  ", then="    "))
    made.add("", *_readings(found, width, all_readings))
    made.add("")
    for note in found.notes:
        made.add(*wrapped(str(note), width=width, first="* "))
    made.add("", *wrapped(CAUTION, width=width))
    return made


def _unit(found: Calibration, unknown: Unknown) -> tuple[str, float]:
    """Edge unit of a constant, and its size in SI."""
    about = found.machine.declaration(unknown.address).about
    assert isinstance(about, Q)
    unit = about.unit or units.edge_unit(about.word, "mill")
    kind = nomenclature.word(about.word).kind
    one = units.find(unit, None if kind in nomenclature.PLAIN_KINDS else kind) if unit and unit != "1" else None
    return ("" if one is None else unit), (1.0 if one is None else one.factor)


def _constants(found: Calibration, width: int) -> list[str]:
    if not found.found:
        return wrapped("No constant of this machine can be told by these readings.", width=width)
    heads = [["Constants", "", "was", "is", "95 % by profile"]]
    rows = []
    for one in found.found:
        unit, size = _unit(found, one.unknown)
        rows.append(
            [
                f"  {one.unknown.label}",
                unit,
                _number(one.unknown.centre / size, one.unknown.spread / size),
                _number(one.value / size, one.standard_uncertainty / size),
                _interval(one, size),
            ]
        )
    lines = table(heads, rows, texts=(0, 1), ends=(2, 3, 4))
    for one in found.found:
        for address, change in one.leans:
            unit, size = _unit(found, one.unknown)
            lines += wrapped(
                f"{one.unknown.label} is found with {address.rpartition('.')[2].replace('_', ' ')} as it stands; one "
                f"standard uncertainty more of that would make it {_signed(change / size)} {unit}".rstrip(),
                width=width,
                first="  ",
                then="    ",
            )
    strong = {pair: r for pair, r in found.correlation.items() if abs(r) > 0.5}
    if strong:
        told_ = "; ".join(f"{a.replace('_', ' ')} and {b.replace('_', ' ')} {r:+.2f}" for (a, b), r in strong.items())
        lines += wrapped(f"correlated: {told_}".replace("-", "−"), width=width, first="  ", then="    ")
    return lines


def _number(value: float, spread: float) -> str:
    """A number with its uncertainty; very small ones as a power of ten."""
    if value and (abs(value) < 1e-3 or abs(value) >= 1e5):
        power = math.floor(math.log10(abs(value)))
        return f"({plus_minus(value / 10**power, spread / 10**power, 3)})e{power}"
    return plus_minus(value, spread, 4)


def _interval(one: Found, size: float) -> str:
    ends = []
    for value in (one.low, one.high):
        if not math.isfinite(value):
            ends.append("not bounded")
            continue
        number = value / size
        ends.append(f"{number:.2e}" if abs(number) < 1e-3 or abs(number) >= 1e5 else figure(number, 3))
    return " to ".join(ends)


def _signed(value: float) -> str:
    sign = "+" if value > 0 else "−"
    return f"{sign}{abs(value):.1e}" if abs(value) < 1e-3 else f"{sign}{figure(abs(value), 2)}"


def _readings(found: Calibration, width: int, everything: bool) -> list[str]:
    before, after = figure(found.chi_square_before, 3), figure(found.fit.chi_square, 3)
    lines = wrapped(
        f"Machine and readings: χ² {before} with the machine as it came, {after} as calibrated "
        f"({found.degrees_of_freedom} degrees of freedom).",
        width=width,
    )
    ranked = sorted(found.checked, key=lambda c: -abs(c.score_before - c.score_after))
    rows = list(found.checked) if everything else ranked[:SHOWN]
    heads = [["  reading", "", "unit", "read", "as it came", "calibrated", "left out", "off by"]]
    lines += table(heads, [_row(c) for c in rows], texts=(0, 1, 2), ends=(3, 4, 5, 6, 7))
    if len(rows) < len(ranked):
        lines.append(f"  and {len(ranked) - len(rows)} more: --notes")
    far = [c for c in found.checked if math.isfinite(c.left_out_score) and abs(c.left_out_score) > 3]
    names = "; ".join(f"{c.reading.stream} {in_words(c.reading.stream, c.reading.quantity)}" for c in far)
    lines += wrapped(
        "left out: what the calibration without that reading would have it read, and by how many standard "
        f"uncertainties it is off. {'Off by more than 3: ' + names + '.' if far else 'None is off by more than 3.'}",
        width=width,
    )
    if found.unused:
        names = "; ".join(f"{r.stream} {r.quantity} ({why})" for r, why in found.unused)
        lines += wrapped(f"not used: {names}", width=width)
    return lines


def _row(one: Checked) -> list[str]:
    quantity = one.reading.quantity
    _, unit = shown(one.reading.value, quantity)
    lone = not math.isfinite(one.left_out_score)
    return [
        f"  {one.reading.stream}",
        in_words(one.reading.stream, quantity).partition(":angle")[0],
        unit,
        told(one.reading.value, one.reading.standard_uncertainty, quantity),
        figure(shown(one.before, quantity)[0], 3),
        figure(shown(one.after, quantity)[0], 3),
        NONE if lone else figure(shown(one.left_out, quantity)[0], 3),
        NONE if lone else f"{one.left_out_score:+.1f}".replace("-", "−"),
    ]
