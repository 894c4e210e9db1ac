"""What of an answer is new to the page: pieces it shows already are not sent again, of its drawing only what moved.

The page says by their marks which pieces it shows. A mark is made from the piece alone, so it is good for every tab.
"""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Mapping
from hashlib import blake2b
from html import unescape
from threading import Lock
from typing import Any, TypedDict

from starlette.exceptions import HTTPException

DRAWING = "drawing"
KEPT = 32
"""So many drawings sent last are kept, so that the next one can be told as changes: a cache and nothing else."""
MOST = 100
"""So many names a page may tell."""
_ATTRIBUTE = re.compile(r' ([\w:-]+)="([^"]*)"')


class New(TypedDict):
    """What of an answer's pieces goes to the page."""

    pieces: dict[str, str]
    """Pieces that the page does not show."""
    marks: dict[str, str]
    """The marks of all pieces that were made."""
    moved: Moved | None
    """The drawing as changes of the one that the page shows; None where it is a piece or has not changed."""


class Moved(TypedDict):
    """A drawing as changes of another one."""

    of: str
    """The mark of the other one."""
    changes: list[Change]


Change = tuple[int, dict[str, str | None], str | None]
"""The number of an element in the order of the markup, its new attributes (None: without it), its new text if any."""


def mark(text: str) -> str:
    """The mark of a piece."""
    return blake2b(text.encode("utf-8"), digest_size=8).hexdigest()


class _Drawings:
    """The drawings sent last, by their marks."""

    def __init__(self) -> None:
        self._lock, self._held = Lock(), OrderedDict[str, str]()

    def keep(self, name: str, markup: str) -> None:
        with self._lock:
            self._held[name] = markup
            self._held.move_to_end(name)
            while len(self._held) > KEPT:
                self._held.popitem(last=False)

    def find(self, name: str) -> str | None:
        with self._lock:
            return self._held.get(name)


_DRAWINGS = _Drawings()


def new_to(shown: Mapping[str, str], made: dict[str, str]) -> New:
    """What of the pieces made is new to a page that shows pieces of these marks."""
    marks = {name: mark(piece) for name, piece in made.items()}
    pieces = {name: piece for name, piece in made.items() if shown.get(name) != marks[name]}
    moved = None
    if DRAWING in made:
        _DRAWINGS.keep(marks[DRAWING], made[DRAWING])
    if DRAWING in pieces:
        before = _DRAWINGS.find(shown.get(DRAWING, ""))
        found = None if before is None else changes(before, made[DRAWING])
        if found is not None:
            del pieces[DRAWING]
            moved = Moved(of=shown[DRAWING], changes=found)
    return New(pieces=pieces, marks=marks, moved=moved)


def drawing_shown(body: Mapping[str, Any]) -> str | None:
    """The drawing that a page shows, where it was sent from here: another process may not know it."""
    told = body.get("shown")
    name = told.get(DRAWING) if isinstance(told, dict) else None
    return _DRAWINGS.find(name) if isinstance(name, str) else None


def know(drawing: str | None) -> None:
    """Keep a drawing that was sent from elsewhere."""
    if drawing is not None:
        _DRAWINGS.keep(mark(drawing), drawing)


def changes(before: str, after: str) -> list[Change] | None:
    """What changed from one markup to another of the same build; None where elements came, went or changed places."""
    old, new = before.split("<"), after.split("<")
    if len(old) != len(new):
        return None
    found: list[Change] = []
    number = -1
    for was, now in zip(old, new, strict=True):
        number += bool(now) and now[0] != "/"
        if was == now:
            continue
        change = _change(was, now)
        if change is None:
            return None
        found.append((number, *change))
    return found


def _change(was: str, now: str) -> tuple[dict[str, str | None], str | None] | None:
    """What changed from one start tag with its text to another; None where they are not the same element."""
    (was_tag, _, was_text), (now_tag, _, now_text) = was.partition(">"), now.partition(">")
    if was_tag.partition(" ")[0] != now_tag.partition(" ")[0] or was_tag[-1:] != now_tag[-1:] or now[:1] == "/":
        return None
    old, new = dict(_ATTRIBUTE.findall(was_tag)), dict(_ATTRIBUTE.findall(now_tag))
    changed: dict[str, str | None] = {name: unescape(said) for name, said in new.items() if old.get(name) != said}
    changed |= {name: None for name in old if name not in new}
    return changed, None if was_text == now_text else unescape(now_text)


# -- what a page tells -------------------------------------------------------------------------------------------------


def shown_in(body: Mapping[str, Any]) -> dict[str, str]:
    """The marks of the pieces that a page shows, as it tells them."""
    told = body.get("shown", {})
    if not isinstance(told, dict) or len(told) > MOST or not all(isinstance(one, str) for one in told.values()):
        raise HTTPException(400)
    return told


def in_sight(body: Mapping[str, Any]) -> frozenset[str] | None:
    """What of a page is in sight, as it tells it; None where it does not say."""
    told = body.get("sight")
    if told is None:
        return None
    if not isinstance(told, list) or len(told) > MOST or not all(isinstance(one, str) for one in told):
        raise HTTPException(400)
    return frozenset(told)
