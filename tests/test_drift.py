"""Constants over many rounds: the judgement taken out again, verdicts, and a drift that was put in is found."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from invented_survey import ROWS, as_it_stands, simulated
from thinstock.case import load
from thinstock.cli import status
from thinstock.drawing.history_charts import drift_rows
from thinstock.survey import SurveyError, drift_of, random_walk_mixed, read_round, usual_walk, write_survey
from thinstock.survey.drift import Drift, by_readings, time_of
from thinstock.survey.machine_constants import Unknown
from thinstock.tell.drift import drifts_record, drifts_told
from thinstock.tell.terminal import page

HOOD = "hood.hood_factor"
FACTORS = (0.60, 0.66, 0.73, 0.80)
DRYER = ("thick", "fan", "jet", "reel", "steam", "gas", "exhaust", "shell", "hood_air", "web_formed", "web_vacuum")


def unknown(**more: Any) -> Unknown:
    given = {"address": HOOD, "label": "hood factor", "centre": 0.62, "spread": 0.09, "log": True, "low": 0, "high": 9}
    return Unknown(**(given | more))


@pytest.mark.parametrize("log", [True, False])
def test_what_the_fit_began_from_is_taken_out_again(log):
    one = unknown(log=log)
    read, u = 1.3, 0.6  # by the readings alone, in units of the judgement
    z, both = read / (1 + u * u), u / np.sqrt(1 + u * u)
    value = float(one.value(z))
    found: Any = SimpleNamespace(unknown=one, value=value, standard_uncertainty=one.si(both, value))
    assert_allclose(by_readings(found), [read, u], rtol=1e-12)
    free: Any = SimpleNamespace(
        unknown=unknown(log=log, bound=False), value=value, standard_uncertainty=one.si(u, value)
    )
    assert_allclose(by_readings(free), [z, u], rtol=1e-12)


@pytest.mark.parametrize(
    ("probability", "still", "verdict"), [(0.01, 0.99, "drifts"), (0.4, 0.95, "still"), (0.4, 0.5, "open")]
)
def test_a_constant_drifts_or_does_not_or_it_cannot_be_said(probability, still, verdict):
    none = np.zeros(3)
    made = Drift(unknown=unknown(), time=none, value=none, value_low=none, value_high=none, level=none, low=none,
                 high=none, walk=0.0, probability=probability, still=still)  # fmt: skip
    assert made.verdict == verdict


def test_the_band_of_the_level_covers_a_walk_as_often_as_stated():
    generator = np.random.default_rng(12)
    time, u = np.arange(12.0), np.full(12, 0.1)
    inside = []
    for _ in range(60):
        level = np.cumsum(0.1 * generator.standard_normal(12))
        found, u, _, _ = random_walk_mixed(
            level + 0.1 * generator.standard_normal(12),
            np.full(12, 0.1),
            time,
            scale=usual_walk(np.full(12, 0.1), time),
        )
        inside.append(np.mean(np.abs(found - level) < 1.6448536 * u))
    assert 0.85 < np.mean(inside) < 0.95


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rounds")
    machine = load("facial-roll")
    rows = [r for r in ROWS if r[0] in DRYER]
    places = []
    for k, factor in enumerate(FACTORS):
        real = as_it_stands(machine, {HOOD: factor})
        survey = simulated(real, 100 + k, rows, {"survey": f"month {k}", "date": f"2026-0{k + 1}-15"})
        write_survey(survey, folder / f"{k}.csv")
        places.append(folder / f"{k}.csv")
    return places


@pytest.mark.slow
def test_a_constant_that_drifts_is_found_and_its_level_followed(tables):
    machine = load("facial-roll")
    found = drift_of([read_round(t, machine) for t in reversed(tables)], despite_failed_test=True)
    assert found.rounds == ("month 0", "month 1", "month 2", "month 3")
    by_address = {d.unknown.address: d for d in found.drifts}
    hood = by_address[HOOD]
    assert hood.verdict == "drifts"
    assert np.all(np.diff(hood.level) > 0.0)
    assert np.sum((hood.low < FACTORS) & (hood.high > FACTORS)) >= 3
    assert by_address["yankee.contact_level"].verdict != "drifts"
    text = str(page(drifts_told(found, machine)).lines)
    assert "drifts" in text and "2026-01-15 12:00" in text
    rows = drift_rows(found)
    assert len(rows) == 2 * sum(d.time.size for d in found.drifts)
    assert any("hood factor: drifts" in r["name"] for r in rows)
    record = drifts_record(found)
    assert [len(c["level"]) for c in record["constants"]] == [d.time.size for d in found.drifts]


def test_rounds_without_a_date_or_too_few_of_them_are_refused(tables, tmp_path, capsys):
    machine = load("facial-roll")
    rounds = [read_round(t, machine) for t in tables]
    assert time_of(rounds[1]) - time_of(rounds[0]) == 31 * 86_400.0
    with pytest.raises(SurveyError, match="three rounds"):
        drift_of(rounds[:2])
    with pytest.raises(SurveyError, match="same time"):
        drift_of([rounds[0], rounds[0], rounds[1]])
    undated = tmp_path / "undated.csv"
    undated.write_text(tables[0].read_text(encoding="utf-8").replace("2026-01-15", "spring"), encoding="utf-8")
    assert status(["drift", str(undated), *map(str, tables[1:]), "--machine", "facial-roll"]) == 1
    said = capsys.readouterr().err
    assert "undated.csv: date = spring" in said and "# date: 2026-03-29" in said
