"""If one reading is wrong: who it may be, what would tell, and changes asked all at once."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from test_survey_commands import ran
from thinstock.case import load
from thinstock.survey import changes, findings_of, read_round, read_survey
from thinstock.survey.findings import Findings
from thinstock.survey.round import table_path
from thinstock.survey.suspected import independent, slipped
from thinstock.tell.survey import suspect_lines
from thinstock.tell.survey_record import survey_record


def table(folder, name: str, **moved: float):
    """The bundled round with some readings times a factor; the one made wrong on purpose is put right."""
    survey = read_survey(table_path("facial-roll"))
    rows = [dict(r.given) for r in survey.readings]
    factors = {"jet flow": 0.8, **{k.replace("_of_", " "): v for k, v in moved.items()}}
    for row in rows:
        row["value"] = repr(float(row["value"]) * factors.get(f"{row['stream']} {row['quantity']}", 1.0))
    out = io.StringIO()
    out.write("".join(f"# {k}: {v}\n" for k, v in survey.heading.items()))
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    place = folder / f"{name}.csv"
    place.write_text(out.getvalue(), encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def overflow(tmp_path_factory) -> Findings:
    place = table(tmp_path_factory.mktemp("tables"), "overflow", overflow_of_flow=1.38)
    return findings_of(read_round(place, load("facial-roll")))


def test_near_ties_are_all_suspects_and_the_true_one_is_among_them(overflow):
    assert not overflow.passed and overflow.suspected is not None
    names = [" ".join(overflow.rows[s.place].key) for s in overflow.suspected.suspects]
    assert "overflow flow" in names and len(names) >= 2
    odds = [s.probability for s in overflow.suspected.suspects]
    assert odds == sorted(odds, reverse=True)
    assert sum(odds) + overflow.suspected.none <= 1.0 + 1e-12
    assert all(overflow.rows[s.place].doubtful for s in overflow.suspected.suspects)
    lines = suspect_lines(overflow)
    assert "one of these" in lines[0] and "%" in lines[0]


def test_the_reading_that_tells_suspects_apart_is_one_on_which_they_differ(overflow):
    suspects = {" ".join(overflow.rows[s.place].key) for s in overflow.suspected.suspects}
    assert overflow.apart and f"{overflow.apart[0].stream} {overflow.apart[0].quantity}" in suspects
    assert "to tell them apart" in suspect_lines(overflow)[1]
    record = survey_record([overflow])["rounds"][0]
    assert len(record["suspects"]["readings"]) == len(suspects) and record["tells_apart"]


def test_a_unit_that_was_mistaken_is_named(tmp_path):
    found = findings_of(read_round(table(tmp_path, "slip", wire_shower_of_flow=10.0), load("facial-roll")))
    assert found.suspected is not None
    slips = {" ".join(found.rows[s.place].key): s.slip for s in found.suspected.suspects}
    assert slips["wire_shower flow"] == 10.0
    assert "a factor 10?" in suspect_lines(found)[0]


def test_a_round_that_agrees_has_no_suspect(tmp_path):
    found = findings_of(read_round(table(tmp_path, "right"), load("facial-roll")))
    assert found.passed and found.suspected is None and found.apart == ()


def test_between_two_rounds_that_differ_little_nothing_is_claimed_and_that_is_told(tmp_path):
    machine = load("facial-roll")
    first, second = (table(tmp_path, n, **m) for n, m in (("a", {}), ("b", {"thick_of_flow": 1.008})))
    moved = changes(*(findings_of(read_round(t, machine)) for t in (first, second)))
    assert moved[0].together > 0.05 and not any(c.claimed for c in moved)
    said = ran("survey", str(first), str(second), "--machine", "facial-roll")
    assert "Nothing changed beyond chance" in said


def test_a_real_change_is_claimed_with_what_hangs_on_it(tmp_path):
    machine = load("facial-roll")
    first, second = (table(tmp_path, n, **m) for n, m in (("a", {}), ("b", {"wire_shower_of_flow": 1.4})))
    moved = changes(*(findings_of(read_round(t, machine)) for t in (first, second)))
    assert moved[0].together < 0.05
    assert "wire_shower flow" in {f"{c.stream} {c.quantity}" for c in moved if c.claimed}


def test_independent_rows_are_as_many_as_a_map_has_rank():
    matrix = np.array([[1.0, 0, 0], [0, 1, 0], [1, 1, 0], [0, 0, 1e-9]])
    chosen = independent(matrix)
    assert len(chosen) == 3 and 3 in chosen
    assert np.linalg.matrix_rank(matrix[chosen] / np.linalg.norm(matrix[chosen], axis=1)[:, None]) == 3


def test_a_reading_a_hundred_times_too_small_is_said_to_be_in_another_unit(tmp_path):
    lines = table_path("facial-roll").read_text(encoding="utf-8").splitlines()
    table = tmp_path / "slip.csv"
    table.write_text("\n".join(line.replace("consistency,2.99,", "consistency,0.0299,") for line in lines) + "\n")
    found = findings_of(read_round(table, load("facial-roll")))
    assert not found.doubts, "no set explains it, and a second reading is wrong as well"
    (one,) = slipped(found.round, found.reconciliation)
    assert found.rows[one.place].key == ("thick", "consistency") and one.factor == pytest.approx(0.01)
