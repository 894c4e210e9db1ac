"""Phrases: every key that code says is there, slots agree over the languages, and nothing is left over."""

from __future__ import annotations

import ast
import string
from functools import lru_cache
from pathlib import Path

import pytest

import thinstock
from thinstock.words import phrase as book

SOURCE = Path(thinstock.__file__).parent
ROOMS = sorted(p.stem for p in (SOURCE / "words/phrases/en").glob("*.toml"))


def slots(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@lru_cache(maxsize=1)
def said() -> dict[str, list[tuple[str, set[str] | None]]]:
    """Every key that code says by a literal: where, and with which slots (None: handed on as a mapping)."""
    found: dict[str, list[tuple[str, set[str] | None]]] = {}
    for path in sorted(SOURCE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            first = node.args[0]
            if (
                name not in ("phrase", "fault_in")
                or not isinstance(first, ast.Constant)
                or not isinstance(first.value, str)
            ):
                continue
            given = {k.arg for k in node.keywords if k.arg} if all(k.arg for k in node.keywords) else None
            found.setdefault(first.value, []).append((f"{path.name}:{node.lineno}", given))
    return found


def slots_of(key: str) -> set[str] | None:
    """The slots of a phrase, or of the bound and the remedy of a fault; None where there is no such key."""
    keys = [one for one in (key, f"{key}.bound", f"{key}.remedy") if book.known(one)]
    texts = [book.phrases("en", one.partition(".")[0])[one.partition(".")[2]] for one in keys]
    return set().union(*map(slots, texts)) if texts else None


def test_every_phrase_that_code_says_is_there_with_its_slots() -> None:
    wrong = []
    for key, places in said().items():
        wanted = slots_of(key)
        if wanted is None:
            wrong.append(f"{places[0][0]}: add {key} to words/phrases/en/{key.partition('.')[0]}.toml")
            continue
        wrong += [f"{at}: {key} needs the slots {sorted(wanted)}, gets {sorted(given)}" for at, given in places
                  if given is not None and given != wanted]  # fmt: skip
    assert wrong == []


@pytest.mark.parametrize("language", book.languages())
def test_another_language_says_only_what_english_says_with_the_same_slots(language: str) -> None:
    for path in sorted((SOURCE / "words/phrases" / language).glob("*.toml")):
        english, other = book.phrases("en", path.stem), book.phrases(language, path.stem)
        unknown = sorted(set(other) - set(english))
        assert unknown == [], f"not in English: {unknown}"
        differ = [key for key, text in other.items() if slots(text) != slots(english[key])]
        assert differ == [], f"other slots than in English: {differ}"


def test_an_unknown_phrase_says_where_to_add_it() -> None:
    with pytest.raises(KeyError, match=r"words/phrases/en/stage\.toml"):
        book.phrase("stage.no such stage")


def test_what_a_language_does_not_say_is_said_in_english() -> None:
    assert book.phrase("stage.press") == "press"
    with pytest.raises(KeyError, match="no phrases in 'xx'"), book.language("xx"):
        pass
