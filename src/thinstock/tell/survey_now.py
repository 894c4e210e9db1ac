"""What a survey says of the machine, for its report: inputs that were told, what goes together, the headlines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thinstock.evidence.cases import run_cases
from thinstock.evidence.file import told_by
from thinstock.evidence.outputs import label
from thinstock.evidence.population import AS_READ, Population, runs, value_of
from thinstock.machine.numbers import headline, number
from thinstock.tell.blocks import Block, Column, Table, head, note, points, words
from thinstock.words import nomenclature, units
from thinstock.words.figures import Edge, figure
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q

if TYPE_CHECKING:
    from thinstock.machine.line import Machine

PAIRS = 12
"""Correlations told."""
ENDS = (0.05, 0.5, 0.95)


def edge_of(machine: Machine) -> Edge:
    """Units of the mill at this machine."""
    return Edge(unit_set="mill", air=float(machine.site.atmospheric_pressure()))


def told_inputs(machine: Machine, drawn: Population) -> list[Block]:
    """Inputs that the readings told, before and after, and the largest correlations among all; nothing as believed."""
    if drawn.origin != AS_READ:
        return [words(phrase("survey.report.no_constants"))]
    values = drawn.values()
    rows = []
    for k, where in enumerate(drawn.addresses):
        told = told_by(float(drawn.scores[:, k].std(ddof=1)))
        if told == "as judged":
            continue
        before = value_of(drawn.distributions[where], _scores())
        rows.append((where, _unit(machine, where), _span(machine, where, before),
                     _span(machine, where, np.quantile(values[where], ENDS)), told))  # fmt: skip
    columns = tuple(
        Column(head=phrase(f"survey.report.{key}"), sort="end" if key in ("believed", "now_read") else "word")
        for key in ("input", "unit", "believed", "now_read", "told")
    )
    table = Table(columns=columns, rows=tuple(rows), small=True)
    return [table, head(phrase("survey.report.together")), points(_pairs(drawn)), note(phrase("survey.report.ends"))]


def _scores() -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    from scipy.special import ndtri

    return np.asarray(ndtri(np.array(ENDS)), dtype=np.float64)


def _pairs(drawn: Population) -> list[str]:
    """The largest correlations, largest first."""
    together = np.atleast_2d(np.corrcoef(drawn.scores.T))
    first, second = np.triu_indices(len(drawn.addresses), 1)
    order = np.argsort(-np.abs(together[first, second]))[:PAIRS]
    return [
        phrase("survey.report.pair", one=drawn.addresses[first[k]], other=drawn.addresses[second[k]],
               r=f"{together[first[k], second[k]]:+.2f}".replace("-", "−"))
        for k in order
    ]  # fmt: skip


def headlines_now(machine: Machine, drawn: Population) -> list[Block]:
    """The machine's headlines over its draws: median and 5 to 95 %, with the population they are of."""
    known = machine.run(fast=True).values
    names = tuple(n for n in headline() if isinstance(known.get(n), float) and np.isfinite(known[n]))
    cases = run_cases(machine, drawn.values(), names, margins=True)
    good = np.asarray(cases.usable if drawn.origin != AS_READ else runs(cases))
    rows = []
    edge = edge_of(machine)
    for name in names:
        column = cases[name][good & np.isfinite(cases[name])]
        if column.size < 2:
            continue
        about = number(name)
        low, middle, high = (edge.figure(about.word, v, about.digits) for v in np.quantile(column, ENDS))
        rows.append((label(name), edge.unit(about.word), middle, phrase("survey.report.from_to", low=low, high=high)))
    columns = tuple(
        Column(head=phrase(f"survey.report.{key}"), sort="end" if key in ("median", "nine_of_ten") else "word")
        for key in ("number", "unit", "median", "nine_of_ten")
    )
    of = phrase("survey.report.population", origin=drawn.origin, draws=int(good.sum()), all=drawn.draws)
    return [words(of), Table(columns=columns, rows=tuple(rows), small=True)]


def _span(machine: Machine, where: str, ends: np.ndarray[tuple[int], np.dtype[np.float64]]) -> str:
    size = _size(machine, where)[1]
    low, middle, high = (figure(float(v) / size, 3) for v in ends)
    return phrase("history.drift.span", middle=middle, low=low, high=high)


def _unit(machine: Machine, where: str) -> str:
    return _size(machine, where)[0]


def _size(machine: Machine, where: str) -> tuple[str, float]:
    """Edge unit of an input and its size in SI; kelvins stay kelvins."""
    about = machine.declaration(where).about if where in dict(machine.addresses()) else None
    if not isinstance(about, Q):
        return "", 1.0
    unit = about.unit or units.edge_unit(about.word, "mill")
    kind = nomenclature.word(about.word).kind
    one = units.find(unit, None if kind in nomenclature.PLAIN_KINDS else kind) if unit and unit != "1" else None
    return ("", 1.0) if one is None or one.offset or one.gauge else (one.name, one.factor)
