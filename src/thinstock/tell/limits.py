"""Speed limits told once: what is past its limit now, what gives out first, every part's ends, what is asked of each.

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
    """What is past its limit now; else what gives out first and how far away that is."""
    row = found.binding
    if row is None:
        return phrase("speeds.first.none_below" if voice == "below" else "speeds.first.none")
    slots = {"name": row.part, "part": first_part(row), "note": row.note}
    near = row.margin is not None and abs(row.margin) < AT
    if row.over and not near:
        more = phrase("speeds.first.more", count=len(found.over) - 1) if len(found.over) > 1 else ""
        used = past(row, edge)
        return phrase(f"speeds.over.{voice}", **slots, used=used, holds=holds(row, edge), more=more)
    assert row.speed is not None and row.margin is not None
    return phrase(f"speeds.first_{voice}.{'at' if near else 'above'}", **slots,
                  speed=edge.text("speed", row.speed, 4), margin=figure(100 * row.margin, 2))  # fmt: skip


def past(row: Limit, edge: Edge) -> str:
    """That a part is past its limit, with what it does and may do."""
    if row.value is None:
        return phrase("speeds.first.no_sheet")
    return phrase("speeds.first.used", now=now_and_limit(row, edge, full=True))


def holds(row: Limit, edge: Edge) -> str:
    """Between which speeds a part does its duty, in words."""
    ends = {"low": row.speed_low, "high": row.speed_high}
    texts = {key: edge.text("speed", speed, 4) for key, speed in ends.items() if speed is not None}
    return phrase(f"speeds.holds.{'_'.join(texts) or ('always' if is_load(row) else 'never')}", **texts)


def slower(found: Limits, edge: Edge) -> str:
    """What gives out first when the machine is run slower; empty where nothing known does."""
    row = found.slower
    if row is None or row.speed_low is None:
        return ""
    margin = figure(100 * (1 - row.speed_low / found.speed), 2)
    return phrase("speeds.first.slower", part=row.part, speed=edge.text("speed", row.speed_low, 4), margin=margin)


# -- rows ------------------------------------------------------------------------------------------------------------


def bounded(found: Limits) -> list[Limit]:
    """What is past its limit now, then the parts with a highest speed, the lowest first."""
    rows = [r for r in found.rows if r.speed is not None and r.scope in ("highest", "window") and not r.over]
    return [*found.over, *sorted(rows, key=_speed)]


def _below(found: Limits) -> dict[str, list[Limit]]:
    """The others: those with a lowest speed, loads, those without a limit and those of which none is known."""
    sorts: dict[str, list[Limit]] = {"lowest": [], "loads": [], "unknown": [], "free": []}
    for row in found.rows:
        if row.over or row.scope in ("highest", "window"):
            continue
        sort = "lowest" if row.scope == "lowest" else "unknown" if row.scope == "not known" else "free"
        sorts["loads" if sort == "free" and is_load(row) else sort].append(row)
    return sorts


def _speed(row: Limit) -> float:
    return row.speed if row.speed is not None else math.inf


def _named(row: Limit) -> str:
    """The part's name, with what kind of limit it is."""
    if row.scope == "window":
        return phrase("speeds.table.practice", part=row.part)
    return phrase("speeds.table.at_least", part=row.part) if row.scope == "lowest" else row.part


def _speed_cell(row: Limit, edge: Edge) -> Number:
    if row.speed is None:
        return Number(NONE if is_load(row) else phrase("speeds.table.none"))
    return Number(edge.figure("speed", row.speed, 4), edge.number("speed", row.speed))


def _margin_cell(row: Limit) -> Number:
    if row.margin is None:
        return Number(NONE)
    return Number(f"{100 * row.margin:+.1f}".replace("-", "−"), 100 * row.margin)


def _used(row: Limit) -> Bar:
    return Bar(1.0 if row.share is None else row.share)


def now_and_limit(row: Limit, edge: Edge, *, full: bool = False) -> str:
    """What a part does now and may do; `full` never leaves both numbers the same where it is past its limit."""
    if not row.word:
        return ""
    bound = phrase("speeds.table.not_known") if row.bound is None else edge.figure(row.word, row.bound, 3)
    if row.value is None and row.bound is None:
        return bound
    now = phrase("speeds.table.no_sheet") if row.value is None else edge.figure(row.word, row.value, 3)
    if full and row.value is not None and row.bound is not None and now == bound:
        now, bound = (edge.figure(row.word, number, 5) for number in (row.value, row.bound))
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
        words(phrase("speeds.first.line", first=first_out(found, edge)), slower(found, edge)),
    ]
    with_speed, without = _table(found, edge), _without(found, edge)
    told += [table for table in (with_speed, without) if table.rows]
    asked = [
        phrase("speeds.whole.duty", part=row.part, said="; ".join(t for t in (row.duty, _own_note(row)) if t))
        for row in found.rows
    ]
    return [*told, Group(title=phrase("speeds.whole.asked"), blocks=(Points(items=tuple(asked)),))]


def _table(found: Limits, edge: Edge) -> Table:
    """Parts past their limit, then those with a speed limit, the lowest first; lowest speeds below."""
    rows = [*bounded(found), *sorted(_below(found)["lowest"], key=_speed, reverse=True)]
    return Table(
        key="limits", heads_low=True, marked=_marked(rows),
        columns=_columns(edge, "part", "speed", "margin", "used", "now", "status"),
        rows=tuple(
            (row.part if row.scope == "window" else _named(row), _speed_cell(row, edge), _margin_cell(row),
             _used(row), now_and_limit(row, edge), row.status)
            for row in rows
        ),
    )  # fmt: skip


