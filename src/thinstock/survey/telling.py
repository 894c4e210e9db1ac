"""What a round and a calibration say, in sentences for a superintendent: the same on a terminal and on a page.

Ties are told as ties, and what nothing checks is said so. Every number comes from the findings.
"""

from __future__ import annotations

import math
from typing import Any

from thinstock.survey.findings import Doubt, Findings, Row
from thinstock.survey.machine_calibration import Calibration, Found
from thinstock.survey.machine_constants import Unknown
from thinstock.survey.round import shown
from thinstock.words import nomenclature, units
from thinstock.words.figures import NONE, figure, plus_minus
from thinstock.words.quantity import Q

FAR = 2.5
"""Balances of the readings that miss by more standard uncertainties than this are told."""
MOST = 4
SHOWN_VALUES = (
    ("white_water", "flow"), ("white_water", "consistency:fibre"), ("fan", "flow"), ("jet", "flow"),
    ("web_formed", "consistency:fibre"), ("web_vacuum", "consistency:fibre"), ("web_pressed", "consistency:fibre"),
    ("vapour", "flow"),
)  # fmt: skip
"""Values worth telling where nobody read them."""


def in_words(stream: str, quantity: str) -> str:
    """A quantity as the trade calls it at that stream."""
    web = stream.startswith("web") or stream == "reel"
    return "dryness" if quantity in ("consistency", "consistency:fibre") and web else quantity.removesuffix(":fibre")


def named(row: Row) -> str:
    """A reading as one calls it."""
    return f"{row.reading.stream} {in_words(row.reading.stream, row.reading.quantity)}"


def told(value: float, spread: float, quantity: str, digits: int = 4) -> str:
    """A value with its standard uncertainty in the unit of the mill, without the unit."""
    number, _ = shown(value, quantity)
    if not math.isfinite(number):
        return NONE
    further, _ = shown(value + spread, quantity)
    return plus_minus(number, abs(further - number), digits)


def verdict(findings: Findings) -> str:
    """One sentence on the whole."""
    result = findings.reconciliation.result
    aside = f" (set aside: {', '.join(' '.join(k) for k in findings.set_aside)})" if findings.set_aside else ""
    checks = int(result.degrees_of_freedom)
    count = f"{len(findings.rows)} readings of the balance"
    tested = f"{count}, {checks} independent check{'s' if checks != 1 else ''}{aside}"
    chance = f"χ² {figure(result.statistic, 3)} for {checks}"
    if findings.passed:
        high = [named(r) for r in findings.rows if abs(r.score) > findings.critical]
        but = f" Yet {', '.join(high)} stands out by its score: look at it." if high else ""
        return f"The readings agree within their stated uncertainties: {tested}, {chance}.{but}"
    rare = result.probability
    odds = f"once in {figure(1 / rare, 1)}" if rare > 1e-9 else "never"
    return f"THE READINGS DO NOT AGREE within their stated uncertainties: {tested}, {chance}; chance does that {odds}."


def imbalance_lines(findings: Findings) -> list[str]:
    """Balances that do not close from readings alone, or that they do."""
    bad = [b for b in findings.imbalances if abs(b.score) > FAR]
    lines = []
    for b in bad[:MOST]:
        word = "more comes in than goes out" if b.missing > 0 else "more goes out than comes in"
        lines.append(
            f"{b.component} around {b.node}: {figure(abs(b.missing), 3)} ± {figure(b.spread, 2)} kg/s {word}, "
            f"{figure(abs(b.score), 2)} times its uncertainty (readings of {', '.join(b.streams)})"
        )
    if len(bad) > MOST:
        lines.append(f"and {len(bad) - MOST} more")
    return lines


def closing_line(findings: Findings) -> str:
    """What to say where no balance of readings misses by much; empty where none can be drawn."""
    closed = len(findings.imbalances)
    if not closed:
        return ""
    worst = max(abs(b.score) for b in findings.imbalances)
    return (
        f"Before any adjustment {closed} balance{'s' if closed != 1 else ''} can be drawn from readings alone; the "
        f"worst misses by {figure(worst, 2)} standard uncertainties."
    )


