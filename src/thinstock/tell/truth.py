"""Published points told: misses first, each with what print says, what thinstock answers, and how far off that is.

The blocks of the command, of the page and of a handout are made from the same verdicts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from thinstock.formula.writing import citation
from thinstock.studies.truth import VERDICTS, Judged, Point, Verdict, recorded
from thinstock.tell.blocks import Block, Column, Number, Table, Words, words
from thinstock.tell.record import plain
from thinstock.words.figures import NONE, figure
from thinstock.words.phrase import capital, phrase

DIGITS = 3


def unit_said(one: Point) -> str:
    """The unit of the print; nothing where there is none."""
    return "" if one.unit == "1" else one.unit


def printed(one: Point, unit: bool = True) -> str:
    """What print says as a number or range."""
    low, high = (None if end is None else f"{end:g}" for end in (one.low, one.high))
    if one.value is not None:
        said = f"{one.value:g}"
    elif low is None or high is None:
        said = phrase("truth.at_most", high=high) if low is None else phrase("truth.at_least", low=low)
    else:
        said = phrase("truth.range", low=low, high=high)
    return f"{said} {unit_said(one)}".strip() if unit else said


def here(found: Judged, unit: bool = True) -> str:
    """The answer farthest from print, or that there is none."""
    if found.worst is None:
        return phrase("truth.none")
    said = figure(found.worst, DIGITS)
    return f"{said} {unit_said(found.point)}".strip() if unit else said


def times(found: Judged) -> str:
    """How many times the nearest end of print the answer is."""
    if found.off is None:
        return NONE
    return phrase("truth.inside") if found.off == 1.0 else phrase("truth.times", off=figure(found.off, DIGITS))


def where(found: Judged) -> str:
    """The machine of the answer farthest from print, with the changes made."""
    machine = next((a.machine for a in found.answers if a.value == found.worst and a.machine), "")
    machine = machine or next(iter(found.point.machines), "")
    if not machine:
        return phrase("truth.formula_alone")
    return phrase("truth.changed", machine=machine) if found.point.changes or found.point.former else machine


def why(found: Judged) -> str:
    """The verdict's reason in a sentence."""
    one = found.point
    if found.verdict == "no result":
        return phrase("truth.why.no_result", words=", ".join(w for w in one.words))
    if found.verdict == "not comparable":
        return one.unlike or phrase("truth.why.more")
    if found.verdict == "pin":
        return phrase("truth.why.pin")
    if found.verdict == "pass":
        return phrase("truth.why.single" if one.value is not None else "truth.why.passed")
    return one.because or phrase("truth.why.missed")


def counted(found: Iterable[Judged]) -> str:
    """The verdicts of this moment counted in a sentence."""
    many = dict.fromkeys(VERDICTS, 0)
    for one in found:
        many[one.verdict] += 1
    return phrase("truth.count", judged=many["pass"] + many["miss"], passed=many["pass"], missed=many["miss"],
                  other=many["not comparable"] + many["no result"], pins=many["pin"])  # fmt: skip


# -- lists -----------------------------------------------------------------------------------------------------------


def _of(found: Sequence[Judged], verdict: Verdict) -> list[Judged]:
    return [one for one in found if one.verdict == verdict]


def _titled(verdict: Verdict, count: int) -> str:
    return phrase(f"truth.title.{verdict.replace(' ', '_')}", count=count)


def screen(found: Sequence[Judged]) -> list[Block]:
    """The list of the command: one table for each verdict."""
    heads = ("point", "print", "here", "times")
    made: list[Block] = [words(phrase("truth.about"), phrase("truth.sentence", judged=capital(counted(found))))]
    for verdict in VERDICTS:
        some = _of(found, verdict)
        columns = tuple(Column(head=phrase(f"truth.head.{head}"), sort="word" if head == "point" else "end")
                        for head in heads)  # fmt: skip
        rows = tuple((one.point.key, printed(one.point), here(one, unit=False), times(one)) for one in some)
        if rows:
            made.append(Table(key=verdict, title=_titled(verdict, len(rows)), columns=columns, rows=rows))
    return [*made, words(phrase("truth.more"))]


