"""Speed limits told once: what gives out first, every part's highest speed, what has none, what is asked of each.

The blocks of the command, of the page and of a handout are made from the same rows. A limit that nobody gave is told
as not known, never as none.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

from thinstock.machine.limits import Limit, Limits
from thinstock.tell.blocks import Bar, Block, Column, Group, Number, Points, Table, Words, words
from thinstock.words.figures import NONE, Edge, figure
from thinstock.words.phrase import capital, phrase

Voice = Literal["line", "below", "said"]
"""In one line of a terminal, below the part's name on a page, in a text."""
BAR_FULL = 40.0
"""Margin in per cent at which a bar is as long as it gets."""
AT = 5e-4
"""Margin below which a speed is at its limit."""


def is_load(row: Limit) -> bool:
    """Whether a limit is that of a press load, which hangs on no speed."""
    return row.id == "press_load"


def first_part(row: Limit) -> str:
    """The part that gives out first; a window of practice is told as such."""
    return phrase("speeds.first.practice", part=row.part) if row.scope == "window" else row.part


def first_out(found: Limits, edge: Edge, voice: Voice = "line") -> str:
    """What gives out first and how far away that is."""
    row = found.binding
    if row is None:
        return phrase("speeds.first.none_below" if voice == "below" else "speeds.first.none")
    slots = {"name": row.part, "part": first_part(row), "note": row.note}
    if row.speed is None or row.margin is None or row.speed <= 0:
        return phrase(f"speeds.first_{voice}.still", **slots)
    case = "at" if abs(row.margin) < AT else "above" if row.margin > 0 else "below"
    margin = figure(100 * abs(row.margin), 2)
    return phrase(f"speeds.first_{voice}.{case}", **slots, speed=edge.text("speed", row.speed, 4), margin=margin)


# -- rows ------------------------------------------------------------------------------------------------------------


def bounded(found: Limits) -> list[Limit]:
    """Parts with a highest speed, the lowest first."""
    rows = [r for r in found.rows if r.speed is not None and r.scope in ("highest", "window")]
    return sorted(rows, key=_speed)


def _speed(row: Limit) -> float:
    return row.speed if row.speed is not None else math.inf


def _named(row: Limit) -> str:
    """The part's name, with what kind of limit it is."""
    if row.scope == "window":
        return phrase("speeds.table.practice", part=row.part)
    return phrase("speeds.table.at_least", part=row.part) if row.scope == "lowest" else row.part


def _speed_cell(row: Limit, edge: Edge) -> Number:
    if not row.speed:
        return Number(phrase("speeds.table.none"))
    return Number(edge.figure("speed", row.speed, 4), edge.number("speed", row.speed))


def _margin_cell(row: Limit) -> Number:
    if row.margin is None:
        return Number(NONE)
    return Number(f"{100 * row.margin:+.1f}".replace("-", "−"), 100 * row.margin)


def _used(row: Limit, present: float) -> Bar:
    if row.speed is None or row.speed <= 0:
        return Bar(1.0)
    return Bar(row.speed / present if row.scope == "lowest" else present / row.speed)


def now_and_limit(row: Limit, edge: Edge) -> str:
    """What a part does now and may do."""
    if not row.word:
        return ""
    bound = phrase("speeds.table.not_known") if row.bound is None else edge.figure(row.word, row.bound, 3)
    if row.value is None and row.bound is None:
        return bound
    now = phrase("speeds.table.no_sheet") if row.value is None else edge.figure(row.word, row.value, 3)
    return f"{now} / {bound} {edge.unit(row.word)}".strip()


def _own_note(row: Limit) -> str:
    """The note without what a table says already."""
    if row.remark in ("no_limit", "no_limit_but"):
        return row.reason
    return "" if row.remark == "lowest" else row.note


def _columns(edge: Edge, *keys: str) -> tuple[Column, ...]:
    known = {
        "part": Column(key="part", head=phrase("speeds.table.part"), short="", sort="word"),
        "speed": Column(key="speed", head=phrase("speeds.table.speed"), short=phrase("speeds.table.speed_short"),
                        unit=edge.unit("speed")),
        "margin": Column(key="margin", head=phrase("speeds.table.margin"), unit="%"),
        "used": Column(key="used", head=phrase("speeds.table.used"), sort="word"),
        "bar": Column(key="bar", sort="word"),
        "now": Column(key="now", head=phrase("speeds.table.now"), sort="end"),
        "status": Column(key="status", head=phrase("speeds.table.status"), sort="word"),
    }  # fmt: skip
    return tuple(known[key] for key in keys)


def _marked(rows: list[Limit]) -> frozenset[int]:
    return frozenset(k for k, row in enumerate(rows) if row.binding)


# -- on a terminal ---------------------------------------------------------------------------------------------------


def screen(title: str, found: Limits, edge: Edge) -> list[Block]:
    """Everything about the limits of a machine."""
    told: list[Block] = [
        Group(title=title, blocks=(words(phrase("speeds.whole.head", head=capital(found.head))),)),
        words(phrase("speeds.first.line", first=first_out(found, edge))),
    ]
    with_speed, without = _table(found, edge), _without(found, edge)
    told += [table for table in (with_speed, without) if table.rows]
    asked = [
        phrase("speeds.whole.duty", part=row.part, said="; ".join(t for t in (row.duty, _own_note(row)) if t))
        for row in found.rows
    ]
    return [*told, Group(title=phrase("speeds.whole.asked"), blocks=(Points(items=tuple(asked)),))]


