"""The constants of a machine over many rounds, told once: what each round says, the level, and whether it drifts."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from thinstock.tell.blocks import Block, Column, Group, Table, points, words
from thinstock.tell.calibration import unit_of
from thinstock.tell.history import chance
from thinstock.tell.record import FORMAT, plain
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.survey.drift import Drift, Drifts


def day(time: float) -> str:
    """A time as its day and minute, UTC."""
    return datetime.fromtimestamp(round(time), UTC).strftime("%Y-%m-%d %H:%M")


def drifts_told(found: Drifts, machine: Machine) -> list[Block]:
    """The whole page."""
    blocks: list[Block] = [
        Group(title=machine.title, blocks=tuple(words(t) for t in (machine.scenario,) if t)),
        words(phrase("history.drift.over", count=len(found.rounds), begin=day(found.time[0]), end=day(found.time[-1]))),
    ]
    if not found.drifts:
        return [*blocks, words(phrase("history.drift.nothing"))]
    blocks.append(verdicts(found, machine))
    blocks += [levels(one, machine) for one in found.drifts if one.verdict == "drifts"]
    if found.too_few:
        blocks.append(Group(blocks=(points([phrase("history.drift.too_few", list=", ".join(found.too_few))]),)))
    return [*blocks, words(phrase("history.drift.foot"))]


def _span(low: float, middle: float, high: float, size: float) -> str:
    return phrase("history.drift.span", middle=figure(middle / size, 3), low=figure(low / size, 3),
                  high=figure(high / size, 3))  # fmt: skip


def verdicts(found: Drifts, machine: Machine) -> Table:
    """One line a constant."""
    heads = ("constant", "unit", "first", "last", "chance", "verdict")
    columns = tuple(
        Column(head=phrase(f"history.drift.{head}"), sort="word" if head in ("constant", "unit", "verdict") else "end")
        for head in heads
    )
    rows = []
    for one in found.drifts:
        unit, size = unit_of(machine, one.unknown)
        rows.append((
            one.unknown.label, unit, _span(one.low[0], one.level[0], one.high[0], size),
            _span(one.low[-1], one.level[-1], one.high[-1], size), chance(one.probability),
            phrase(f"history.drift.{one.verdict}"),
        ))  # fmt: skip
    marked = frozenset(k for k, one in enumerate(found.drifts) if one.verdict == "drifts")
    return Table(key="drifts", columns=columns, rows=tuple(rows), marked=marked, indented=False)


def levels(one: Drift, machine: Machine) -> Table:
    """One constant round by round."""
    unit, size = unit_of(machine, one.unknown)
    columns = (
        Column(head=phrase("history.drift.time"), sort="word"),
        Column(head=phrase("history.drift.by_round"), unit=unit, sort="end"),
        Column(head=phrase("history.drift.with_all"), unit=unit, sort="end"),
    )
    rows = tuple(
        (
            day(t), _span(one.value_low[k], one.value[k], one.value_high[k], size),
            _span(one.low[k], one.level[k], one.high[k], size),
        )
        for k, t in enumerate(one.time)
    )  # fmt: skip
    return Table(key=one.unknown.address, columns=columns, rows=rows, title=one.unknown.label, indented=False)


def drifts_record(found: Drifts) -> dict[str, Any]:
    """The same as one object: base SI, times in seconds since 1970 UTC."""
    constants = [
        {
            "address": d.unknown.address, "label": d.unknown.label, "verdict": d.verdict, "time": d.time,
            "value": d.value, "value_05": d.value_low, "value_95": d.value_high, "level": d.level, "level_05": d.low,
            "level_95": d.high, "walk": d.walk, "probability": d.probability, "still": d.still,
        }
        for d in found.drifts
    ]  # fmt: skip
    made: dict[str, Any] = plain({
        "format": FORMAT, "rounds": found.rounds, "time": found.time, "constants": constants,
        "too_few": found.too_few,
    })  # fmt: skip
    return made
