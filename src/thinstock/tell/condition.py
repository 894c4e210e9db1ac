"""What a few known figures say of a machine: the middle of its draws before and after, and what they told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from thinstock.evidence.apply import columns
from thinstock.evidence.cases import Cases, run_cases
from thinstock.evidence.outputs import label
from thinstock.evidence.population import population_of
from thinstock.machine.numbers import number as told_of
from thinstock.studies.intervals import central_interval
from thinstock.tell.blocks import Block, Group, lined, marked, words
from thinstock.tell.record import FORMAT, plain
from thinstock.words.figures import Edge, between, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.evidence.population import Population
    from thinstock.machine.line import Machine

NAMES = ("end_of_forming", "dryness_press", "steam_per_product", "gas_per_product", "air_temperature")


def told(machine: Machine, found: Population) -> list[Block]:
    """The headlines as believed, as it runs, and with what is known."""
    from thinstock.survey.posterior import told as know

    edge = Edge(unit_set="mill", air=float(machine.site.atmospheric_pressure()))
    cases = _cases(machine, found)
    rows = []
    for name in NAMES:
        word = told_of(name).word
        cells = []
        for one in cases.values():
            sample = one[name][one[name] == one[name]]
            low, middle, high = (edge.number(word, end) for end in central_interval(sample))
            ends = between(low, high) or figure(low, 3)
            cells.append(phrase("run.middle.ends", middle=figure(middle, 3), between=ends))
        rows.append((label(name), edge.unit(word), *cells))
    heads = [(phrase("study.number"), ""), (phrase("study.unit"), "")]
    heads += [(phrase(f"survey.conditioned.{key}"), "") for key in cases]
    table = lined(
        key="conditioned", heads=heads, rows=tuple(rows), words=2, caption=phrase("survey.conditioned.caption")
    )
    read = [a for a, how in know(found).items() if how != "as judged" and not a.startswith("response.")]
    said = words(phrase("survey.conditioned.told", list=", ".join(read) or "-"))
    notes = marked([note.text for note in found.notes], "* ")
    return [words(machine.title), table, Group(blocks=(said, *notes))]


def _cases(machine: Machine, found: Population) -> dict[str, Cases]:
    """The headlines over the machine as believed, as it runs, and with what is known."""
    import dataclasses

    bare = dataclasses.replace(machine, exists=False, evidence="")
    populations = {
        "as_believed": population_of(bare, draws=found.draws),
        "runs": population_of(dataclasses.replace(bare, exists=True), draws=found.draws),
        "as_read": found,
    }
    return {key: run_cases(machine, columns(drawn, machine), NAMES) for key, drawn in populations.items()}


def record(machine: Machine, found: Population, file: str) -> dict[str, Any]:
    """The same as one object in base SI, with every input."""
    from thinstock.survey.posterior import told as know

    know_of, values = know(found), found.values()
    made: dict[str, Any] = plain({
        "format": FORMAT, "title": machine.title, "file": file, "draws": found.draws, "seed": found.seed,
        "settled": found.record.get("settled"), "misfit": found.record.get("misfit"),
        "results": {
            key: {name: _ends(one[name]) for name in NAMES} for key, one in _cases(machine, found).items()
        },
        "inputs": [{"address": a, "told": know_of[a], **_ends(values[a])} for a in found.addresses],
        "notes": [note.text for note in found.notes],
    })  # fmt: skip
    return made


def _ends(sample: Any) -> dict[str, float]:
    low, middle, high = central_interval(sample[sample == sample])
    return {"low_05": low, "median": middle, "high_95": high}
