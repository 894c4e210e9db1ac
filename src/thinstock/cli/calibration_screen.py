"""A calibration on a screen: constants with their intervals, what cannot be told, how machine and readings agree."""

from __future__ import annotations

import math

from thinstock.cli.survey_screen import CAUTION
from thinstock.cli.text import NONE, Page, figure, page_width, table, wrapped
from thinstock.survey.machine_calibration import Calibration, Checked
from thinstock.survey.round import shown
from thinstock.survey.telling import constant_numbers, in_words, told

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


def _constants(found: Calibration, width: int) -> list[str]:
    if not found.found:
        return wrapped("No constant of this machine can be told by these readings.", width=width)
    heads = [["Constants", "", "was", "is", "95 % by profile"]]
    rows, leans = [], []
    for one in found.found:
        unit, before, after, interval, said = constant_numbers(found, one)
        rows.append([f"  {one.unknown.label}", unit, before, after, interval])
        leans += said
    lines = table(heads, rows, texts=(0, 1), ends=(2, 3, 4))
    for text in leans:
        lines += wrapped(text, width=width, first="  ", then="    ")
    strong = {pair: r for pair, r in found.correlation.items() if abs(r) > 0.5}
    if strong:
        told_ = "; ".join(f"{a.replace('_', ' ')} and {b.replace('_', ' ')} {r:+.2f}" for (a, b), r in strong.items())
        lines += wrapped(f"correlated: {told_}".replace("-", "−"), width=width, first="  ", then="    ")
    return lines


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
