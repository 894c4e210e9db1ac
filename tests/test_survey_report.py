"""The report of a survey: all its chapters, the same on paper and on a page, and room to sign."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from test_survey_commands import ran, refused
from test_suspected import table
from thinstock.case import load
from thinstock.errors import Refused
from thinstock.evidence import population_of
from thinstock.survey import changes, findings_of, read_round
from thinstock.survey.round import table_path
from thinstock.tell.survey_report import chapters, survey_report

KEYS = ["round", "verdict", "balance", "readings", "doubts", "seen", "plan", "assumed", "care", "files", "signatures"]


@pytest.fixture(scope="module")
def bundled():
    return findings_of(read_round("facial-roll", load("facial-roll")))


def test_the_report_goes_from_the_round_to_the_signatures(bundled):
    made = chapters([bundled])
    assert [c.key for c in made] == KEYS
    said = "\n".join(str(block) for c in made for block in c.blocks)
    assert "No mill was measured" in said and "THE READINGS DO NOT AGREE" in said
    assert "jet flow" in str(made[KEYS.index("doubts")].blocks)
    import hashlib

    assert hashlib.sha256(table_path("facial-roll").read_bytes()).hexdigest() in said
    assert "____" in str(made[-1].blocks) and "lock-out" in str(made[KEYS.index("care")].blocks)
    assert "1750 m/min" in str(made[0].blocks)


def test_two_rounds_have_a_chapter_on_what_changed(bundled, tmp_path):
    other = findings_of(read_round(table(tmp_path, "other"), load("facial-roll")))
    made = chapters([bundled, other], changes(bundled, other))
    assert [c.key for c in made] == [*KEYS[:6], "changes", *KEYS[6:]]


def test_what_was_told_of_the_machine_and_its_headlines_name_their_population(bundled):
    machine = bundled.round.machine
    drawn = population_of(machine, draws=300)
    made = chapters([bundled], population=drawn)
    assert [c.key for c in made] == [*KEYS[:6], "constants", "now", *KEYS[6:]]
    assert "not calibrated" in str(made[6].blocks) and "as believed" in str(made[7].blocks)
    read = replace(drawn, origin="as read", scores=0.3 * drawn.scores)
    told = chapters([bundled], population=read)[6]
    assert "press.dewatering.permeability_factor" in str(told.blocks[0]) and len(told.blocks[2].items) == 12


@pytest.mark.slow
def test_paper_and_page_are_written_and_say_the_same(tmp_path: Path):
    paper, page = tmp_path / "report.pdf", tmp_path / "report.html"
    ran("survey", "facial-roll", "--machine", "facial-roll", "--without", "jet flow", "--report", str(paper))
    ran("survey", "facial-roll", "--machine", "facial-roll", "--without", "jet flow", "--report", str(page))
    assert paper.read_bytes().startswith(b"%PDF") and b"/StructTreeRoot" in paper.read_bytes()
    text = page.read_text(encoding="utf-8")
    assert "Signatures" in text and "set aside: jet flow" in text.replace("\n", " ")
    assert not re.search(r"""(src|href)=["']https?:""", text)


def test_another_form_is_refused(bundled):
    with pytest.raises(Refused, match="pdf, html"):
        survey_report([bundled], form="doc")
    assert "--machine" not in refused("survey", "no-such-table.csv", "--machine", "facial-roll", "--report", "x.pdf")
