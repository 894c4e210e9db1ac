"""Sentences by their key: code says which sentence and gives its numbers, the words stand in a file per language.

`phrase("limits.highest", speed="1978 m/min")` looks up `highest` in `phrases/en/limits.toml` and fills its named
slots. A slot takes finished text: numbers come with their unit from `figure`. Another language is another folder; what
it does not say is said in English.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache

BOOK = os.path.join(os.path.dirname(__file__), "phrases")
"""Where the languages stand; asked for without `importlib.resources`, which costs `--help` more than all else."""
ENGLISH = "en"
VARIABLE = "THINSTOCK_LANGUAGE"
"""The environment's word for the language of a process; `language` changes it for a while."""
_first = os.environ.get(VARIABLE, ENGLISH)
_language: ContextVar[str] = ContextVar("thinstock_language", default=_first)


@cache
def phrases(language: str, room: str) -> Mapping[str, str]:
    """The phrases of one file by key; empty where the language has no such file."""
    place = os.path.join(BOOK, language, f"{room}.toml")
    if not os.path.isfile(place):
        return {}
    with open(place, "rb") as file:
        return dict(_flat(tomllib.load(file), ""))


def _flat(table: Mapping[str, object], before: str) -> Iterator[tuple[str, str]]:
    for name, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", str(value)


def languages() -> list[str]:
    """The languages there are, English first."""
    found = sorted(one.name for one in os.scandir(BOOK) if one.is_dir())
    return [ENGLISH, *(name for name in found if name != ENGLISH)]


def known(key: str) -> bool:
    """Whether there is an English phrase of this key."""
    room, _, name = key.partition(".")
    return name in phrases(ENGLISH, room)


def phrase(key: str, /, **slots: object) -> str:
    """The phrase of a key (`file.name`, deeper tables with more dots) with its slots filled; KeyError if unknown."""
    room, _, name = key.partition(".")
    text = phrases(_language.get(), room).get(name)
    if text is None:
        text = phrases(ENGLISH, room).get(name)
    if text is None:
        raise KeyError(f"no phrase {key!r}: add {name} to words/phrases/{ENGLISH}/{room}.toml")
    return text.format_map(slots) if slots or "{" in text else text


def listed(texts: Iterable[str]) -> str:
    """Texts in one sentence: a, b and c."""
    found = [text for text in texts if text]
    if len(found) < 2:
        return "".join(found)
    return phrase("list.and", before=phrase("list.comma").join(found[:-1]), last=found[-1])


def capital(text: str) -> str:
    """A sentence begins with a capital letter."""
    return text[:1].upper() + text[1:]


def spoken() -> str:
    """The language that is spoken now."""
    return _language.get()


@contextmanager
def language(name: str) -> Iterator[None]:
    """Say everything inside in another language."""
    if name not in languages():
        raise KeyError(f"no phrases in {name!r}; there are {', '.join(languages())}")
    token = _language.set(name)
    try:
        yield
    finally:
        _language.reset(token)
