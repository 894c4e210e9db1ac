"""The words of the page, from words.toml: looked up by "group.name" and filled in."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files


@lru_cache(maxsize=1)
def catalogue() -> dict[str, dict[str, str]]:
    """All words by group and name."""
    return tomllib.loads(files("thinstock.app").joinpath("words.toml").read_text(encoding="utf-8"))


def say(key: str, **values: object) -> str:
    """The text of a key with its {braces} filled in."""
    group, _, name = key.partition(".")
    text = catalogue()[group][name]
    return text.format(**values) if values else text
