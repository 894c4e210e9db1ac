"""Blocks: told once, set on a terminal of any width, on a page, on paper, as JSON and in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest

from thinstock.errors import Fault, Refused
from thinstock.tell import blocks as b
from thinstock.tell import page, paper, record, tables, terminal

WIDTHS = (40, 60, 80, 100, 120)


def limits() -> b.Table:
    """A table with words that are long, a bar, and numbers at their points."""
    columns = (
        b.Column(head="part", sort="word", key="part", short=""),
        b.Column(head="highest speed", unit="m/min", key="speed"),
        b.Column(head="margin", unit="%", key="margin"),
        b.Column(head="", sort="word", key="bar"),
        b.Column(head="known from", sort="word", key="status", grows=True),
    )
    rows = (
        ("vacuum pumps of the felt", b.Number("1978", 1978.25), b.Number("1.4", 1.449), b.Bar(0.985),
         "judged by somebody who has seen the machine run for years"),
        ("press", b.Number("2100.5", 2100.5), b.Number("−7.69", -7.69), b.Bar(0.928, "window"), "=nameplate"),
    )  # fmt: skip
    return b.Table(columns=columns, rows=rows, key="limits", title="Highest speed", marked=frozenset({0}))


def wide() -> b.Table:
    heads = [("place", ""), *((f"number {k}", "kW h/t") for k in range(12))]
    rows = tuple((f"station {i}", *(b.Number(f"{i}.{k}", i + k / 10) for k in range(12))) for i in range(3))
    return b.Table(columns=b.columns(heads), rows=rows, caption="Many numbers.")


SENTENCE = "A sentence that is longer than any line of a terminal can be, said twice over so that it is. " * 2
TOLD: tuple[b.Block, ...] = (
    b.Group(title="A machine", blocks=(b.words(SENTENCE),)),
    b.Facts(rows=(b.Fact(key="a", label="a number that matters", said=SENTENCE),)),
    b.Beside(left=(wide(), limits()), right=(limits(), b.points([SENTENCE, "x" * 150]))),
    b.Note(text=SENTENCE, part="hood"),
    b.Caution(part="hood", title="Hood", texts=(SENTENCE, "hot")),
)


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_runs_over_the_width_there_is(width: int) -> None:
    lines = terminal.page(TOLD, width).lines
    assert max(map(len, lines)) <= width


@pytest.mark.parametrize("width", WIDTHS)
def test_no_cell_is_lost_where_a_table_is_narrowed_or_parted(width: int) -> None:
    for table in (limits(), wide()):
        shown = "\n".join(terminal.lines(table, width))
        words = {word for row in table.texts for cell in row for word in cell.split()}
        assert words <= set(re.split(r"\s+", shown))


def test_a_table_that_fits_stands_as_it_is_with_numbers_at_their_points() -> None:
    assert terminal.lines(limits().only("part", "speed", "margin"), 80) == [
        "Highest speed",
        "                            highest speed  margin",
        "                                    m/min       %",
        "→ vacuum pumps of the felt         1978      1.4",
        "  press                            2100.5   −7.69",
    ]


def test_a_head_without_a_unit_can_stand_beside_the_units() -> None:
    columns = (b.Column(sort="word"), b.Column(head="speed", unit="m/min"), b.Column(head="used", sort="word"))
    low = b.Table(columns=columns, rows=(("a", "1", "b"),), heads_low=True, indented=False)
    assert terminal.lines(low, 80) == ["   speed", "   m/min  used", "a      1  b"]


def test_a_table_too_wide_is_parted_and_every_part_begins_with_the_first_column() -> None:
    lines = terminal.lines(wide(), 60)
    assert sum("station 0" in line for line in lines) >= 2
    assert "" in lines


def test_what_does_not_fit_beside_stands_below() -> None:
    sides = b.Beside(left=(limits().only("part", "speed"),), right=(limits().only("part", "margin"),))
    assert len(terminal.lines(sides, 100)) < len(terminal.lines(sides, 60))
    assert not any(line.count("press") == 2 for line in terminal.lines(sides, 60))


def test_the_width_in_a_pipe_is_the_usual_one_unless_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    assert terminal.page_width() == terminal.WIDTH
    for asked, given in (("80", 80), ("20", 40), ("500", 120), ("wide", terminal.WIDTH)):
        monkeypatch.setenv("COLUMNS", asked)
        assert terminal.page_width() == given


def test_a_table_of_the_page_escapes_its_words_and_sets_numbers_at_their_points() -> None:
    hostile = b.Table(columns=b.columns([("<b>", "µ"), ("n", "kg")]), rows=(("<script>", "1.25"), ("b", "300")))
    html = str(page.table(hostile, "a caption"))
    assert "<script>" not in html and "&lt;script&gt;" in html and "&lt;b&gt;" in html
    assert '<span class="whole">1</span><span class="tail t2">.25</span>' in html
    assert '<span class="whole">300</span><span class="tail t2"></span>' in html
    assert '<tr class="binding">' in str(page.table(limits())) and 'class="window"' in str(page.table(limits()))


def test_every_block_can_be_set_on_a_page_on_paper_and_as_json() -> None:
    told = (*TOLD, b.head("A head"), b.box("A box", "said"), b.figure("a.svg", "words", "caption"))
    html = str(page.blocks(told, {"a.svg": "/a.svg"}))
    assert html.count("A sentence that is longer") >= 8 and 'src="/a.svg"' in html
    data = [one for block in told for one in paper.block_data(block)]
    assert {"words", "table", "points", "note", "care", "head", "box", "figure"} == {one["kind"] for one in data}
    again = json.loads(json.dumps(record.blocks(told), allow_nan=False))
    rows = again[2]["blocks"][1]["rows"]
    assert rows[0][:3] == ["vacuum pumps of the felt", 1978.25, 1.449]


def test_a_spreadsheet_gets_whole_numbers_and_no_formulas() -> None:
    rows = list(csv.reader(io.StringIO(tables.csv_of([limits()]))))
    assert rows[:2] == [["Highest speed"], ["part", "highest speed (m/min)", "margin (%)", "known from"]]
    assert rows[2][1:3] == ["1978.25", "1.449"]
    assert rows[3][2] == "-7.69" and rows[3][3] == "'=nameplate"


def test_a_refusal_is_an_object_with_all_its_faults() -> None:
    found = record.refusal(Refused([Fault(field="a.b", value="7", bound="at most 3"), Fault(field="c")]))
    assert [row["field"] for row in found["refused"]] == ["a.b", "c"]
    assert found["refused"][0] | {"remedy": ""} == found["refused"][0]
    assert json.dumps(found, allow_nan=False)
