"""A reconciled round on a screen: verdict, readings before and after, what does not close, whom to doubt, what next.

Words for a superintendent. Numbers come from the findings; ties are told as ties, and what nothing checks is said so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from thinstock.cli.text import NONE, Page, figure, page_width, plus_minus, table, wrapped
from thinstock.survey.change import Change
from thinstock.survey.findings import Findings
from thinstock.survey.round import shown
from thinstock.survey.telling import (
    closing_line,
    doubt_lines,
    follow_rows,
    imbalance_lines,
    in_words,
    next_lines,
    told,
    verdict,
)

NOTES_SHOWN = 3


def page(rounds: Sequence[Findings], moved: Sequence[Change], *, all_notes: bool = False) -> Page:
    """One round, or two with what changed."""
    made = Page()
    width = page_width()
    machine = rounds[0].round.machine
    made.heading(machine.title)
    made.add(machine.title)
    if machine.scenario:
        made.add(*wrapped(machine.scenario, width=width))
    for findings in rounds:
        made.add("", *_round(findings, width, made, all_notes))
    if moved:
        made.add("", *_changes(moved, width, made))
    made.add("", *wrapped(CAUTION, width=width))
    return made


CAUTION = (
    "A passed test does not prove the readings right: it stands on the stated uncertainties. Steady running is "
    "assumed. Sampling hurts people: pits, felt runs, presses and hot condensate only with the mill's own people and "
    "lock-out."
)


def _round(findings: Findings, width: int, made: Page, all_notes: bool) -> list[str]:
    made.heading(findings.round.name, "Does not close", "Doubtful", "Read next time", "Follows from the balance")
    lines = [findings.round.name, *wrapped(verdict(findings), width=width), ""]
    lines += _readings(findings)
    lines += ["", *wrapped(LEGEND.format(critical=figure(findings.critical, 2)), width=width)]
    blocks = (
        _does_not_close(findings, width),
        _block("Doubtful", doubt_lines(findings), width),
        _follows(findings),
        _block("Read next time (best first)", next_lines(findings), width),
    )
    for block in blocks:
        if block:
            lines += ["", *block]
    notes = findings.notes
    shown_notes = notes if all_notes else notes[:NOTES_SHOWN]
    lines.append("")
    for note in shown_notes:
        lines += wrapped(str(note), width=width, first="* ")
    if len(shown_notes) < len(notes):
        lines.append(f"* and {len(notes) - len(shown_notes)} more: --notes")
    return lines


LEGEND = (
    "moved: reconciled − read, in standard uncertainties of the reading. score: the same over what chance allows; one "
    "above {critical} is suspect. smallest error: of the reading, what four rounds of five would find; none: an error "
    "here goes straight through."
)


def _readings(findings: Findings) -> list[str]:
    heads = [
        ["", "reading", "", "unit", "read", "reconciled", "moved", "score", "smallest"],
        ["", "", "", "", "", "", "u", "", "error, %"],
    ]
    body = []
    for row in findings.rows:
        quantity = row.reading.quantity
        _, unit = shown(row.reading.value, quantity)
        body.append(
            [
                f"{row.number}" if row.number else "",
                row.reading.stream + (" (by heat)" if not row.number else ""),
                in_words(row.reading.stream, quantity),
                unit,
                told(row.reading.value, row.reading.standard_uncertainty, quantity),
                told(row.value, row.standard_uncertainty, quantity),
                f"{row.adjustment:+.1f}".replace("-", "−"),
                (f"{abs(row.score):.1f}" if math.isfinite(row.score) else NONE) + (" ←" if row.doubtful else "  "),
                "none" if not row.detectable < 1 else figure(100 * row.detectable, 2),
            ]
        )
    return table(heads, body, texts=(1, 2, 3), ends=(0, 4, 5, 6, 7, 8))


def _block(title: str, lines: list[str], width: int) -> list[str]:
    """Sentences under a heading; nothing where there are none."""
    if not lines:
        return []
    return [title, *(part for line in lines for part in wrapped(line, width=width, first="  ", then="    "))]


def _does_not_close(findings: Findings, width: int) -> list[str]:
    bad = imbalance_lines(findings)
    if bad:
        return _block("Does not close, readings as they stand", bad, width)
    closed = closing_line(findings)
    return wrapped(closed, width=width) if closed else []


def _follows(findings: Findings) -> list[str]:
    """Values nobody read that the balance gives, a few of them."""
    rows = [[f"  {stream}", word, text, unit] for stream, word, text, unit in follow_rows(findings)]
    if not rows:
        return []
    return ["Follows from the balance, though nobody read it", *table([], rows, texts=(0, 1, 3), ends=(2,))]


def _changes(moved: Sequence[Change], width: int, made: Page) -> list[str]:
    made.heading("What changed")
    real = [c for c in moved if c.claimed]
    lines = ["What changed"]
    if not real:
        lines += wrapped("nothing that could not be chance", width=width, first="  ")
    heads = [["", "", "unit", "before", "after", "difference", "no difference below"]]
    rows: list[list[str]] = []
    for c in sorted(moved, key=lambda c: -abs(c.difference) / max(c.claimable, 1e-300)):
        if not c.claimed and len(rows) >= max(len(real), 10):
            continue
        number, unit = shown(c.before, c.quantity)
        after, _ = shown(c.after, c.quantity)
        further, _ = shown(c.before + c.claimable, c.quantity)
        spread = further - number
        digits = 4
        rows.append(
            [
                f"{'→ ' if c.claimed else '  '}{c.stream}",
                in_words(c.stream, c.quantity),
                unit,
                figure(number, digits),
                figure(after, digits),
                plus_minus(after - number, spread / 1.96, 3) if spread > 0 else figure(after - number, 2),
                figure(spread, 2),
            ]
        )
    lines += table(heads, rows, texts=(0, 1, 2), ends=(3, 4, 5, 6))
    helped = [c for c in moved if c.standard_uncertainty < 0.9 * c.independent]
    lines += wrapped(
        "→ a difference larger than chance in nineteen rounds of twenty. What both rounds share by the name of a group "
        f"(one meter, one person, one tank) cancels; it makes {len(helped)} of these {len(moved)} differences surer. "
        "It says that something changed, not why.",
        width=width,
    )
    return lines
