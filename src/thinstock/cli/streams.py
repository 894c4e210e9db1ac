"""What is printed by a command: control characters of foreign texts are shown, never sent to the terminal."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

from thinstock.errors import visible


class Shown:
    """A stream to people that shows control characters of foreign texts instead of sending them."""

    def __init__(self, beneath: TextIO) -> None:
        self.beneath = beneath

    def write(self, text: str) -> int:
        """Pass a text on with what would steer the terminal shown as its code."""
        self.beneath.write(visible(text))
        return len(text)

    def writelines(self, texts: Iterable[str]) -> None:
        """Pass texts on."""
        for text in texts:
            self.write(text)

    def __getattr__(self, name: str) -> Any:
        if name == "buffer":  # no way around `write`
            raise AttributeError(name)
        return getattr(self.beneath, name)


@contextmanager
def shown_streams() -> Iterator[None]:
    """What is printed inside passes through `Shown`; letters the terminal lacks become question marks."""
    before = sys.stdout, sys.stderr
    for stream in before:
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    sys.stdout, sys.stderr = (cast(TextIO, Shown(io.StringIO() if one is None else one)) for one in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
