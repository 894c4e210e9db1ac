"""What single vacuums and a lower freeness do from wire to reel: a table of places, a change card by station."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from thinstock.errors import Refused
from thinstock.machine.numbers import number
from thinstock.tell import formation_worth, point_worth
from thinstock.tell.blocks import Block, Column, Table, Words, words
from thinstock.words import address
from thinstock.words.figures import NONE, Edge, figure, signed
from thinstock.words.phrase import capital, listed, phrase

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.studies.wet_end_costs import Case, WetEndCosts

PLACES = ("dryness_into_press", "dryness_press", "steam_per_product", "gas_per_product", "electricity_per_product")
"""What is told of a place that is switched off; the former has none of them."""
STATIONS = ("dryness_formed", "dryness_into_press", "dryness_press", "evaporation", *PLACES[2:], "reel_dryness_reached")
"""Rows of a change card, in the order of the web."""
DIGITS = 3
DROP = 5e-5
"""Freeness in m³ that a page and a handout ask for."""
QUESTIONS = ("freeness", "vacuum", "dryness", "evenness")


def asked(question: str, machine: Machine, edge: Edge) -> list[Block]:
    """The answer to one of `QUESTIONS`; in words where the machine has none."""
    from thinstock.studies.formation_worth import formation_worth as worth
    from thinstock.studies.point_worth import point_worth as worth_of_a_point
    from thinstock.studies.refining_cost import refining_cost
    from thinstock.studies.wet_end_costs import freeness_cost, switched_off
    from thinstock.tell.refining_cost import told as refining_cost_told

    if question == "evenness":
        return list(formation_worth.told(worth(machine), edge))
    try:
        if question == "dryness":
            return list(point_worth.told(worth_of_a_point(machine), edge))
        if question == "freeness":
            return [
                *refining_cost_told(refining_cost(machine, DROP), edge),
                *card(freeness_cost(machine, DROP), edge, DROP),
            ]
        return list(told(switched_off(machine), edge))
    except Refused as refused:
        return [words(*(f"{capital(fault.bound)}." for fault in refused.faults))]


# -- each place and each pump switched off ---------------------------------------------------------------------------


def told(found: WetEndCosts, edge: Edge) -> Iterator[Block]:
    """The machine as it stands, the tables of changes, and what the answer hangs on."""
    if not _formed(found):
        yield words(phrase("wet_end_costs.no_sheet"))
        return
    yield _switched(found, found.cases, edge, head="place", caption="places", key="costs")
    if found.pumps:
        yield _switched(found, found.pumps, edge, head="pump", caption="pumps", key="costs-pumps")
        yield words(*(_hung(case, edge) for case in found.pumps))
    else:
        yield words(phrase("wet_end_costs.no_pumps"))
    yield from _below(found)


def _switched(found: WetEndCosts, cases: Sequence[Case], edge: Edge, *, head: str, caption: str, key: str) -> Table:
    """One row of changes a case, below the machine as it stands."""
    names = [name for name in PLACES if name in found.base]
    heads = [Column(head=phrase(f"wet_end_costs.{name}"), unit=_unit(name, edge)) for name in names]
    return Table(
        columns=(
            Column(head=phrase(f"wet_end_costs.{head}"), sort="word"),
            Column(head=phrase("wet_end_costs.takes"), unit=edge.unit("machine_power")), *heads,
            Column(head=phrase("wet_end_costs.money"), unit=edge.unit("money_per_mass")),
            Column(head=phrase("wet_end_costs.reel"), unit=_unit("reel_dryness_reached", edge)),
            Column(head=phrase("wet_end_costs.speed"), unit=edge.unit("speed")),
        ),
        rows=(_base(found, names, edge), *(_place(found, case, names, edge) for case in cases)),
        caption=phrase(f"wet_end_costs.{caption}"), key=key, heads_low=True,
    )  # fmt: skip


def _base(found: WetEndCosts, names: list[str], edge: Edge) -> tuple[str, ...]:
    values = [_shown(name, found.base.get(name), edge) for name in (*names, "reel_dryness_reached")]
    return (phrase("wet_end_costs.as_it_stands"), "", *values[:-1], "", values[-1], _speed(found.speed, edge))


def _place(found: WetEndCosts, case: Case, names: list[str], edge: Edge) -> tuple[str | Words, ...]:
    changes = [_change(name, found, case, edge) for name in names]
    reel = _shown("reel_dryness_reached", case.values.get("reel_dryness_reached"), edge)
    takes = "" if case.takes is None else figure(edge.number("machine_power", case.takes.power), DIGITS)
    who = Words(_who_draws(case.name), case.name)
    return who, takes, *changes, _money(case, edge), reel, _speed(case.speed, edge)


def _speed(speed: float | None, edge: Edge) -> str:
    return NONE if speed is None else figure(edge.number("speed", speed), 4)


def _hung(case: Case, edge: Edge) -> str:
    """What hangs on a pump, and where it works."""
    takes = case.takes
    assert takes is not None
    return phrase(
        "wet_end_costs.hangs", pump=capital(_who_draws(case.name)), places=listed(takes.places),
        flow=edge.text("volume_flow", takes.flow, DIGITS), vacuum=edge.text("vacuum", takes.vacuum, DIGITS),
    )  # fmt: skip


def _who_draws(where: str) -> str:
    """Slot, roll, pump or boxes by their name."""
    owners = [part.replace("_", " ") for part in address.split(where)[:-1] if part != "surface"]
    if owners[-1] != "boxes":
        return owners[-1]
    boxes = phrase("wet_end_costs.boxes")
    return f"{boxes} ({owners[2]})" if "nip" in owners else boxes


# -- a lower freeness ------------------------------------------------------------------------------------------------


def card(found: WetEndCosts, edge: Edge, drop: float) -> Iterator[Block]:
    """Before and after by station, the change at the machine's own slope and at both ends."""
    if not _formed(found):
        yield words(phrase("wet_end_costs.no_sheet"))
        return
    own, *ends = found.cases
    heads = [phrase(f"wet_end_costs.{key}") for key in ("before", "after", "change")]
    columns = [Column(head=phrase("wet_end_costs.station"), sort="word"),
               Column(head=phrase("wet_end_costs.unit"), sort="word"),
               *(Column(head=text) for text in (*heads, *(end.name for end in ends)))]  # fmt: skip
    rows = [
        (number(name).short, _unit(name, edge), _shown(name, found.base[name], edge),
         _shown(name, own.values[name], edge), *(_change(name, found, case, edge) for case in found.cases))
        for name in STATIONS if name in found.base and _told_of(name, found)
    ]  # fmt: skip
    money = (phrase("wet_end_costs.money"), edge.unit("money_per_mass"), "", "")
    rows.append((*money, *(_money(case, edge) for case in found.cases)))
    if found.speed is not None:
        rows.append(_speeds(found, edge))
    before = edge.text("freeness", found.machine.stock.freeness, DIGITS)
    caption = phrase("wet_end_costs.card", before=before, drop=edge.text("freeness", drop, 2))
    yield Table(columns=tuple(columns), rows=tuple(rows), caption=caption, key="costs")
    yield from _below(found)


