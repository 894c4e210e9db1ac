"""What a reconciled round says: before and after, what does not close, which readings are doubtful, what to read next.

Facts in an order in which a surveyor asks for them; the words for a screen are the command's. A passed test does not
prove the readings right, and where several sets explain a misfit equally well they are told as equals.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from thinstock.survey.balance import Key, Reconciliation, reconcile
from thinstock.survey.faults import NotConverged, NothingToCheck, SurveyError, nothing_checked, refuse
from thinstock.survey.network import Network
from thinstock.survey.next_reading import Next, next_readings_of
from thinstock.survey.planning import detectable_errors
from thinstock.survey.round import Round
from thinstock.survey.suspected import Apart, Suspected, suspected, tells_apart
from thinstock.survey.suspects import CulpritSet, critical_score, culprit_readings
from thinstock.survey.table import Reading, Survey
from thinstock.words.note import Note, in_order
from thinstock.words.phrase import phrase

SIGNIFICANCE = 0.05
POWER = 0.8
LARGEST_SET = 3

Read = tuple[float, list[tuple[int, float]]]
"""A value from readings alone, with its slope by the number of each."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Row:
    """One reading before and after."""

    number: int
    """Place in the table, from 1; 0 for what the heat balance adds."""
    reading: Reading
    value: float
    standard_uncertainty: float
    score: float
    """(Reading - reconciled) / its standard deviation; nan where nothing checks it."""
    redundancy: float
    detectable: float
    """Smallest error with which four rounds of five fail their test, as a share of the reading; inf: none."""
    doubtful: bool

    @property
    def key(self) -> Key:
        return self.reading.stream, self.reading.quantity

    @property
    def adjustment(self) -> float:
        """Reconciled - reading, in standard uncertainties of the reading."""
        return (self.value - self.reading.value) / self.reading.standard_uncertainty


@dataclass(frozen=True, kw_only=True)
class Imbalance:
    """A balance of the readings as they stand, before anything is adjusted."""

    node: str
    """The nodes it is drawn around."""
    component: str
    missing: float
    """In - out, kg/s."""
    spread: float
    """Its standard uncertainty, kg/s."""
    streams: tuple[str, ...]

    @property
    def score(self) -> float:
        """Over its standard uncertainty."""
        return self.missing / self.spread


@dataclass(frozen=True, kw_only=True, eq=False)
class Doubt:
    """Sets of readings that explain the misfit equally well."""

    sets: tuple[tuple[int, ...], ...]
    """Numbers of rows."""
    biases: tuple[tuple[float, ...], ...]
    """Reading - what the rest says, SI."""
    probability: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Findings:
    """Everything one round says."""

    round: Round
    reconciliation: Reconciliation
    rows: tuple[Row, ...]
    doubts: tuple[Doubt, ...]
    """Best first; empty where the test passes or nothing explains the misfit."""
    set_aside: tuple[Key, ...]
    suspected: Suspected | None = None
    """Who may be wrong if one reading is; nothing where the test passes or no single reading explains it."""

    @property
    def passed(self) -> bool:
        """True where the readings agree within their stated uncertainties, as far as they can be checked."""
        result = self.reconciliation.result
        return not result.probability < SIGNIFICANCE

    @property
    def critical(self) -> float:
        """Score that the largest of these readings passes by chance once in twenty rounds."""
        count = sum(1 for r in self.rows if r.redundancy > 1e-10)
        return float(critical_score(max(count, 1), SIGNIFICANCE))

    @cached_property
    def imbalances(self) -> tuple[Imbalance, ...]:
        """Balances whose readings alone do not close, worst first (only those all of whose terms were read)."""
        return tuple(_imbalances(self.reconciliation))

    @cached_property
    def next_readings(self) -> tuple[Next, ...]:
        """What to read next time, best first."""
        return tuple(next_readings_of(self.round, self.reconciliation))

    @cached_property
    def apart(self) -> tuple[Apart, ...]:
        """What to read to tell the suspects apart, best first."""
        return () if self.suspected is None else tells_apart(self.round, self.reconciliation, self.suspected.suspects)

    @cached_property
    def notes(self) -> tuple[Note, ...]:
        """What to be wary of."""
        return tuple(in_order([*_round_notes(self), *self.reconciliation.notes]))

    @cached_property
    def water(self) -> tuple[tuple[str, str, str, float, float], ...]:
        """Streams with where they come from and go to: reconciled water and its standard uncertainty, kg/s."""
        return tuple(_water(self))


