"""What single vacuums and a lower freeness do from the wire to the reel, as a table of changes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from thinstock.tell.blocks import Block, table, words
from thinstock.words.figures import NONE, Edge, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.wet_end_costs import Case, WetEndCosts

POINTS = ("dryness_formed", "dryness_into_press", "dryness_press")
ENERGIES = ("steam_per_product", "gas_per_product", "electricity_per_product")
HEADS = ("case", "former", "into_press", "press", "steam", "gas", "electricity", "money", "reel")
DIGITS = 3


def told(found: WetEndCosts, edge: Edge) -> Iterator[Block]:
    """The machine as it stands, the table of changes, and what the answer hangs on."""
    heads = [phrase(f"wet_end_costs.{head}") for head in HEADS]
    yield table(heads, [_base(found), *(_row(case) for case in found.cases)], phrase("wet_end_costs.caption"))
    if any(case.short for case in found.cases):
        yield words(phrase("wet_end_costs.short"))
    yield words(found.hangs_on)


def _base(found: WetEndCosts) -> list[str]:
    base = found.base
    points = [figure(100 * base[name], DIGITS) if name in base else NONE for name in POINTS]
    energies = [figure(base[name] / 3600, DIGITS) if name in base else NONE for name in ENERGIES]
    reel = base.get("reel_dryness_reached")
    return [phrase("wet_end_costs.as_it_stands"), *points, *energies, "", figure(100 * reel, 3) if reel else NONE]


def _signed(value: float | None, factor: float) -> str:
    if value is None:
        return NONE
    return f"{factor * value:+.2f}" if abs(factor * value) < 10 else f"{factor * value:+.0f}"


def _row(case: Case) -> list[str]:
    change = case.changes
    reel = case.values.get("reel_dryness_reached")
    return [
        case.name,
        *(_signed(change.get(name), 100) for name in POINTS),
        *(_signed(change.get(name), 1 / 3600) for name in ENERGIES),
        _signed(case.money, 1000),
        NONE if reel is None else figure(100 * reel, 3),
    ]
