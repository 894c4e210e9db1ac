"""The chapters of a handout on one machine: blocks of words, tables and pictures, none of them written by hand.

Every sentence with a number is made from the run, in the phrases of `handout.toml`; nothing is worked out here that a
study or a part does not give.
"""

from __future__ import annotations

from collections.abc import Callable

from thinstock.tell.blocks import Chapter
from thinstock.tell.chapters.back import cautions, glossary, sources, working
from thinstock.tell.chapters.forming import axes, sheet, tension
from thinstock.tell.chapters.front import along, limit, machine, price, water
from thinstock.tell.chapters.furnish import wet_end
from thinstock.tell.chapters.press import press
from thinstock.tell.chapters.trouble import trouble, water_circuits
from thinstock.tell.teller import Teller

CHAPTERS: dict[str, Callable[[Teller], Chapter]] = {
    "machine": machine,
    "water": water,
    "along": along,
    "price": price,
    "press": press,
    "sheet": sheet,
    "axes": axes,
    "limits": limit,
    "tension": tension,
    "furnish": wet_end,
    "circuits": water_circuits,
    "trouble": trouble,
    "working": working,
    "glossary": glossary,
    "sources": sources,
    "cautions": cautions,
}
"""Every chapter by its key, in the order of a handout; what it is about is the phrase of its key."""
