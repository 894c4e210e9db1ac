"""What a class sees on the page: chapters and exercises as pieces of HTML, and a walk through the machine.

Pieces carry no style and no script of their own and load pictures by an address that the page gives, so that a strict
content policy holds. Nothing is worked out here; chapters, walk, workings and problems are those of paper.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from thinstock import drawing, library
from thinstock.tell import blocks, page, walk
from thinstock.tell.blocks import Chapter, Picture
from thinstock.tell.chapters import CHAPTERS
from thinstock.tell.exercises import sheet_view
from thinstock.tell.explained import view
from thinstock.tell.handout import DEFAULT, chosen, fragments
from thinstock.tell.page import fragment
from thinstock.tell.pictures import chart, elevation
from thinstock.tell.problems import Order, problems
from thinstock.tell.teller import Teller
from thinstock.tell.worked import about, names_of, worked
from thinstock.words.fault import fault_in
from thinstock.words.phrase import capital, phrase

Address = Callable[[str, str, Picture], str]
"""(chapter or step, file name, picture) to the address at which a page finds the picture."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A chapter that can be chosen."""

    key: str
    title: str
    usual: bool
    """Whether a handout has it when nothing is chosen."""


@dataclass(frozen=True, kw_only=True)
class StepPage:
    """One page of the walk, in large type."""

    number: int
    key: str
    title: str
    part: str
    """"machine" or "ladder"."""
    html: str
    explains: tuple[tuple[str, str], ...]
    """(name, words) of the numbers whose working belongs here."""


def chapters() -> tuple[Choice, ...]:
    """All chapters in their order."""
    return tuple(Choice(key=key, title=phrase(f"handout.about.{key}"), usual=key in DEFAULT) for key in CHAPTERS)


def chapter(teller: Teller, key: str) -> Chapter:
    """One chapter; an unknown key is refused with those there are."""
    return CHAPTERS[chosen([key])[0]](teller)


def piece_of(made: Chapter, address: Address) -> dict[str, str]:
    """One chapter as a piece of a page."""

    def where(name: str, picture: Picture) -> str:
        return address(made.key, name, picture)

    return fragments([made], where)[0]


def exercises(teller: Teller, order: Order, *, key: bool = False) -> str:
    """The problems of an order, or their key, as a piece of a page."""
    return str(fragment("exercises_body.html.j2", **sheet_view(problems(teller, order), key=key)))


def working(teller: Teller, name: str) -> dict[str, str]:
    """The working of one number as a piece of a page."""
    made = worked(teller.result, name, teller.unit_set)
    return {"title": made.label, "text": made.text, "html": str(fragment("working_body.html.j2", working=view(made)))}


def numbers(teller: Teller) -> list[tuple[str, str]]:
    """Every number that can be explained: name and words."""
    return [(name, about(name).label) for name in names_of(teller.result)]


# -- the walk --------------------------------------------------------------------------------------------------------


def step_titles(teller: Teller) -> tuple[tuple[str, str, str], ...]:
    """(key, title, part) of every page of the walk, without making them."""
    stops = [("whole", phrase("tell.class_page.whole_machine"), "machine")]
    stops += [(s.key, s.title, "machine") for s in walk.walk(teller)]
    formers = ((key, library.former_file(key)["former"]) for key in library.NINE)
    return (*stops, *((key, capital(name), "ladder") for key, name in formers))


def step(teller: Teller, key: str, address: Address) -> StepPage:
    """One page of the walk; an unknown key is refused with those there are."""
    titles = step_titles(teller)
    keys = [k for k, _, _ in titles]
    if key not in keys:
        from thinstock.errors import Refused

        raise Refused(fault_in("tell.class_page.step", "step", key, keys=", ".join(keys)))
    number = keys.index(key)
    title, part = titles[number][1:]
    told, explains = (_whole(teller), ("flow_per_width",)) if key == "whole" else _stop(teller, key)
    pictures = {name: address(key, name, picture) for name, picture in picture_of(teller, key).items()}
    known = dict(numbers(teller))
    return StepPage(
        number=number + 1,
        key=key,
        title=title,
        part=part,
        html=str(page.blocks(told, pictures)),
        explains=tuple((name, known[name]) for name in explains if name in known),
    )


def picture_of(teller: Teller, key: str) -> dict[str, Picture]:
    """The pictures of one page of the walk."""
    if key == "whole":
        return {"elevation.svg": elevation(teller)}
    stop = _find(teller, key)
    return {f"{stop.chart}.svg": chart(teller, stop.chart)[0]} if stop.chart else {}


def _find(teller: Teller, key: str) -> walk.Stop:
    found = next((s for s in walk.walk(teller) if s.key == key), None)
    return found if found is not None else next(s for s in walk.rungs(teller) if s.key == key)


def _whole(teller: Teller) -> list[blocks.Block]:
    made = CHAPTERS["machine"](teller).blocks
    return [b for b in made if b.kind in ("words", "figure", "care")]


def _stop(teller: Teller, key: str) -> tuple[list[blocks.Block], tuple[str, ...]]:
    stop = _find(teller, key)
    told: list[blocks.Block] = [
        blocks.points(stop.sentences),
        blocks.table(("what", "value"), [list(n) for n in stop.numbers]),
    ]
    if stop.chart:
        told.append(blocks.figure(f"{stop.chart}.svg", chart(teller, stop.chart)[1], drawing.chart_title(stop.chart)))
    return [*told, *blocks.care(*stop.cautions)], stop.explains