def findings_of(round_: Round, *, without: Iterable[str] = ()) -> Findings:
    """Reconcile a round; `without` names readings to set aside ("jet flow", or their numbers in the table).

    Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
    """
    asked = tuple(without)
    balance, numbers, aside = _set_aside(round_, asked)
    found = _reconciled(round_, balance)
    sets = _sets(found)
    alone = _alone(found, sets)
    blamed = {i for s in sets if s.group == 0 for i in s.members}
    blamed |= {s.place for s in alone.suspects} if alone is not None else set()
    able = detectable_errors(found, SIGNIFICANCE, POWER)
    rows = []
    for i, (reading, number) in enumerate(zip(balance.readings, numbers, strict=True)):
        key = (reading.stream, reading.quantity)
        rows.append(
            Row(
                number=number,
                reading=reading,
                value=found.value[key],
                standard_uncertainty=found.standard_uncertainty[key],
                score=float(found.score[i]),
                redundancy=float(found.redundancy[i]),
                detectable=float(able[i]),
                doubtful=i in blamed,
            )
        )
    return Findings(
        round=round_,
        reconciliation=found,
        rows=tuple(rows),
        doubts=_doubts(sets, numbers),
        set_aside=aside,
        suspected=alone,
    )


def _alone(found: Reconciliation, sets: tuple[CulpritSet, ...]) -> Suspected | None:
    """The suspects, where the test fails and one reading alone may explain it."""
    if found.result.degrees_of_freedom < 2 or not any(len(s.members) == 1 for s in sets):
        return None
    return suspected(found)


def _set_aside(round_: Round, asked: tuple[str, ...]) -> tuple[Survey, list[int], tuple[Key, ...]]:
    """The survey of the balance without some readings, the numbers of those left, and what was set aside."""
    inside = round_.network.network.streams
    numbers = [i for i, r in enumerate(round_.survey.readings, start=1) if r.stream in inside]
    numbers += [0] * (len(round_.balance.readings) - len(numbers))
    drop: set[int] = set()
    for text in asked:
        rows = enumerate(zip(round_.balance.readings, numbers, strict=True))
        places = [i for i, (r, n) in rows if text.strip() in _names(r, n)]
        if not places:
            known = ", ".join(f"{r.stream} {r.given.get('quantity', r.quantity)}" for r in round_.balance.readings[:6])
            raise refuse(
                "--without",
                text,
                phrase("survey.findings.no_reading_balance"),
                phrase("survey.findings.write_its_number_or_for", known=known),
            )
        drop |= set(places)
    keep = [i for i in range(len(numbers)) if i not in drop]
    where = {old: new for new, old in enumerate(keep)}
    shared = {(where[i], where[j]): c for (i, j), c in round_.balance.shared.items() if i in where and j in where}
    readings = tuple(round_.balance.readings[i] for i in keep)
    aside = tuple((round_.balance.readings[i].stream, round_.balance.readings[i].quantity) for i in sorted(drop))
    return replace(round_.balance, readings=readings, shared=shared), [numbers[i] for i in keep], aside


def _names(reading: Reading, number: int) -> tuple[str, ...]:
    """What a reading may be called."""
    if number == 0:
        return ("heat balance", f"{reading.stream} {reading.quantity}")
    given = str(reading.given.get("quantity", ""))
    return (str(number), f"{reading.stream} {reading.quantity}", f"{reading.stream} {given}")


def _reconciled(round_: Round, balance: Survey) -> Reconciliation:
    """The reconciliation; a round that nothing checks is refused, with the readings that would check it."""
    network = round_.network.network
    settled = True
    try:
        found = reconcile(network, balance, start=round_.network.start)
        if found.result.degrees_of_freedom > 0:
            return found
    except NothingToCheck:
        pass
    except NotConverged:
        settled = False
    seen = {(r.stream, r.quantity) for r in balance.readings}
    missing = [f"{s} {q}" for s, q in ANCHORS if (s, q) not in seen and s in network.streams][:4]
    remedy = phrase("survey.findings.add_some", missing=", ".join(missing)) if missing else ""
    count = phrase("survey.findings.balance", readings=len(balance.readings))
    if not settled:
        raise refuse("readings", count, phrase("survey.findings.does_not_settle"), remedy)
    raise nothing_checked(remedy, value=count, more=phrase("survey.findings.every_value_read_once_no"))


ANCHORS = (
    ("reel", "solids"), ("thick", "flow"), ("thick", "consistency"), ("jet", "flow"), ("jet", "consistency"),
    ("overflow", "flow"), ("overflow", "consistency"), ("fan", "flow"), ("reject", "flow"),
)  # fmt: skip
"""Readings on which the checks of a wet end hang."""


def _sets(found: Reconciliation) -> tuple[CulpritSet, ...]:
    for largest in range(LARGEST_SET, 0, -1):
        try:
            return culprit_readings(found, largest=largest, significance=SIGNIFICANCE)
        except SurveyError as error:
            if error.faults[0].field != "largest":
                raise
    return ()


def _doubts(sets: tuple[CulpritSet, ...], numbers: list[int]) -> tuple[Doubt, ...]:
    out = []
    for group in sorted({s.group for s in sets}):
        alike = [s for s in sets if s.group == group]
        out.append(
            Doubt(
                sets=tuple(s.members for s in alike),
                biases=tuple(tuple(float(b) for b in s.bias) for s in alike),
                probability=alike[0].probability,
            )
        )
    return tuple(out)


