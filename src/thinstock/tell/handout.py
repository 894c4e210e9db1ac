"""A handout on one machine: chosen chapters as a page of HTML or a tagged PDF on A4 or Letter paper.

Readable without colour and by a screen reader; every sentence with a number comes from the run.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from thinstock.errors import Fault, Refused
from thinstock.machine.line import Machine
from thinstock.tell.blocks import Chapter, Picture
from thinstock.tell.chapters import CHAPTERS
from thinstock.tell.teller import Teller
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

ON_DEMAND = ("along", "axes", "tension", "furnish", "circuits", "trouble", "working")
"""Chapters only where they are asked for, so that a handout stays short; what can hurt is always in it."""
DEFAULT = tuple(key for key in CHAPTERS if key not in ON_DEMAND)
"""Chapters of a handout when none are chosen."""
FORMATS = ("pdf", "html")


def chosen(keys: Sequence[str] | None) -> tuple[str, ...]:
    """Keys of chapters in their order; an unknown one is refused with the names there are."""
    if not keys:
        return DEFAULT
    unknown = [key for key in keys if key not in CHAPTERS]
    if unknown:
        from thinstock.words.address import nearest

        raise Refused(
            Fault(
                field="chapter", value=key, bound=phrase("tell.handout.there", chapters=', '.join(CHAPTERS)),
                remedy=f"Nearest: {', '.join(nearest(key, CHAPTERS))}." if nearest(key, CHAPTERS) else "",
            )
            for key in unknown
        )  # fmt: skip
    return tuple(dict.fromkeys(keys))


def chapters(teller: Teller, keys: Sequence[str] | None = None) -> tuple[Chapter, ...]:
    """The chapters of a handout."""
    return tuple(CHAPTERS[key](teller) for key in chosen(keys))


def handout(
    machine: Machine,
    form: str = "pdf",
    keys: Sequence[str] | None = None,
    unit_set: units.UnitSet = "mill",
    *,
    paper: str = "a4",
) -> str | bytes:
    """A handout on a machine: drawing, water, price, sheets, limits.

    Parameters
    ----------
    machine : Machine
        One case, as `thinstock.load` gives it; arrays are refused.
    form : {"pdf", "html"}
        How it is written.
    keys : sequence of str, optional
        Only these chapters.
    unit_set : {"mill", "si", "us"}
        Units of what is printed.
    paper : {"a4", "letter"}
        Size of paper of a PDF.

    Returns
    -------
    bytes or str
        The PDF, or one page of HTML that fetches nothing.

    Raises
    ------
    Refused
        An unknown form or chapter, a machine with arrays, or a library of an extra that is not installed.

    Source: named where each number stands.
    """
    if form not in FORMATS:
        raise Refused(fault_in("tell.handout.format", "format", form, formats=", ".join(FORMATS)))
    teller = Teller(machine, unit_set)
    made = chapters(teller, keys)
    if form == "html":
        return page(teller, made)
    from thinstock.tell.paper import document

    return document("handout", paper_data(teller, made), title=machine.title, paper=paper, pictures=files_of(made))


def paper_data(teller: Teller, made: Sequence[Chapter]) -> dict[str, Any]:
    """What the paper is set from."""
    from thinstock.tell.paper import block_data

    return {
        "head": head(teller),
        "chapters": [
            {"key": c.key, "title": c.title, "blocks": [d for b in c.blocks for d in block_data(b)]} for c in made
        ],
    }


def head(teller: Teller) -> dict[str, str]:
    """Title lines."""
    return {
        "title": teller.machine.title,
        "subtitle": phrase(
            "handout.head.subtitle", grammage=teller.value("reel_grammage"), speed=teller.value("speed")
        ),
        "note": teller.machine.note,
    }


def files_of(made: Sequence[Chapter]) -> dict[str, bytes]:
    """All pictures by file name."""
    return {name: picture.content for chapter in made for name, picture in chapter.pictures.items()}


def page(teller: Teller, made: Sequence[Chapter]) -> str:
    """The handout as one page that carries its pictures in itself."""
    from thinstock.tell.page import render

    return render("handout.html.j2", title=teller.machine.title, head=head(teller), chapters=fragments(made))


def fragments(
    made: Sequence[Chapter], address: Callable[[str, Picture], str] = lambda name, picture: picture.inside
) -> list[dict[str, str]]:
    """Every chapter as a piece of HTML; `address` says where a picture is to be had."""
    from thinstock.tell.page import fragment

    found = []
    for chapter in made:
        where: Mapping[str, str] = {name: address(name, picture) for name, picture in chapter.pictures.items()}
        found.append(
            {"key": chapter.key, "title": chapter.title,
             "html": fragment("chapter.html.j2", chapter=chapter, pictures=where)}
        )  # fmt: skip
    return found
