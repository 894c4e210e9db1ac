"""A machine of which only a few figures are known: the same posterior from one to five readings, without a survey.

That the machine dries its sheet as its grade asks is a reading as well: without one of the dryness at the reel, the
grade's own is taken with the uncertainty that such a dryness has.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from thinstock.evidence.beliefs import belief, standard_uncertainty
from thinstock.evidence.population import Population
from thinstock.evidence.settled import DRAWS
from thinstock.machine.line import Machine
from thinstock.survey.faults import SurveyError, nearest
from thinstock.survey.machine_calibration import _covariance, _models, _readings
from thinstock.survey.machine_network import network_of_machine
from thinstock.survey.posterior import Tell, population_after, posterior, readings_of
from thinstock.survey.round import BESIDE, Round, points_of, round_of
from thinstock.survey.table import Reading, Survey, read_survey
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q

MOST = 5
_SAID = re.compile(r"^\s*(?P<what>[A-Za-z_][A-Za-z_: ]*?)\s+(?P<value>[-+]?[\d.]+(?:[eE][-+]?\d+)?)\s*(?P<unit>.*?)\s*"
                   r"(?:±|\+/-|\+-)\s*(?P<spread>[\d.]+(?:[eE][-+]?\d+)?)\s*(?P<of>.*?)\s*$")  # fmt: skip
QUANTITIES = ("flow", "consistency", "dryness", "moisture", "solids", "temperature", "humidity", "power", "position")


def said(machine: Machine, texts: Sequence[str]) -> Survey:
    """Readings as a person says them: "hood air 380 degC ± 20 K", "web_pressed dryness 40 % ± 1 points".

    The number behind ± is one standard uncertainty, in the unit of the value or as "% of value".
    """
    import csv
    import tempfile
    from pathlib import Path

    faults = []
    rows = []
    names = points_of(machine, network_of_machine(machine))
    if not 1 <= len(texts) <= MOST:
        raise SurveyError([fault_in("survey.conditioned.count", "--reading", str(len(texts)), most=MOST)])
    for text in texts:
        found = _SAID.match(text)
        stream, quantity = _named(found["what"], names) if found else ("", "")
        if not found or not stream or not quantity:
            near = nearest(text.split()[0], names) if text.split() else ""
            faults.append(fault_in("survey.conditioned.reading", "--reading", repr(text), near=near))
            continue
        spread = f"{found['spread']} % of value" if "of value" in found["of"] else found["spread"]
        rows.append((stream, quantity, found["value"], found["unit"], spread, "1", "", "", ""))
    if faults:
        raise SurveyError(faults)
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "readings.csv"
        with open(table, "w", encoding="utf-8", newline="") as opened:
            writer = csv.writer(opened)
            writer.writerow(
                ("stream", "quantity", "value", "unit", "uncertainty", "coverage_factor", "method", "group", "note")
            )
            writer.writerows(rows)
        return replace(read_survey(table, streams=names), origin=None)


def _named(what: str, names: Sequence[str]) -> tuple[str, str]:
    """(Stream, quantity) of what was read; a point beside the balance has its first quantity where none is said."""
    words = what.split()
    for cut in range(len(words), 0, -1):
        stream = next((n for n in ("_".join(words[:cut]), " ".join(words[:cut])) if n in names), "")
        if stream:
            rest = " ".join(words[cut:])
            return stream, rest if rest in QUANTITIES or ":" in rest else BESIDE.get(stream, ("",))[
                0
            ] if not rest else ""
    return "", ""


def condition(
    machine: Machine, survey: Survey, *, draws: int = DRAWS, seed: int = 1, tell: Tell | None = None
) -> Population:
    """What a few readings leave of all inputs of a machine that dries its sheet as its grade asks.

    Parameters
    ----------
    machine : Machine
        One case.
    survey : Survey
        One to five readings, as `said` or `read_survey` give them.
    draws, seed : of the population.
    tell : callable, optional
        Is told (share done, words).

    Source: KITANIDIS_1995, COTTER_2013. Status: published.
    """
    readings = list(survey.readings)
    if not any((r.stream, r.quantity) == ("reel", "consistency") for r in readings):
        readings.append(_grade(machine))
    round_: Round = round_of(replace(survey, readings=tuple(readings)), machine)
    models, kept, unused = _models([round_], (None,))
    if unused:
        raise SurveyError([fault_in("survey.conditioned.unused", r.stream, why) for r, why in unused])
    model = readings_of([round_], [m for m, _ in models], _readings(kept), _covariance(kept))
    scores, record = posterior(model, draws=draws, seed=seed, tell=tell)
    found = population_after([round_], model, scores, record, seed=seed)
    return replace(found, record={**found.record, "made_by": "condition"})


def _grade(machine: Machine) -> Reading:
    """The dryness that the grade asks for, as the machine makes it."""
    about = machine.declaration("grade.reel_dryness").about
    assert isinstance(about, Q)
    row = belief(about)
    value = float(machine.grade.reel_dryness)
    spread = standard_uncertainty(row, value) if row is not None else 0.003
    return Reading("reel", "consistency", value, spread, method=phrase("survey.conditioned.runs"))