def _imbalances(found: Reconciliation) -> list[Imbalance]:
    """Flow and fibre over every envelope all of whose streams were read, from the readings alone."""
    read = _read_once(found)
    covariance = found.survey.covariance()
    out = []
    for nodes, border in _envelopes(found.network):
        for component in ("flow", "fibre"):
            terms = [(sign, _amount(read, found.network.clean, s, component)) for s, sign in border]
            if any(t is None for _, t in terms):
                continue
            missing, slope = 0.0, np.zeros(len(found.survey.readings))
            for sign, term in terms:
                assert term is not None
                missing += sign * term[0]
                for i, d in term[1]:
                    slope[i] += sign * d
            spread = float(np.sqrt(slope @ covariance @ slope))
            if spread > 0.0:
                node = ", ".join(nodes)
                out.append(
                    Imbalance(
                        node=node,
                        component=component,
                        missing=missing,
                        spread=spread,
                        streams=tuple(s for s, _ in border),
                    )
                )
    return sorted(out, key=lambda b: -abs(b.score))


def _envelopes(network: Network) -> list[tuple[tuple[str, ...], tuple[tuple[str, float], ...]]]:
    """Groups of nodes that hang together, with the streams that cross their border (in: +1, out: -1)."""
    nodes = list(network.nodes)
    incidence = network.incidence()
    linked = np.abs(incidence) @ np.abs(incidence).T > 0
    seen: dict[frozenset[str], tuple[tuple[str, ...], tuple[tuple[str, float], ...]]] = {}
    groups = [frozenset({i}) for i in range(len(nodes))]
    known = set(groups)
    while groups:
        group = groups.pop()
        members = sorted(group)
        crossing = incidence[members].sum(axis=0)
        border = tuple((network.streams[j], float(crossing[j])) for j in np.flatnonzero(crossing))
        key = frozenset(s for s, _ in border)
        if key not in seen or len(members) < len(seen[key][0]):
            seen[key] = (tuple(nodes[i] for i in members), border)
        for other in np.flatnonzero(linked[members].any(axis=0)):
            larger = group | {int(other)}
            if larger not in known:
                known.add(larger)
                groups.append(larger)
    return list(seen.values())


def _read_once(found: Reconciliation) -> dict[Key, Read]:
    """Each quantity read: its mean over readings, with the share of each reading."""
    groups: dict[Key, list[int]] = {}
    for i, r in enumerate(found.survey.readings):
        groups.setdefault((r.stream, r.quantity), []).append(i)
    return {
        key: (
            float(np.mean([found.survey.readings[i].value for i in places])),
            [(i, 1.0 / len(places)) for i in places],
        )
        for key, places in groups.items()
    }


def _amount(read: Mapping[Key, Read], clean: Any, stream: str, component: str) -> Read | None:
    """Flow or fibre of one stream with its slopes by reading number; None where it was not read."""
    flow, total, solids = (read.get((stream, q)) for q in ("flow", "consistency", "solids"))
    if component == "flow":
        if flow is None and solids is not None and total is not None:
            slopes = [(i, d / total[0]) for i, d in solids[1]] + [
                (i, -d * solids[0] / total[0] ** 2) for i, d in total[1]
            ]
            return solids[0] / total[0], slopes
        return flow
    if stream in clean:
        return 0.0, []
    if solids is not None:
        return solids
    if flow is None or total is None:
        return None
    slopes = [(i, d * total[0]) for i, d in flow[1]] + [(i, d * flow[0]) for i, d in total[1]]
    return flow[0] * total[0], slopes


def _round_notes(findings: Findings) -> list[Note]:
    notes = []
    scenario = findings.round.survey.heading.get("scenario", "")
    if scenario:
        notes.append(Note(part="survey", level="limit", text=scenario))
    if free := findings.round.network.free_of_fibre:
        notes.append(Note(part="balance", level="assumed", text=phrase("remarks.free_of_fibre", list=", ".join(free))))
    if (heat := findings.round.heat) is not None:
        text = phrase("remarks.by_heat", evaporation=f"{heat.evaporation:.4g}",
                      spread=f"{heat.standard_uncertainty:.2g}", part=heat.parts[0][0])  # fmt: skip
        notes.append(Note(part="vapour flow", level="information", text=text))
    return notes


def _water(findings: Findings) -> list[tuple[str, str, str, float, float]]:
    found = findings.reconciliation
    network = found.network
    source: dict[str, str] = {}
    sink: dict[str, str] = {}
    for node, (inward, outward) in network.nodes.items():
        source |= dict.fromkeys(outward, node)
        sink |= dict.fromkeys(inward, node)
    rows = []
    for stream in network.streams:
        flow = found.value[stream, "flow"]
        total = sum(found.value[stream, f"consistency:{network.components[k]}"] for k in network.solids)
        start = findings.round.network.start
        if not np.isfinite(total):
            total = sum(start[stream, f"consistency:{network.components[k]}"] for k in network.solids)
        spread = found.standard_uncertainty[stream, "flow"] * (1.0 - total)
        rows.append((stream, source.get(stream, "outside"), sink.get(stream, "outside"), flow * (1.0 - total), spread))
    return rows