def _without(found: Limits, edge: Edge) -> Table:
    """Parts without one: what they do now and may do."""
    rows = tuple(
        (row.part, now_and_limit(row, edge), row.status) for row in found.rows if row.speed is None and not row.over
    )
    return Table(key="open", title=phrase("speeds.whole.open"), columns=_columns(edge, "part", "now", "status"),
                 rows=rows)  # fmt: skip


def short(found: Limits, edge: Edge) -> tuple[tuple[Table], tuple[Points, ...]]:
    """The highest speeds as a short table; parts without a number in lines to stand below."""
    rows = bounded(found)
    table = Table(
        key="limits", title=phrase("speeds.table.title"), columns=_columns(edge, "part", "speed", "margin"),
        rows=tuple((_named(row), _speed_cell(row, edge), _margin_cell(row)) for row in rows), marked=_marked(rows),
    )  # fmt: skip
    rest = _below(found)
    lowest = [f"{r.part} {edge.figure('speed', r.speed, 4)}" for r in rest["lowest"]]
    listed = (("lowest", lowest), *((sort, [r.part for r in rest[sort]]) for sort in ("free", "unknown")))
    below = [phrase(f"speeds.short.{key}", list="; ".join(parts)) for key, parts in listed if parts]
    if any(row.scope == "window" for row in rows):
        foot = phrase("speeds.table.practice_foot")
        below[-1:] = [f"{below[-1]}  {foot}"] if below else [foot]
    return (table,), (Points(items=tuple(below)),) if below else ()


# -- on a page and in a text -----------------------------------------------------------------------------------------


def page_table(found: Limits, edge: Edge) -> Table | None:
    """The highest speeds with their duties, notes and margins as bars; None where none is known."""
    rows, body = bounded(found), []
    for row in rows:
        fails = row.speed is None and not is_load(row)
        note = phrase("speeds.table.fails") if fails else row.note
        if row.over:
            note = phrase("speeds.table.over", used=past(row, edge), holds=holds(row, edge))
        duty = phrase("speeds.table.duty_and_note", duty=row.duty, note=note) if note else row.duty
        sort = "short" if row.over else "window" if row.scope == "window" else "black"
        margin = -100.0 if row.margin is None else 100 * row.margin
        body.append((
            Words(row.part, duty), Number(NONE) if row.speed is None else _speed_cell(row, edge),
            Number(NONE) if row.margin is None else Number(figure(margin, 2), margin),
            Bar(min(abs(margin), BAR_FULL) / BAR_FULL, sort), row.status,
        ))  # fmt: skip
    return Table(
        key="limits", caption=phrase("speeds.table.caption"), marked=_marked(rows), rows=tuple(body),
        columns=_columns(edge, "part", "speed", "margin", "bar", "status"),
    ) if body else None  # fmt: skip


def page_lines(found: Limits, edge: Edge) -> list[str]:
    """Parts without a highest speed, in sentences."""
    rest = _below(found)
    lowest = [f"{r.part} {edge.text('speed', r.speed, 4)}" for r in rest["lowest"]]
    said = [
        phrase("speeds.page.load", name=r.of, now=edge.text("line_load", r.value, 3),
               limit=edge.text("line_load_limit", r.bound, 3), status=r.status)
        for r in rest["loads"]
    ]  # fmt: skip
    listed = (("lowest", lowest), ("loads", said), *((s, [r.part for r in rest[s]]) for s in ("unknown", "free")))
    lines = [phrase(f"speeds.page.{key}", list="; ".join(texts)) for key, texts in listed if texts]
    return [*lines, *filter(None, [slower(found, edge)]), phrase("speeds.page.held", head=found.head)]


def text_table(found: Limits, edge: Edge, caption: str) -> Table:
    """Every limit with its duty, for a text."""
    rows = [*found.over, *sorted((row for row in found.rows if not row.over), key=_speed)]
    body = []
    for row in rows:
        speed = edge.text("speed", row.speed, 4) if row.speed is not None else row.scope
        if row.speed is None and row.scope == "none":
            speed = phrase("speeds.said.free")
        elif row.speed is None and row.scope != "not known":
            speed = phrase("speeds.table.none")
        if row.scope == "lowest":
            speed = phrase("speeds.said.lowest", speed=speed)
        if row.over:
            speed = phrase("speeds.said.over", speed=speed, used=past(row, edge))
        margin = "" if row.margin is None else f"{_margin_cell(row)} %"
        body.append((f"→ {row.part}" if row.binding else row.part, row.duty, speed, margin, row.status))
    part, speed_head, margin_head, status = _columns(edge, "part", "speed", "margin", "status")
    duty = Column(key="duty", head=phrase("speeds.table.duty"), sort="word", grows=True)
    bare = replace(speed_head, head=phrase("speeds.table.speed_short"), unit="")
    return Table(
        key="limits", caption=caption, small=True, rows=tuple(body),
        columns=(replace(part, grows=True), duty, bare, replace(margin_head, unit=""), replace(status, grows=True)),
    )  # fmt: skip
