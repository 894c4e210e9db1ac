"""A symptom and what to look at, in order, with this machine's numbers: cautions, the first question, then checks.

The table behind it is common practice; nothing is computed from it. A number that the machine does not have is a line
to write a reading on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from thinstock import library
from thinstock.errors import Refused
from thinstock.studies.facts import Fact, fact
from thinstock.tell.blocks import Block, Column, Table, care, head, words
from thinstock.words.fault import fault_in
from thinstock.words.figures import NONE, Edge, figure
from thinstock.words.phrase import capital, phrase

if TYPE_CHECKING:
    from thinstock.machine.limits import Limit, Limits
    from thinstock.machine.result import Result

LIMITS = {"fan pump, flow": "fan_pump_flow", "felt": "felt", "vacuum, pumps": "vacuum_pumps", "burner": "burner"}
"""Which row of the limits a check means."""
LINE = "______"
"""What a reading is written on."""
BOUNDED = {"clear_water_solids": ("wire_nozzle_limit", "felt_nozzle_limit")}
"""Bounds of the machine file that a number stands against."""


def symptoms() -> dict[str, str]:
    """Every symptom by its key, in words."""
    return {key: row["words"] for key, row in library.table("trouble").items() if isinstance(row, dict)}


def row_of(symptom: str) -> Mapping[str, Any]:
    """What is known of a symptom; an unknown one is refused with the nearest."""
    table = library.table("trouble")
    key = symptom.strip().lower().replace(" ", "_").replace("-", "_")
    if not isinstance(table.get(key), dict):
        from thinstock.words.address import nearest

        near = ", ".join(nearest(key, symptoms())) or ", ".join(symptoms())
        raise Refused(fault_in("trouble.unknown", "symptom", repr(symptom), near=near))
    found: Mapping[str, Any] = table[key]
    return found


def told(result: Result, limits: Limits, symptom: str, edge: Edge) -> Iterator[Block]:
    """One symptom on one machine."""
    row = row_of(symptom)
    yield head(capital(row["words"]))
    yield from care("general", *(part for part in row["cautions"] if part != "general"))
    yield from checks(result, limits, symptom, edge)
    yield words(phrase("trouble.practice"))


def checks(result: Result, limits: Limits, symptom: str, edge: Edge) -> Iterator[Block]:
    """The first question and the checks of one symptom."""
    row = row_of(symptom)
    yield words(phrase("trouble.first", first=row["first"]))
    columns = tuple(
        Column(head=phrase(f"trouble.{key}"), sort="end" if key == "number" else "word", grows=key == "says")
        for key in ("number", "look", "here", "usual", "says")
    )
    rows = tuple(
        (f"{k}", *_check(result, limits, check, edge), check["says"]) for k, check in enumerate(row["checks"], start=1)
    )
    yield Table(
        columns=columns, rows=rows, caption=phrase("trouble.checks", symptom=capital(row["words"])), key="trouble"
    )


def all_told(result: Result, limits: Limits, edge: Edge) -> Iterator[Block]:
    """Every symptom: cautions of all of them first."""
    parts = dict.fromkeys(part for key in symptoms() for part in row_of(key)["cautions"])
    yield from care("general", *(part for part in parts if part != "general"))
    yield words(phrase("trouble.practice"))
    for key, said in symptoms().items():
        yield head(capital(said))
        yield from checks(result, limits, key, edge)


def _check(result: Result, limits: Limits, check: Mapping[str, str], edge: Edge) -> tuple[str, str, str]:
    """What is looked at, what it is here, and what is usual."""
    of = check["of"]
    if check["look"] == "reading":
        return of, LINE, phrase("trouble.read")
    if check["look"] == "limit":
        row = next((one for one in limits if one.id == LIMITS[of]), None)
        return of, *_limit(row, edge)
    return _result(result, fact(result, of), edge)


def _result(result: Result, found: Fact, edge: Edge) -> tuple[str, str, str]:
    if found.value is None or not found.word:
        return found.label, LINE, phrase("trouble.not_known")
    here = edge.text(found.word, found.value, 3)
    bounds = [getattr(result.machine.circuit, name, None) for name in BOUNDED.get(found.name, ())]
    known = [float(bound) for bound in bounds if bound is not None]
    if known:
        return found.label, here, phrase("trouble.bound", bound=edge.text(found.word, min(known), 2))
    if found.usual is None:
        return found.label, here, ""
    low, high = (edge.text(found.word, end, 2) for end in found.usual)
    return found.label, here, phrase("trouble.span", low=low, high=high)


def _limit(row: Limit | None, edge: Edge) -> tuple[str, str]:
    if row is None or row.value is None:
        return LINE, phrase("trouble.not_known")
    here = edge.text(row.word, row.value, 3) if row.word else figure(float(row.value), 3)
    if row.bound is None:
        return here, phrase("trouble.limit_not_known")
    bound = edge.text(row.word, row.bound, 3) if row.word else figure(float(row.bound), 3)
    share = NONE if row.share is None else figure(100 * (1 - float(row.share)), 2)
    return here, phrase("trouble.margin", bound=bound, margin=share)