def _speeds(found: WetEndCosts, edge: Edge) -> tuple[str, ...]:
    """Speed that the dryer allows: before, after, and the change at each end."""
    own, *_ = found.cases

    def change(case: Case) -> str:
        if case.speed is None or found.speed is None:
            return NONE
        return signed(edge.number("speed", case.speed) - edge.number("speed", found.speed), 0)

    shown = (_speed(found.speed, edge), _speed(own.speed, edge))
    return (phrase("wet_end_costs.speed_allowed"), edge.unit("speed"), *shown, *(change(c) for c in found.cases))


def _told_of(name: str, found: WetEndCosts) -> bool:
    """An energy that the machine does not use is left out."""
    return found.base[name] != 0 or any(case.changes[name] != 0 for case in found.cases)


# -- shared ----------------------------------------------------------------------------------------------------------


def _below(found: WetEndCosts) -> Iterator[Block]:
    if any(case.short for case in (*found.cases, *found.pumps)):
        yield words(phrase("wet_end_costs.short"))
    yield words(found.hangs_on)


def _formed(found: WetEndCosts) -> bool:
    return bool(np.isfinite(found.base.get("dryness_press", np.nan)))


def _unit(name: str, edge: Edge) -> str:
    return edge.unit(number(name).word)


def _shown(name: str, value: float | None, edge: Edge) -> str:
    return NONE if value is None else figure(edge.number(number(name).word, value), DIGITS)


def _change(name: str, found: WetEndCosts, case: Case, edge: Edge) -> str:
    """A change in the unit of its number, with one place more than the number itself has."""
    word = number(name).word
    places = len(_shown(name, found.base[name], edge).partition(".")[2]) + 1
    return signed(edge.number(word, case.values[name]) - edge.number(word, found.base[name]), places)


def _money(case: Case, edge: Edge) -> str:
    return NONE if case.money is None else signed(edge.number("money_per_mass", case.money), 2)
