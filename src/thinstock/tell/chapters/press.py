"""What the press does, and what the other kind of press would do with the same load: roll against shoe."""

from __future__ import annotations

from thinstock.formula.label import worksheet
from thinstock.machine.nips import ShoeNip
from thinstock.machine.result import Result
from thinstock.studies.compare import with_press_of
from thinstock.studies.exchange import with_press
from thinstock.tell import blocks
from thinstock.tell.blocks import Block, Chapter, Column, Points, Table
from thinstock.tell.press_parts import press_parts
from thinstock.tell.teller import Teller
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

SHOE, ROLL = "shoe press", "suction pressure roll"
ROWS = ("line_load", "nip_width", "dwell", "nip_pressure", "press_impulse", "rewet", "dryness")


def press(teller: Teller) -> Chapter:
    """The press in numbers and three lines; with one nip on a Yankee also beside the other kind."""
    told: list[Block] = []
    if teller.formed:
        told += _beside(teller) or [_table(teller, [teller.result])]
        told.append(Points(items=tuple(press_parts(teller.result, teller.edge))))
    else:
        told.append(blocks.words(phrase("run.production.no_sheet")))
    told += blocks.care("press")
    return Chapter(key="press", title=phrase("handout.title.press"), blocks=tuple(told))


def _beside(teller: Teller) -> list[Block]:
    """Both kinds side by side, and where the difference comes from; nothing where the press has no other kind."""
    machine = teller.result.machine
    if machine.yankee is None or len(machine.press.nip) != 1:
        return []
    is_shoe = isinstance(machine.press.nip[0], ShoeNip)
    with worksheet(False):
        other = with_press(machine, ROLL if is_shoe else SHOE).machine
        roll, shoe = (other, machine) if is_shoe else (machine, other)
        swapped = [with_press_of(roll, shoe, own_rewet=own).run() for own in (True, False)]
        results = [roll.run(), swapped[1]]
    before, loaded, pressed = (float(r["dryness_press"]) for r in (results[0], *swapped))
    said = phrase(
        "handout.press.split", shoe=figure(100 * (pressed - before), 2), load=figure(100 * (loaded - before), 2),
        rewet=figure(100 * (pressed - loaded), 2),
    )  # fmt: skip
    return [_table(teller, results), blocks.words(said, phrase("handout.press.why"))]


def _table(teller: Teller, results: list[Result]) -> Table:
    edge = teller.edge
    rows: list[tuple[str, ...]] = []
    for word in ROWS:
        rows.append((phrase(f"handout.press.{word}"), *(edge.text(word, _of(one, word), 3) for one in results)))
    heads = [Column(head="", sort="word"), *(Column(head=r.machine.press.nip[-1].name) for r in results)]
    return Table(key="press", caption=phrase("handout.press.caption"), columns=tuple(heads), rows=tuple(rows))


def _of(result: Result, word: str) -> float:
    """A number of the last nip."""
    nip, part = result.parts.press.nips[-1], result.machine.press.nip[-1]
    known = {
        "line_load": part.line_load, "dwell": nip.nip_width / result["speed"],
        "nip_pressure": part.line_load / nip.nip_width, "dryness": result["dryness_press"],
    }  # fmt: skip
    return float(known[word] if word in known else getattr(nip, word))
