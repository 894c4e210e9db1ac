"""A population put to use: the columns with which a machine is run, its own or one beside it.

Inputs that two machines have alike are drawn once. A part that only one of them has is linked by its group. Constants
found at one setting move with the settings by their response exponents.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.case.values import FileGiven
from thinstock.errors import Refused
from thinstock.evidence.distributions import Distribution
from thinstock.evidence.links import groups_of, link_correlation, rewet_addresses
from thinstock.evidence.machine_inputs import held_addresses, input_distributions
from thinstock.evidence.population import AS_READ, DRAWS, Population, Streams, population_of, value_of
from thinstock.evidence.responses import PREFIX, responded, settings_of
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.words import address
from thinstock.words.fault import fault_in


def evidence_file(machine: Machine) -> Path | None:
    """The evidence that a machine's file names, beside that file; None where it names none."""
    if not machine.evidence:
        return None
    origin = next((g.origin for g in machine.given.values() if isinstance(g, FileGiven)), None)
    if origin is None or origin.path is None:
        raise Refused(fault_in("evidence.apply.no_folder", "evidence", machine.evidence))
    return Path(origin.path).parent / machine.evidence


def population(machine: Machine, *, draws: int = DRAWS, seed: int = 1) -> Population:
    """The population of a machine: as read where its file names evidence, else as it runs or as believed."""
    file = evidence_file(machine)
    known = None
    if file is not None:
        from thinstock.evidence.file import read_evidence

        known = read_evidence(file, machine)
    return population_of(machine, draws=draws, seed=seed, evidence=known)


def columns(drawn: Population, machine: Machine) -> dict[str, Array]:
    """Values at the addresses of the population's own machine, as it stands now, one for each draw."""
    known = dict(machine.addresses())
    values = {a: v for a, v in drawn.values().items() if a.startswith(PREFIX) or known.get(a) is not None}
    return _for_run(drawn, machine, values)


def beside(drawn: Population, before: Machine, after: Machine, *, link: float | None = None) -> dict[str, Array]:
    """The same for a machine compared with it: what both have alike has the same draws.

    `link` is the correlation of the rewets of presses that differ, where it is to be another than by their groups.
    """
    own = input_distributions(after)
    passed = drawn.values()
    filed = dict(before.addresses())
    values: dict[str, Array] = {a: v for a, v in passed.items() if a.startswith(PREFIX)}
    known = dict(after.addresses())
    new = [one for one in own if one not in passed or _other_press(before, after, one)]
    for one, column in passed.items():
        if one.startswith(PREFIX) or known.get(one) is None or one in new:
            continue
        values[one] = _passed(drawn, one, column, filed.get(one), known[one], after, own)
    scores = _new_scores(drawn, before, after, new, link)
    values |= {one: value_of(own[one], scores[one]) for one in new}
    return _for_run(drawn, after, values)


def _passed(
    drawn: Population, one: str, column: Array, before: Any, now: Any, after: Machine, own: Mapping[str, Distribution]
) -> Array:
    """One input that both machines have: the same draws, about the value of the other machine where that says one."""
    if before is not None and float(before) == float(now):
        return column
    said = after.given.get(one)
    if drawn.origin == AS_READ and (said is None or said.line is None) and _constant(drawn, one):
        return column
    score = drawn.scores[:, drawn.addresses.index(one)]
    if drawn.origin == AS_READ and before is not None:
        from thinstock.evidence.file import Moved

        return value_of(Moved(drawn.distributions[one], float(before), float(now)), score)
    return value_of(own[one], score) if one in own else np.full(drawn.draws, float(now))


def _constant(drawn: Population, one: str) -> bool:
    return str(drawn.record.get("roles", {}).get(one, "constant")) == "constant"


def _other_press(before: Machine, after: Machine, one: str) -> bool:
    """Whether an address of the press names another nip on the other machine."""
    if not one.startswith("press.nip."):
        return False
    return one.split(".")[2] not in {where.split(".")[2] for where in rewet_addresses(before)}


def _new_scores(
    drawn: Population, before: Machine, after: Machine, new: list[str], link: float | None
) -> dict[str, Array]:
    """Scores of inputs that only the other machine has; parts of another name are matched from the Yankee backwards.

    What is believed of a slot is the same web and felt on both machines: the same draws. Rewets are linked by their
    groups.
    """
    count = drawn.draws if drawn.rows is None else int(drawn.rows.max()) + 1
    raw = Streams(drawn.seed, new).more(count)
    rows = slice(None) if drawn.rows is None else drawn.rows.astype(int)
    scores = {one: raw[rows, k] for k, one in enumerate(new)}
    for old, now in slots_matched(before, after):
        for one in [one for one in new if one.startswith(f"{now}.")]:
            same = old + one.removeprefix(now)
            if same in drawn.addresses:
                scores[one] = drawn.scores[:, drawn.addresses.index(same)]
    pairs = zip(reversed(rewet_addresses(before)), reversed(rewet_addresses(after)), strict=False)
    groups = {**groups_of(before), **groups_of(after)}
    for old, now in pairs:
        if now in scores and old in drawn.addresses:
            r = link_correlation(groups_of(before)[old], groups[now]) if link is None else link
            known = drawn.scores[:, drawn.addresses.index(old)]
            scores[now] = r * known + math.sqrt(max(0.0, 1.0 - r * r)) * scores[now]
    return scores


def slots_matched(before: Machine, after: Machine) -> list[tuple[str, str]]:
    """Slots that stand at the same place of both machines under other names: their addresses, old and new."""
    found = []
    for carrier in {slot.carrier for slot in after.vacuum.slot}:
        ways = [
            [
                f"vacuum.slot.{name}"
                for name, slot in zip(address.item_names(one.vacuum.slot), one.vacuum.slot, strict=True)
                if slot.carrier == carrier
            ][::-1]
            for one in (before, after)
        ]
        found += [(old, now) for old, now in zip(*ways, strict=False) if old != now]
    return sorted(found)


def _for_run(drawn: Population, machine: Machine, values: Mapping[str, Array]) -> dict[str, Array]:
    """Columns for a run: constants at these settings, without what the run finds by itself."""
    found = responded(values, settings_of(machine), drawn.record.get("surveyed", {}))
    return {one: column for one, column in found.items() if one not in held_addresses(machine)}
