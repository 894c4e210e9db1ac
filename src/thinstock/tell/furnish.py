"""The furnish from the wire to the press: what is known of it, how it is known, and what it does in the last nip."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from thinstock.formula.label import RELATIONS, label_of
from thinstock.machine.provenance import ASSUMED
from thinstock.machine.stock import MEASURES
from thinstock.tell.blocks import Block, points, table, words
from thinstock.tell.filled import as_written
from thinstock.tell.press_parts import press_parts
from thinstock.words import units
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.result import Result
    from thinstock.words.figures import Edge

RETENTION = "swelling.water_retention_from_resistance"
VOLUME = "swelling.swollen_volume_from_retention"
SCALED = "swelling.specific_permeability_swollen"
BLENDED = "swelling.specific_permeability_blend"
TESTERS = {"freeness": "freeness.resistance_from_freeness", "drainability": "freeness.resistance_from_drainability"}
"""The formula that reads the mat's resistance from each tester."""
PERMEABILITY = "press.dewatering.specific_permeability"


def told(result: Result, edge: Edge) -> Iterator[Block]:
    """The numbers of the furnish with their status, and a line each for furnish, nip and felt, rewet."""
    heads = [phrase(f"furnish.head.{key}") for key in ("what", "value", "known")]
    made = table(heads, _rows(result, edge), phrase("furnish.caption"), texts=(0, 1, 2), wide=(2,))
    yield replace(made, key="furnish")
    if not result.values.get("formed", True):
        yield words(phrase("furnish.no_sheet"))
        return
    yield words(phrase("furnish.press"))
    yield points(press_parts(result, edge))


def _rows(result: Result, edge: Edge) -> Iterator[list[str]]:
    stock = result.machine.stock
    around = result.wet.parts.forming.around
    furnish, pressing = around.furnish, around.pressing

    def row(key: str, word: str, value: object, known: str) -> list[str]:
        text = units.write_word(word, float(value), edge.unit_set, 3)  # type: ignore[arg-type]
        return [phrase(f"furnish.{key}"), as_written(text), known]

    measure = next(name for name in MEASURES if getattr(stock, name) is not None)
    if measure in TESTERS:
        yield row(measure, measure, getattr(stock, measure), _entered(result, f"stock.{measure}"))
    yield row("retention", "water_retention_value", furnish.water_retention_value, _retention(result))
    yield row(
        "volume", "swollen_volume", furnish.swollen_volume, phrase("furnish.known.volume", status=_status(VOLUME))
    )
    read = _entered(result, "stock.resistance_coefficient")
    if measure in TESTERS:
        read = phrase(f"furnish.known.{measure}", status=_status(TESTERS[measure]))
    yield row("resistance", "resistance_coefficient", furnish.resistance, read)
    yield row("permeability", "specific_permeability", pressing.specific_permeability, _permeability(result))


def _status(formula: str) -> str:
    return label_of(RELATIONS[formula]).status


def _entered(result: Result, where: str) -> str:
    """How a value of the file is known."""
    given = result.machine.given.get(where)
    return phrase("furnish.known.entered", status=(given.status if given is not None else "") or ASSUMED)


def _retention(result: Result) -> str:
    """Entered, entered at another freeness, or from fibres and freeness."""
    stock = result.machine.stock
    if stock.water_retention_value is None:
        return phrase("furnish.known.retention", status=_status(RETENTION))
    entered = _entered(result, "stock.water_retention_value")
    if stock.resistance_reference is None:
        return entered
    return phrase("furnish.known.carried", entered=entered, status=_status(RETENTION))


def _permeability(result: Result) -> str:
    if result.machine.get(PERMEABILITY) is not None:
        return _entered(result, PERMEABILITY)
    if float(result.machine.stock.surface_share) > 0:
        return phrase("furnish.known.blended", status=_status(BLENDED))
    return phrase("furnish.known.permeability", status=_status(SCALED))
