"""Signals over time told once: what each holds, which windows stand steady, what changed between two."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from thinstock.tell.blocks import Block, Column, Group, Table, points, words
from thinstock.tell.record import FORMAT, plain
from thinstock.words.figures import NONE, figure, plus_minus
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.survey.window_change import Compared
    from thinstock.survey.windows import Record, Window, Windows

SHOWN = 24
"""Windows told one by one; more are counted."""


def hours(seconds: float) -> str:
    """A length of time as one says it."""
    if not math.isfinite(seconds):
        return NONE
    unit, size = ("h", 3600.0) if seconds >= 3600.0 else ("min", 60.0) if seconds >= 60.0 else ("s", 1.0)
    return f"{seconds / size:.3g} {unit}"


def windows_told(found: Windows, told: Callable[[float], str], rounds: Sequence[str]) -> list[Block]:
    """Signals, windows, and the rounds that were written."""
    steady, every = len(found.steady), len(found.windows)
    key = "history.page.chosen" if found.chosen else "history.page.given"
    made: list[Block] = [
        signals_table(found.records),
        words(
            phrase(key, length=hours(found.length)),
            phrase("history.page.counted", steady=steady, all=every, begin=told(found.windows[0].start),
                   end=told(found.windows[-1].end)),
        ),
        windows_table(found.windows[:SHOWN], told),
    ]  # fmt: skip
    if every > SHOWN:
        made.append(words(phrase("history.page.more_windows", count=every - SHOWN)))
    notes = [phrase("history.page.flat", tag=r.tag) for r in found.records if r.flat]
    made += [Group(blocks=(points(notes),))] if notes else []
    if rounds:
        made.append(Group(title=phrase("history.page.rounds"), blocks=(points(rounds),)))
    return [*made, words(phrase("history.page.caution"))]


def signals_table(records: Sequence[Record]) -> Table:
    """What every signal holds."""
    heads = ("tag", "unit", "values", "dropped", "step", "memory", "needs")
    columns = tuple(
        Column(head=phrase(f"history.page.{head}"), sort="word" if k < 2 else "end", key=head)
        for k, head in enumerate(heads)
    )
    rows = tuple(
        (
            r.tag, r.unit, f"{r.count}", _dropped(r), hours(r.step),
            f"{r.memory:.2f}" if math.isfinite(r.memory) else NONE, hours(r.wanted),
        )
        for r in records
    )  # fmt: skip
    return Table(key="signals", columns=columns, rows=rows, title=phrase("history.page.signals"),
                 foot=phrase("history.page.legend"), indented=False)  # fmt: skip


def _dropped(record: Record) -> str:
    gone = sum(record.dropped.values())
    whole = record.count + gone
    return f"{100.0 * gone / whole:.1f} %" if gone else "0"


def windows_table(windows: Sequence[Window], told: Callable[[float], str]) -> Table:
    """One line a window: steady, or what speaks against it."""
    columns = (
        Column(head=phrase("history.page.begin"), sort="word"),
        Column(head=phrase("history.page.end"), sort="word"),
        Column(head=phrase("history.page.verdict"), sort="word", grows=True),
    )
    rows = tuple((told(w.start), told(w.end), verdict(w)) for w in windows)
    return Table(key="windows", columns=columns, rows=rows, title=phrase("history.page.windows"), indented=False)


def verdict(window: Window) -> str:
    """Steady, or what speaks against it."""
    said = [
        phrase(f"history.page.{key}", list=", ".join(tags))
        for key, tags in (("drifting", window.drifting), ("missing", window.missing), ("open", window.open))
        if tags
    ]
    return "; ".join(said) or phrase("history.page.steady")


def windows_record(found: Windows, rounds: Sequence[str]) -> dict[str, Any]:
    """Signals and windows as one object: times in seconds since 1970 UTC, values in the units of the file."""
    made: dict[str, Any] = plain({
        "format": FORMAT,
        "signals": [{**plain(r), "time_for_ten_independent": r.wanted} for r in found.records],
        "length": found.length,
        "length_chosen": found.chosen,
        "steady": len(found.steady),
        "windows": [{"steady": w.steady, **plain(w)} for w in found.windows],
        "rounds": list(rounds),
    })  # fmt: skip
    return made


def compared_told(found: Compared, before: tuple[str, str], after: tuple[str, str]) -> list[Block]:
    """What changed between two windows."""
    joint = "history.page.nothing_changed" if found.probability >= 0.05 else "history.page.something_changed"
    heads = ("tag", "unit", "before", "after", "difference", "chance")
    columns = tuple(
        Column(head=phrase(f"history.page.{head}"), sort="word" if k < 2 else "end") for k, head in enumerate(heads)
    )
    rows = tuple(
        (
            m.tag, m.unit, figure(m.before, 4), figure(m.after, 4),
            plus_minus(m.difference, m.standard_uncertainty, 4), chance(m.probability),
        )
        for m in found.moved
    )  # fmt: skip
    spans = phrase("history.page.spans", begin=before[0], end=before[1], other_begin=after[0], other_end=after[1])
    left = [phrase("history.page.left_out", list=", ".join(found.left_out))] if found.left_out else []
    return [
        words(spans),
        words(phrase(joint, p=chance(found.probability), statistic=figure(found.statistic, 3), rank=found.rank)),
        Table(key="moved", columns=columns, rows=rows, indented=False,
              marked=frozenset(k for k, m in enumerate(found.moved) if m.claimed)),
        words(*left, phrase("history.page.compared_foot")),
    ]  # fmt: skip


def chance(probability: float) -> str:
    """A probability as one reads it."""
    return figure(probability, 2) if probability >= 1e-4 else phrase("history.page.rare")


def compared_record(found: Compared, before: tuple[str, str], after: tuple[str, str]) -> dict[str, Any]:
    """What changed between two windows as one object."""
    moved = [{**plain(m), "difference": m.difference} for m in found.moved]
    made: dict[str, Any] = plain({
        "format": FORMAT, "before": before, "after": after, "statistic": found.statistic, "rank": found.rank,
        "probability": found.probability, "signals": moved, "left_out": found.left_out,
    })  # fmt: skip
    return made