def _table(found: Limits, edge: Edge) -> Table:
    """Parts with a speed limit, the lowest first; lowest speeds below."""
    order = {"highest": 0, "window": 0, "lowest": 1, "none": 2, "not known": 3}
    rows = sorted((r for r in found.rows if r.speed is not None), key=lambda r: (order[r.scope], _speed(r)))
    return Table(
        key="limits", heads_low=True, marked=_marked(rows),
        columns=_columns(edge, "part", "speed", "margin", "used", "now", "status"),
        rows=tuple(
            (row.part if row.scope == "window" else _named(row), _speed_cell(row, edge), _margin_cell(row),
             _used(row, found.speed), now_and_limit(row, edge), row.status)
            for row in rows
        ),
    )  # fmt: skip


def _without(found: Limits, edge: Edge) -> Table:
    """Parts without one: what they do now and may do."""
    rows = tuple((row.part, now_and_limit(row, edge), row.status) for row in found.rows if row.speed is None)
    return Table(key="open", title=phrase("speeds.whole.open"), columns=_columns(edge, "part", "now", "status"),
                 rows=rows)  # fmt: skip


def short(found: Limits, edge: Edge) -> Group:
    """The highest speeds as a short table; parts without a number in lines below."""
    rows = bounded(found)
    table = Table(
        key="limits", title=phrase("speeds.table.title"), columns=_columns(edge, "part", "speed", "margin"),
        rows=tuple((_named(row), _speed_cell(row, edge), _margin_cell(row)) for row in rows), marked=_marked(rows),
    )  # fmt: skip
    lowest = [f"{r.part} {edge.figure('speed', r.speed, 3)}" for r in found.rows if r.scope == "lowest"]
    free = [r.part for r in found.rows if r.scope == "none" and not is_load(r)]
    unknown = [r.part for r in found.rows if r.scope == "not known"]
    listed = (("lowest", lowest), ("free", free), ("unknown", unknown))
    below = [phrase(f"speeds.short.{key}", list="; ".join(parts)) for key, parts in listed if parts]
    if any(row.scope == "window" for row in rows):
        below.append(phrase("speeds.table.practice_foot"))
    return Group(blocks=(table, Points(items=tuple(below))))


# -- on a page and in a text -----------------------------------------------------------------------------------------


def page_table(found: Limits, edge: Edge) -> Table | None:
    """The highest speeds with their duties, notes and margins as bars; None where none is known."""
    rows, body = bounded(found), []
    for row in rows:
        assert row.speed is not None and row.margin is not None
        fails = row.speed <= 0
        note = phrase("speeds.table.fails") if fails else row.note
        duty = phrase("speeds.table.duty_and_note", duty=row.duty, note=note) if note else row.duty
        sort = "short" if row.margin < 0 else "window" if row.scope == "window" else "black"
        margin = 100 * row.margin
        body.append((
            Words(row.part, duty), Number(NONE) if fails else _speed_cell(row, edge),
            Number(NONE) if fails else Number(figure(margin, 2), margin),
            Bar(min(abs(margin), BAR_FULL) / BAR_FULL, sort), row.status,
        ))  # fmt: skip
    return Table(
        key="limits", caption=phrase("speeds.table.caption"), marked=_marked(rows), rows=tuple(body),
        columns=_columns(edge, "part", "speed", "margin", "bar", "status"),
    ) if body else None  # fmt: skip


def page_lines(found: Limits, edge: Edge) -> list[str]:
    """Parts without a highest speed, in sentences."""
    rows = found.rows
    lowest = [f"{r.part} {edge.text('speed', r.speed, 3)}" for r in rows if r.scope == "lowest"]
    loads = [r for r in rows if is_load(r) and r.scope != "not known"]
    free = [r.part for r in rows if r.scope == "none" and r not in loads]
    unknown = [r.part for r in rows if r.scope == "not known"]
    said = [
        phrase("speeds.page.load", name=r.of, now=edge.text("line_load", r.value, 3),
               limit=edge.text("line_load_limit", r.bound, 3), status=r.status)
        for r in loads
    ]  # fmt: skip
    listed = (("lowest", lowest), ("loads", said), ("unknown", unknown), ("free", free))
    lines = [phrase(f"speeds.page.{key}", list="; ".join(texts)) for key, texts in listed if texts]
    return [*lines, phrase("speeds.page.held", head=found.head)]


def text_table(found: Limits, edge: Edge, caption: str) -> Table:
    """Every limit with its duty, for a text."""
    rows = sorted(found.rows, key=_speed)
    body = []
    for row in rows:
        speed = edge.text("speed", row.speed, 4) if row.speed else row.scope
        if not row.speed and row.scope == "none":
            speed = phrase("speeds.said.free")
        if row.scope == "lowest":
            speed = phrase("speeds.said.lowest", speed=speed)
        margin = "" if row.margin is None else f"{_margin_cell(row)} %"
        body.append((f"→ {row.part}" if row.binding else row.part, row.duty, speed, margin, row.status))
    part, speed_head, margin_head, status = _columns(edge, "part", "speed", "margin", "status")
    duty = Column(key="duty", head=phrase("speeds.table.duty"), sort="word", grows=True)
    bare = replace(speed_head, head=phrase("speeds.table.speed_short"), unit="")
    return Table(
        key="limits", caption=caption, small=True, rows=tuple(body),
        columns=(replace(part, grows=True), duty, bare, replace(margin_head, unit=""), replace(status, grows=True)),
    )  # fmt: skip