def doubt_lines(findings: Findings) -> list[str]:
    """Whom to doubt; empty where the test passes."""
    if findings.passed:
        return []
    if findings.reconciliation.result.degrees_of_freedom == 1:
        names = ", ".join(named(r) for r in findings.rows if r.redundancy > 1e-10)
        return [
            f"one check only, and it fails: whichever of {names} is wrong, no test can tell which. A second, "
            "independent check is needed."
        ]
    if not findings.doubts:
        return [
            "no set of three readings or fewer explains it: the stated uncertainties are too small, or several "
            "readings are wrong, or the balance lacks a stream. Go through the table by score before blaming an "
            "instrument."
        ]
    lines = [_doubt(findings, doubt, first=rank == 0) for rank, doubt in enumerate(findings.doubts[:MOST])]
    if len(findings.doubts) > MOST:
        lines.append(f"and {len(findings.doubts) - MOST} more sets, less simple or less likely")
    return lines


def _doubt(findings: Findings, doubt: Doubt, *, first: bool) -> str:
    sets = [_members(findings, m, b) for m, b in zip(doubt.sets, doubt.biases, strict=True)]
    lead = "without" if first else "or without"
    fit = f"the rest agrees (p {figure(doubt.probability, 2)})"
    if len(sets) == 1:
        return f"{lead} {sets[0]}: {fit}"
    return (
        f"{lead} one of {'; '.join(sets)}: {fit}. A TIE: no test can tell which of these {len(sets)} it is; "
        "look at the instruments"
    )


def _members(findings: Findings, members: tuple[int, ...], biases: tuple[float, ...]) -> str:
    parts = []
    for i, bias in zip(members, biases, strict=True):
        row = findings.rows[i]
        number, unit = shown(row.reading.value, row.reading.quantity)
        other, _ = shown(row.reading.value - bias, row.reading.quantity)
        share = 100 * abs(bias / (row.reading.value - bias))
        side = "high" if bias > 0 else "low"
        parts.append(f"{named(row)} (reads {figure(abs(number - other), 2)} {unit} or {figure(share, 2)} % {side})")
    return " and ".join(parts)


def follow_rows(findings: Findings) -> list[tuple[str, str, str, str]]:
    """Values nobody read that the balance gives: stream, quantity, value, unit."""
    found = findings.reconciliation
    total = f"consistency:{found.network.components[0]}"
    read = {r.key for r in findings.rows} | {
        (s, total) for s, q in (r.key for r in findings.rows) if q == "consistency"
    }
    single = len(found.network.solids) == 1
    rows = []
    for stream, quantity in SHOWN_VALUES:
        key = (stream, quantity)
        if key in read or not math.isfinite(found.value.get(key, math.nan)) or (":" in quantity and not single):
            continue
        _, unit = shown(found.value[key], quantity)
        text = told(found.value[key], found.standard_uncertainty[key], quantity)
        rows.append((stream, in_words(stream, quantity), text, unit))
    return rows


def next_lines(findings: Findings) -> list[str]:
    """What to measure next time, best first."""
    seen = {r.key for r in findings.rows}
    lines = []
    for n in findings.next_readings:
        again = "a second, independent reading of " if (n.stream, n.quantity) in seen else ""
        lines.append(
            f"{again}{n.stream} {in_words(n.stream, n.quantity)}, to {figure(100 * n.uncertainty, 2)} %: "
            f"{n.target[0]} {in_words(*n.target)} from ± {figure(100 * n.before, 2)} % to ± "
            f"{figure(100 * n.after, 2)} %"
        )
    return lines


# -- calibration ---------------------------------------------------------------------------------------------------


def constant_numbers(found: Calibration, one: Found) -> tuple[str, str, str, str, list[str]]:
    """Of a constant: unit, value as it came, value found, its interval, and what it leans on in words."""
    unit, size = _unit(found, one.unknown)
    leans = [
        f"{one.unknown.label} is found with {address.rpartition('.')[2].replace('_', ' ')} as it stands; one standard "
        f"uncertainty more of that would make it {_signed(change / size)} {unit}".rstrip()
        for address, change in one.leans
    ]
    before = _number(one.unknown.centre / size, one.unknown.spread / size)
    after = _number(one.value / size, one.standard_uncertainty / size)
    return unit, before, after, _interval(one, size), leans


def _unit(found: Calibration, unknown: Unknown) -> tuple[str, float]:
    """Edge unit of a constant, and its size in SI."""
    about: Any = found.machine.declaration(unknown.address).about
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


def _interval(one: Found, size: float) -> str:
    ends = []
    for value in (one.low, one.high):
        number = value / size
        if not math.isfinite(value):
            ends.append("not bounded")
        else:
            ends.append(f"{number:.2e}" if _small(number) else figure(number, 3))
    return " to ".join(ends)


def _signed(value: float) -> str:
    sign = "+" if value > 0 else "−"
    return f"{sign}{abs(value):.1e}" if _small(value) else f"{sign}{figure(abs(value), 2)}"
