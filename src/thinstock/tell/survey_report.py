"""The report of a survey to hand over: what was found and how surely, what to read next, what was assumed, signatures.

The same blocks make the PDF and the page. What was not asked for or is not known has a line to write on, never a guess.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from thinstock.errors import Refused
from thinstock.files.read import fingerprint
from thinstock.survey.round import shown
from thinstock.tell import survey as told
from thinstock.tell.blocks import Block, Chapter, Column, Picture, Table, care, figure, head, note, points, words
from thinstock.words.fault import fault_in
from thinstock.words.figures import NONE
from thinstock.words.figures import figure as digits
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.evidence.population import Population
    from thinstock.survey.change import Change
    from thinstock.survey.findings import Findings

FORMATS = ("pdf", "html")
ABOVE = "\u00a0\n"
"""Room above what is signed."""
LINE = "_" * 26
STATED = ("date", "from", "to", "by", "grade", "source", "steady")
"""Keys of the heading that say who, when and how; each has a line to write on where the table says nothing."""
SIGNED = ("surveyed", "checked", "for_the_mill")


def survey_report(
    rounds: Sequence[Findings],
    moved: Sequence[Change] = (),
    form: str = "pdf",
    *,
    paper: str = "a4",
    plan: Sequence[Block] = (),
    population: Population | None = None,
) -> str | bytes:
    """The report of one round, or of two with what changed.

    Parameters
    ----------
    rounds : sequence of Findings
        One round, or before and after.
    moved : sequence of Change
        What changed between them.
    form : {"pdf", "html"}
        How it is written.
    paper : {"a4", "letter"}
        Size of paper of a PDF.
    plan : sequence of blocks
        What to measure for a chosen answer, where that was asked.
    population : Population, optional
        The machine's draws: what was told of its inputs and its headlines now; without it neither is in the report.

    Returns
    -------
    bytes or str
        A tagged PDF, or one page of HTML that fetches nothing.

    Raises
    ------
    Refused
        An unknown form, or a library of an extra that is not installed.

    Source: named where each number stands.
    """
    if form not in FORMATS:
        raise Refused(fault_in("tell.handout.format", "format", form, formats=", ".join(FORMATS)))
    made = tuple(_chapters(rounds, moved, plan, population, pictures=True))
    title = phrase("survey.report.title", name=rounds[-1].round.name)
    top = {"title": title, "subtitle": rounds[0].round.machine.title, "note": rounds[0].round.machine.scenario}
    if form == "html":
        from thinstock.tell.handout import fragments
        from thinstock.tell.page import render

        return render("handout.html.j2", title=title, head=top, chapters=fragments(made))
    from thinstock.tell.handout import files_of
    from thinstock.tell.paper import block_data, document

    parts = [{"key": c.key, "title": c.title, "blocks": [d for b in c.blocks for d in block_data(b)]} for c in made]
    data = {"head": top, "chapters": parts}
    return document("handout", data, title=title, paper=paper, pictures=files_of(made))


def chapters(
    rounds: Sequence[Findings],
    moved: Sequence[Change] = (),
    plan: Sequence[Block] = (),
    population: Population | None = None,
) -> list[Chapter]:
    """All chapters, without their pictures."""
    return list(_chapters(rounds, moved, plan, population, pictures=False))


def _chapters(
    rounds: Sequence[Findings],
    moved: Sequence[Change],
    plan: Sequence[Block],
    population: Population | None,
    *,
    pictures: bool,
) -> Iterable[Chapter]:
    last = rounds[-1]
    yield _chapter("round", _round(last))
    yield _chapter("verdict", _verdict(last))
    yield _balance(last, pictures)
    yield _chapter("readings", [_readings(last), note(phrase("survey.page.legend", critical=digits(last.critical, 2)))])
    doubts = told.doubt_lines(last)
    yield _chapter("doubts", [points(doubts)] if doubts else [words(phrase("survey.report.no_doubt"))])
    yield _chapter("seen", _seen(last))
    if population is not None:
        from thinstock.tell.survey_now import headlines_now, told_inputs

        yield _chapter("constants", told_inputs(last.round.machine, population))
        yield _chapter("now", headlines_now(last.round.machine, population))
    if moved:
        yield _chapter("changes", list(told.changes(moved).blocks))
    yield _chapter("plan", [*plan, *_next(last)])
    yield _chapter("assumed", _assumed(last))
    yield _chapter("care", [*care("survey"), words(phrase("survey.page.caution"))])
    yield _chapter("files", _files(rounds))
    yield _chapter("signatures", _signatures())


def _chapter(key: str, blocks: Sequence[Block], pictures: dict[str, Picture] | None = None) -> Chapter:
    return Chapter(key=key, title=phrase(f"survey.report.{key}"), blocks=tuple(blocks), pictures=pictures or {})


def _two(rows: Iterable[tuple[str, str]], *, small: bool = False) -> Table:
    heads = (phrase("survey.report.what"), phrase("survey.report.stated"))
    columns = (Column(head=heads[0], sort="word"), Column(head=heads[1], sort="word", grows=True))
    return Table(columns=columns, rows=tuple(rows), small=small)


def _round(found: Findings) -> list[Block]:
    """Mill, round, who, when, settings, and how steadiness was proved."""
    heading = found.round.survey.heading
    rows = [(phrase("survey.report.mill"), heading.get("mill", LINE)),
            (phrase("survey.report.machine"), found.round.machine.title),
            (phrase("survey.report.name"), found.round.name)]  # fmt: skip
    rows += [
        (phrase(f"survey.report.{key}"), heading.get(key) or LINE)
        for key in STATED
        if heading.get(key) or key in ("date", "by", "grade", "steady")
        if not (key == "date" and "from" in heading)
    ]
    rows += [(address, heading.get(address, "")) for address in found.round.settings if address in heading]
    scenario = heading.get("scenario", "")
    return [_two(rows), *([note(scenario)] if scenario else [])]


def _verdict(found: Findings) -> list[Block]:
    result = found.reconciliation.result
    rare = phrase("history.page.rare")
    rows = [
        (phrase("survey.report.chi_square"), digits(result.statistic, 3)),
        (phrase("survey.report.checks"), str(int(result.degrees_of_freedom))),
        (phrase("survey.report.probability"), digits(result.probability, 2) if result.probability >= 1e-4 else rare),
    ]
    return [words(told.verdict(found)), _two(rows)]


def _balance(found: Findings, pictures: bool) -> Chapter:
    """The water drawn, and every stream with its uncertainty."""
    from thinstock.drawing.survey_charts import water_alt, water_flow_svg, water_rows

    columns = (
        Column(head=phrase("survey.report.stream"), sort="word"),
        Column(head=phrase("survey.report.source"), sort="word"),
        Column(head=phrase("survey.report.sink"), sort="word"),
        Column(head=phrase("survey.report.water"), unit="kg/s", sort="end"),
    )
    rows = tuple(
        (r["stream"], r["from"], r["to"], told.told_value(r["water"], r["uncertainty"], "flow"))
        for r in water_rows(found)
    )
    bad = told.imbalance_lines(found)
    below: list[Block] = [head(phrase("survey.page.does_not_close")), points(bad)] if bad else []
    if not bad and (closing := told.closing_line(found)):
        below = [words(closing)]
    drawn = {}
    if pictures:
        drawn["water.svg"] = Picture(content=water_flow_svg(found, "print").encode(), media="image/svg+xml")
    picture = figure("water.svg", water_alt(found), phrase("survey.report.water_caption"))
    return _chapter("balance", [picture, Table(columns=columns, rows=rows, small=True), *below], drawn)


def _readings(found: Findings) -> Table:
    """Read, balanced, score, redundancy, how it was read and what it shares."""
    left = ("reading", "unit", "method")
    columns = tuple(
        Column(head=phrase(f"survey.report.{key}"), sort="word" if key in left else "end", grows=key == "method")
        for key in ("reading", "unit", "read", "reconciled", "score", "redundancy", "method")
    )
    rows = []
    for row in found.rows:
        stream, quantity = row.key
        name = told.named(stream, quantity) if row.number else phrase("survey.by_heat", stream=stream)
        group = "; ".join(f"{n} @ {s:g}" for n, s in row.reading.group)
        rows.append((
            name, shown(row.reading.value, quantity)[1],
            told.told_value(row.reading.value, row.reading.standard_uncertainty, quantity),
            told.told_value(row.value, row.standard_uncertainty, quantity),
            told.score(row) + (" ←" if row.doubtful else ""),
            f"{row.redundancy:.2f}" if math.isfinite(row.redundancy) else NONE,
            ", ".join(t for t in (row.reading.method, group) if t),
        ))  # fmt: skip
    return Table(key="readings", columns=columns, rows=tuple(rows), small=True)


def _seen(found: Findings) -> list[Block]:
    """What an error of each reading would have to be to be found."""
    able = sorted(((r.detectable, r) for r in found.rows if math.isfinite(r.detectable)), key=lambda one: one[0])
    blind = [told.named(*r.key) for r in found.rows if not r.detectable < 1.0 and r.number]
    columns = (
        Column(head=phrase("survey.report.reading"), sort="word"),
        Column(head=phrase("survey.report.smallest"), unit="%", sort="end"),
    )
    rows = tuple((told.named(*r.key), digits(100.0 * size, 2)) for size, r in able if size < 1.0)
    lines = [phrase("survey.report.seen_by")]
    lines += [phrase("survey.report.blind", list=", ".join(blind))] if blind else []
    return [words(*lines), Table(columns=columns, rows=rows, small=True)]


def _next(found: Findings) -> list[Block]:
    lines = told.next_lines(found)
    return [head(phrase("survey.report.next_balance")), points(lines)] if lines else []


def _assumed(found: Findings) -> list[Block]:
    """Remarks on the round: what stands on judgement."""
    lines = [str(n) for n in found.notes]
    lines.append(phrase("survey.report.assumed_tests"))
    return [points(lines)]


def _files(rounds: Sequence[Findings]) -> list[Block]:
    """Files with their digests, so that the same report can be made again."""
    from importlib.metadata import version

    rows = []
    for found in rounds:
        place = found.round.survey.origin
        if place is not None:
            rows.append((place.name, _digest(place)))
    rows.append((phrase("survey.report.program"), f"thinstock {version('thinstock')}"))
    return [_two(rows, small=True)]


def _digest(place: Path) -> str:
    found = fingerprint(place)
    return f"SHA-256 {found}" if found else NONE


def _signatures() -> list[Block]:
    heads, lines = ("role", "who", "when", "signature"), (LINE, LINE[:12], LINE)
    columns = tuple(Column(head=phrase(f"survey.report.{key}"), sort="word") for key in heads)
    rows = tuple((ABOVE + phrase(f"survey.report.{key}"), *(ABOVE + line for line in lines)) for key in SIGNED)
    remarks = [words(3 * LINE) for _ in range(4)]
    return [Table(columns=columns, rows=rows), head(phrase("survey.report.remarks")), *remarks]
