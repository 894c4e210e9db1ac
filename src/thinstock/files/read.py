"""The one reader of foreign files: bytes within a bound, and whatever a format's own reader raises made a refusal.

A file that cannot be had or cannot be read is input that cannot be, never a fault of the program: the refusal names the
file and says what its reader said.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from thinstock.errors import Fault, Refused, ThinstockError
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

LONGEST_SAID = 200
"""Letters of what another reader says that are told on."""
LARGEST_NAMED = 50_000_000
"""Bytes of a file whose fingerprint is told."""
DEEPEST = 64
"""Lists and tables one inside the other, in a file of records."""


def content(place: str | os.PathLike[str], most: int, *, file: str = "", kind: type[Refused] = Refused) -> bytes:
    """The bytes of a file.

    Parameters
    ----------
    place : str or Path
        A file of whoever; pipes and devices are never waited for.
    most : int
        Largest size, bytes.
    file : str
        What faults call it; without it the path.
    kind : type
        What is raised.

    Raises
    ------
    Refused
        Not there, no file, too large, or not to be opened, with the cause.

    Source: none.
    """
    shown = file or os.fspath(place)
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        if os.path.isdir(place):
            raise kind(fault_in("files.is_folder", shown))
        with open(os.open(place, flags), "rb") as opened:
            found = os.fstat(opened.fileno())
            if not stat.S_ISREG(found.st_mode):
                raise kind(fault_in("files.not_file", shown))
            raw = opened.read(most + 1) if found.st_size <= most else b""
            size = max(found.st_size, len(raw))
    except FileNotFoundError:
        raise kind(fault_in("files.no_such_file", shown)) from None
    except (OSError, ValueError) as error:
        reason = str(getattr(error, "strerror", None) or error).lower()
        raise kind(Fault(field=shown, bound=phrase("files.cannot_be_opened", reason=reason))) from None
    if size > most:
        raise kind(fault_in("files.too_large", shown, f"{size} bytes", most=most))
    return raw


def fingerprint(place: str | os.PathLike[str] | None) -> str:
    """SHA-256 of a file in hex; empty for none, and where it cannot be had or is no plain file."""
    try:
        return "" if place is None else hashlib.sha256(content(place, LARGEST_NAMED)).hexdigest()
    except Refused:
        return ""


def record(place: str | os.PathLike[str], most: int, *, file: str = "") -> dict[str, Any]:
    """The object of a JSON file; what is none, or nests too deep, is refused."""
    raw = content(place, most, file=file)
    return record_of(raw, file or os.fspath(place))


def record_of(raw: bytes | str, file: str) -> dict[str, Any]:
    """The object of a JSON text; what is none, nests too deep or holds a number that is none is refused."""
    with foreign(file):
        found = json.loads(raw, parse_constant=_no_number)
        if not isinstance(found, dict):
            raise Refused(fault_in("files.no_object", file))
        if _depth(found) > DEEPEST:
            raise Refused(fault_in("files.too_deep", file, most=DEEPEST))
    return found


@contextmanager
def foreign(file: str | Path, kind: type[Refused] = Refused) -> Iterator[None]:
    """Whatever is raised inside while a foreign file is read becomes a refusal that names the file.

    What is refused already passes unchanged; the first cause stays behind the refusal, for who asks for a trace.
    """
    try:
        yield
    except ThinstockError:
        raise
    except (RecursionError, MemoryError) as error:
        raise kind(fault_in("files.too_much", str(file), kind=type(error).__name__)) from error
    except Exception as error:
        said = " ".join(str(error).split())[:LONGEST_SAID] or type(error).__name__
        raise kind(fault_in("files.unreadable", str(file), said=said)) from error


def _no_number(text: str) -> float:
    raise ValueError(phrase("files.no_number", text=text))


def _depth(found: Any) -> int:
    """How deep lists and objects stand inside one another, counted without recursion."""
    deepest, waiting = 0, [(found, 1)]
    while waiting:
        node, depth = waiting.pop()
        inside = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
        deepest = max(deepest, depth if isinstance(node, dict | list) else 0)
        waiting += [(one, depth + 1) for one in inside if isinstance(one, dict | list)]
        if deepest > DEEPEST:
            break
    return deepest
