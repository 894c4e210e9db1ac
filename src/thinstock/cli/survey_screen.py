"""A reconciled round on a screen: verdict, readings before and after, what does not close, whom to doubt, what next.

Words for a superintendent. Numbers come from the findings; ties are told as ties, and what nothing checks is said so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from thinstock.cli.text import NONE, Page, figure, page_width, plus_minus, table, wrapped
from thinstock.survey.change import Change
from thinstock.survey.findings import Doubt, Findings, Row
from thinstock.survey.round import shown

NOTES_SHOWN = 3
FAR = 2.5
"""Balances of the readings that miss by more standard uncertainties than this are told."""
COMPONENTS = {"flow": "flow", "fibre": "fibre"}


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
    for block in (
        _does_not_close(findings, width),
        _doubtful(findings, width),
        _follows(findings),
        _next(findings, width),
    ):
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


def verdict(findings: Findings) -> str:
    """One sentence on the whole."""
    result = findings.reconciliation.result
    count = len(findings.rows)
    aside = f" (set aside: {', '.join(' '.join(k) for k in findings.set_aside)})" if findings.set_aside else ""
    checks = int(result.degrees_of_freedom)
    tested = f"{count} readings of the balance, {checks} independent check{'s' if checks != 1 else ''}{aside}"
    chance = f"χ² {figure(result.statistic, 3)} for {checks}"
    if findings.passed:
        high = [r for r in findings.rows if abs(r.score) > findings.critical]
        names = ", ".join(f"{r.reading.stream} {_quantity(r)}" for r in high)
        but = f" Yet {names} stands out by its score: look at it." if high else ""
        return f"The readings agree within their stated uncertainties: {tested}, {chance}.{but}"
    rare = result.probability
    odds = f"once in {figure(1 / rare, 1)}" if rare > 1e-9 else "never"
    return f"THE READINGS DO NOT AGREE within their stated uncertainties: {tested}, {chance}; chance does that {odds}."


def told(value: float, spread: float, quantity: str, digits: int = 4) -> str:
    """A value with its standard uncertainty in the unit of the mill, without the unit."""
    number, _ = shown(value, quantity)
    if not math.isfinite(number):
        return NONE
    further, _ = shown(value + spread, quantity)
    return plus_minus(number, abs(further - number), digits)


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
                _quantity(row),
                unit,
                told(row.reading.value, row.reading.standard_uncertainty, quantity),
                told(row.value, row.standard_uncertainty, quantity),
                f"{row.adjustment:+.1f}".replace("-", "−"),
                (f"{abs(row.score):.1f}" if math.isfinite(row.score) else NONE) + (" ←" if row.doubtful else "  "),
                "none" if not row.detectable < 1 else figure(100 * row.detectable, 2),
            ]
        )
    return table(heads, body, texts=(1, 2, 3), ends=(0, 4, 5, 6, 7, 8))


def _quantity(row: Row) -> str:
    return in_words(row.reading.stream, row.reading.quantity)


def in_words(stream: str, quantity: str) -> str:
    """A quantity as the trade calls it at that stream."""
    web = stream.startswith("web") or stream == "reel"
    return "dryness" if quantity in ("consistency", "consistency:fibre") and web else quantity.removesuffix(":fibre")


def _does_not_close(findings: Findings, width: int) -> list[str]:
    bad = [b for b in findings.imbalances if abs(b.score) > FAR]
    if not bad:
        closed = len(findings.imbalances)
        if not closed:
            return []
        worst = max(abs(b.score) for b in findings.imbalances)
        many = "balances" if closed != 1 else "balance"
        return wrapped(
            f"Before any adjustment {closed} {many} can be drawn from readings alone; the worst misses by "
            f"{figure(worst, 2)} standard uncertainties.",
            width=width,
        )
    lines = ["Does not close, readings as they stand"]
    for b in bad[:4]:
        word = "more comes in than goes out" if b.missing > 0 else "more goes out than comes in"
        lines += wrapped(
            f"{b.component} around {b.node}: {figure(abs(b.missing), 3)} ± {figure(b.spread, 2)} kg/s {word}, "
            f"{figure(abs(b.score), 2)} times its uncertainty (readings of {', '.join(b.streams)})",
            width=width,
            first="  ",
            then="    ",
        )
    if len(bad) > 4:
        lines.append(f"  and {len(bad) - 4} more")
    return lines


def _doubtful(findings: Findings, width: int) -> list[str]:
    if findings.passed:
        return []
    lines = ["Doubtful"]
    if findings.reconciliation.result.degrees_of_freedom == 1:
        names = ", ".join(f"{r.reading.stream} {_quantity(r)}" for r in findings.rows if r.redundancy > 1e-10)
        return lines + wrapped(
            f"one check only, and it fails: whichever of {names} is wrong, no test can tell which. A second, "
            "independent check is needed.",
            width=width,
            first="  ",
        )
    if not findings.doubts:
        return lines + wrapped(
            "no set of three readings or fewer explains it: the stated uncertainties are too small, or several "
            "readings are wrong, or the balance lacks a stream. Go through the table by score before blaming an "
            "instrument.",
            width=width,
            first="  ",
        )
    for rank, doubt in enumerate(findings.doubts[:4]):
        lines += wrapped(_doubt(findings, doubt, first=rank == 0), width=width, first="  ", then="    ")
    if len(findings.doubts) > 4:
        lines.append(f"  and {len(findings.doubts) - 4} more sets; --json lists all")
    return lines


def _doubt(findings: Findings, doubt: Doubt, *, first: bool) -> str:
    sets = [_members(findings, m, b) for m, b in zip(doubt.sets, doubt.biases, strict=True)]
    lead = "without " if first else "or without "
    fit = f"the rest agrees (p {figure(doubt.probability, 2)})"
    if len(sets) == 1:
        return f"{lead}{sets[0]}: {fit}"
    return (
        f"{lead}one of {'; '.join(sets)}: {fit}. A TIE: no test can tell which of these {len(sets)} it is; "
        "look at the instruments"
    )


def _members(findings: Findings, members: tuple[int, ...], biases: tuple[float, ...]) -> str:
    parts = []
    for i, bias in zip(members, biases, strict=True):
        row = findings.rows[i]
        number, unit = shown(row.reading.value, row.reading.quantity)
        other, _ = shown(row.reading.value - bias, row.reading.quantity)
        side = "high" if bias > 0 else "low"
        parts.append(
            f"{row.reading.stream} {_quantity(row)} (reads {figure(abs(number - other), 2)} {unit} "
            f"or {figure(100 * abs(bias / (row.reading.value - bias)), 2)} % {side})"
        )
    return " and ".join(parts)


SHOWN_VALUES = (
    ("white_water", "flow"), ("white_water", "consistency:fibre"), ("fan", "flow"), ("jet", "flow"),
    ("web_formed", "consistency:fibre"), ("web_vacuum", "consistency:fibre"), ("web_pressed", "consistency:fibre"),
    ("vapour", "flow"),
)  # fmt: skip


def _follows(findings: Findings) -> list[str]:
    """Values nobody read that the balance gives, a few of them."""
    found = findings.reconciliation
    read = {r.key for r in findings.rows} | {
        (s, f"consistency:{found.network.components[0]}")
        for s, q in (r.key for r in findings.rows)
        if q == "consistency"
    }
    single = len(found.network.solids) == 1
    rows = []
    for stream, quantity in SHOWN_VALUES:
        key = (stream, quantity)
        if key in read or not math.isfinite(found.value.get(key, math.nan)) or (":" in quantity and not single):
            continue
        spread = found.standard_uncertainty[key]
        _, unit = shown(found.value[key], quantity)
        name = in_words(stream, quantity)
        rows.append([f"  {stream}", name, told(found.value[key], spread, quantity), unit])
    if not rows:
        return []
    return ["Follows from the balance, though nobody read it", *table([], rows, texts=(0, 1, 3), ends=(2,))]


def _next(findings: Findings, width: int) -> list[str]:
    """What to measure next time."""
    rows = findings.next_readings
    if not rows:
        return []
    lines = ["Read next time (best first)"]
    seen = {r.key for r in findings.rows}
    for n in rows:
        again = "a second, independent reading of " if (n.stream, n.quantity) in seen else ""
        word = in_words(n.stream, n.quantity)
        lines += wrapped(
            f"{again}{n.stream} {word}, to {figure(100 * n.uncertainty, 2)} %: "
            f"{n.target[0]} {in_words(*n.target)} from ± {figure(100 * n.before, 2)} % to ± "
            f"{figure(100 * n.after, 2)} %",
            width=width,
            first="  ",
            then="    ",
        )
    return lines


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