def tables(found: Sequence[Judged]) -> list[Table]:
    """The tables of the page: everything about every point."""
    made = []
    for verdict in VERDICTS:
        some = _of(found, verdict)
        heads = ("says", "print", "here", "times", "on", "why")
        columns = tuple(Column(key=head, head=phrase(f"truth.head.{head}"), grows=head in ("says", "why"),
                               sort="word" if head in ("says", "on", "why") else "end")
                        for head in heads)  # fmt: skip
        rows = tuple((Words(one.point.says, origin(one.point)), printed(one.point),
                      Number(here(one, unit=False), one.worst), times(one), where(one), why(one))
                     for one in some)  # fmt: skip
        if rows:
            made.append(Table(key=verdict, title=_titled(verdict, len(rows)), columns=columns, rows=rows))
    return made


def origin(one: Point) -> str:
    """Where a point is from, how it was read and what it counts."""
    source, read = citation(one.source).rstrip("."), phrase(f"truth.read.{one.read}")
    return phrase("truth.origin", key=one.key, source=source, read=read, boundary=one.boundary)


# -- one point -------------------------------------------------------------------------------------------------------


def detail(found: Judged) -> list[Block]:
    """Everything about one point."""
    one = found.point
    rows = [
        ("says", one.says),
        ("print", printed(one)),
        ("boundary", one.boundary),
        ("source", citation(one.source)),
        ("read", phrase(f"truth.read.{one.read}")),
        ("asked", one.result),
        ("changes", changes_said(one)),
        ("verdict", phrase("truth.verdict", verdict=found.verdict, times=times(found))),
        ("why", why(found)),
        ("judges", ", ".join(one.judges)),
        ("recorded", recorded_said(one)),
    ]
    columns = (Column(sort="word"), Column(sort="word", grows=True))
    made: list[Block] = [
        Table(title=one.key, columns=columns, rows=tuple((phrase(f"truth.head.{k}"), v) for k, v in rows if v))
    ]
    if found.answers and one.machines:
        columns = (
            Column(head=phrase("truth.head.on"), sort="word"),
            Column(head=phrase("truth.head.here"), unit=unit_said(one)),
        )
        answers = tuple((a.machine, Number(figure(a.value, DIGITS), a.value)) for a in found.answers)
        made.append(Table(columns=columns, rows=answers))
    return made


def changes_said(one: Point) -> str:
    """What is changed on the machines, and what they are compared with."""
    said = [phrase("truth.former", former=one.former)] if one.former else []
    said += [f"{name} = {text}" for name, text in one.changes.items()]
    if one.before:
        said.append(phrase("truth.before", machine=one.before.get("machine", "")))
    return "; ".join(said)


def recorded_said(one: Point) -> str:
    """The verdict as it was recorded, and what it was before."""
    row = recorded().get(one.key, {})
    if not row:
        return ""
    if row.get("was", row["verdict"]) == row["verdict"]:
        return row["verdict"]
    return phrase("truth.was", verdict=row["verdict"], was=row["was"], because=row.get("because", ""))


# -- record ----------------------------------------------------------------------------------------------------------


def record(found: Sequence[Judged]) -> dict[str, Any]:
    """The points as plain data; numbers in the unit of the print."""
    return {"count": {verdict: len(_of(found, verdict)) for verdict in VERDICTS},
            "points": [_point(one) for one in found]}  # fmt: skip


def _point(found: Judged) -> dict[str, Any]:
    one = found.point
    low, high = one.ends
    return {
        "point": one.key, "says": one.says, "low": one.low, "high": one.high, "value": one.value, "unit": one.unit,
        "source": one.source, "citation": citation(one.source), "read": one.read, "boundary": one.boundary,
        "asked": one.result, "machines": list(one.machines), "former": one.former, "changes": dict(one.changes),
        "before": dict(one.before), "passes_from": plain(low), "passes_to": plain(high),
        "answers": {a.machine or "formula": plain(a.value) for a in found.answers}, "worst": plain(found.worst),
        "times": plain(found.off), "ratio": plain(found.ratio), "verdict": found.verdict, "why": why(found),
        "numbers": list(one.words), "formulas": list(one.judges),
    }  # fmt: skip


def told(found: Sequence[Judged]) -> list[Block]:
    """The list, or one point where only one is asked for."""
    return detail(found[0]) if len(found) == 1 else screen(found)
