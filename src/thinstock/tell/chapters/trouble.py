"""The water circuits with published ranges beside them, and what to look at when something shows."""

from __future__ import annotations

from thinstock.studies.benchmarks import benchmarks
from thinstock.tell import benchmarks as beside
from thinstock.tell import circuits
from thinstock.tell import trouble as symptoms
from thinstock.tell.blocks import Chapter
from thinstock.tell.run import limits_at
from thinstock.tell.teller import Teller
from thinstock.words.phrase import phrase


def water_circuits(teller: Teller) -> Chapter:
    """The same blocks as on a terminal and on the machine page."""
    told = [*circuits.told(teller.result, teller.edge), *beside.told(benchmarks(teller.machine, result=teller.result))]
    return Chapter(key="circuits", title=phrase("handout.title.circuits"), blocks=tuple(told))


def trouble(teller: Teller) -> Chapter:
    """Every symptom, cautions first."""
    limits = limits_at(teller.machine, teller.result)
    told = tuple(symptoms.all_told(teller.result, limits, teller.edge))
    return Chapter(key="trouble", title=phrase("handout.title.trouble"), blocks=told)
