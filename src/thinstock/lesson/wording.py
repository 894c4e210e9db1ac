"""The words of a scene: its lines, one sentence each, with the numbers that a machine puts into them."""

from __future__ import annotations

import re
import string
from collections.abc import Mapping

_END = re.compile(r"(?<=[.!?])\s+")


def lines_of(text: str) -> tuple[str, ...]:
    """The sentences of a text, one a line."""
    return tuple(line.strip() for row in text.strip().splitlines() for line in _END.split(row) if line.strip())


def slots_of(text: str) -> tuple[str, ...]:
    """Names of the numbers that a text asks for; a ValueError where its braces do not close."""
    return tuple(name for _, name, _, _ in string.Formatter().parse(text) if name is not None)


def counted(text: str) -> int:
    """How many words a text has; a number that is put in counts as one."""
    return len(text.split())


def filled(text: str, numbers: Mapping[str, str]) -> str:
    """A text with its numbers put in."""
    return re.sub(r"\{([^{}]*)\}", lambda found: numbers.get(found[1], found[0]), text)
