"""From a file to a TOML table: size, encoding, syntax. Says what is wrong in the user's words; knows no field.

A value without its quotes is the slip met most often. It is reported with the line as it should be, read as if it had
been written so, and the search for faults goes on.
"""

from __future__ import annotations

import difflib
import hashlib
import os
import re
import stat
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from thinstock.errors import Fault, Refused
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

LIMIT = 1_000_000
"""Largest machine file, bytes."""
MOST_ITEMS = 200
"""Items of one list: no machine has so many elements, slots, fibres or nips."""
DEEPEST = 20
"""Tables and lists one inside the other."""

_PLACE = re.compile(r"\s*\(at line (\d+), column (\d+)\)|\s*\(at end of document\)")
_UNQUOTED = re.compile(r"""^(\s*)([A-Za-z0-9_.-]+)(\s*=\s*)([^\s"'\[{#][^"'#]*?)(\s*(?:\#.*)?)$""")
_HEADER = re.compile(r"^\s*\[{1,2}\s*([^\[\]]+?)\s*\]{1,2}")


@dataclass(frozen=True)
class Origin:
    """The text a machine was read from."""

    file: str
    """As shown to people."""
    path: Path | None
    """None for text that never was a file of the user's own."""
    text: str
    digest: str
    """Of the bytes on disk, to see whether someone changed them since."""


def digest(raw: bytes) -> str:
    """Fingerprint of a file's content."""
    return hashlib.sha256(raw).hexdigest()


def origin_of_text(text: str, file: str) -> Origin:
    """The origin of text that is no file."""
    raw = text.encode("utf-8", "surrogatepass")
    if len(raw) > LIMIT:
        raise Refused(_too_large(file, len(raw)))
    return Origin(file, None, text, digest(raw))


def origin_beside(text: str, file: str, folder: str | Path) -> Origin:
    """The origin of the text of a file in a folder, where what it names beside itself is looked for."""
    return replace(origin_of_text(text, file), path=Path(folder) / file)


def origin_of_file(place: str | Path, known: tuple[str, ...] = ()) -> Origin:
    """Read a file; what is missing, no file, too large or not UTF-8 is refused before anything is parsed."""
    path, shown = Path(place), os.fspath(place)
    try:
        found = os.stat(shown)
    except (OSError, ValueError) as error:
        missing = isinstance(error, FileNotFoundError)
        bound = phrase("case.text.there_no_such_file_or") if missing else phrase("case.text.cannot_be_opened")
        raise Refused(Fault(field="machine", value=shown, bound=bound, remedy=_names(shown, known))) from None
    if stat.S_ISDIR(found.st_mode):
        raise Refused(fault_in("case.text.folder", "machine", shown))
    if not stat.S_ISREG(found.st_mode):
        raise Refused(fault_in("case.text.not_file", "machine", shown))
    if found.st_size > LIMIT:
        raise Refused(_too_large(shown, found.st_size))
    try:
        with open(path, "rb") as opened:
            raw = opened.read(LIMIT + 1)
    except OSError:
        raise Refused(fault_in("case.text.machine_2", "machine", shown)) from None
    if len(raw) > LIMIT:
        raise Refused(_too_large(shown, len(raw)))
    return Origin(shown, path, decoded(raw, shown), digest(raw))


def decoded(raw: bytes, file: str) -> str:
    """The text of a file, which must be UTF-8."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise Refused(
            Fault(
                field="text",
                value=f"byte {raw[error.start]:#04x}",
                bound=phrase("case.text.file_not_utf"),
                remedy=phrase("case.text.save_it_as_utf"),
                file=file,
                line=line,
            )
        ) from None


def parsed(text: str, file: str) -> tuple[dict[str, Any], str, list[Fault]]:
    """The table of a text, the text as it was mended line by line, and the faults of its syntax.

    A table that cannot be had at all is refused.
    """
    faults: list[Fault] = []
    lines = text.replace("\r\n", "\n").split("\n")
    for _ in range(max(5, min(200, 2_000_000 // (len(text) + 1)))):
        try:
            mended_text = "\n".join(lines)
            table = tomllib.loads(mended_text)
            _bounded(table, file)
            return table, mended_text, faults
        except RecursionError:
            faults.append(Fault(field="text", bound=phrase("case.text.lists_or_tables_nested_too"), file=file))
            break
        except Refused:
            raise
        except ValueError as error:
            number, fault = _syntax(str(error), lines, file)
            faults.append(fault)
            mended = _mended(lines[number - 1]) if number else None
            if mended is None:
                break
            lines[number - 1] = mended
    raise Refused(faults)


def _bounded(table: dict[str, Any], file: str) -> None:
    """Refuse lists that are longer, or stand deeper in one another, than any machine needs."""
    faults: list[Fault] = []
    waiting: list[tuple[str, Any, int]] = [("", table, 1)]
    while waiting:
        at, node, depth = waiting.pop()
        if depth > DEEPEST:
            faults.append(replace(fault_in("case.text.too_deep", at or "text", most=DEEPEST), file=file))
            continue
        if isinstance(node, list) and len(node) > MOST_ITEMS:
            faults.append(replace(fault_in("case.text.too_many", at, f"{len(node)} items", most=MOST_ITEMS), file=file))
            continue
        named = node.items() if isinstance(node, dict) else ((str(k + 1), one) for k, one in enumerate(node))
        waiting += [(f"{at}.{n}".strip("."), one, depth + 1) for n, one in named if isinstance(one, dict | list)]
    if faults:
        raise Refused(faults)


def _mended(line: str) -> str | None:
    """The line with its value in quotes, if that is what it lacks."""
    found = _UNQUOTED.match(line)
    if found is None:
        return None
    before, key, equals, value, after = found.groups()
    quoted = value.strip().replace("\\", "/")
    mended = f'{before}{key}{equals}"{quoted}"{after}'
    try:
        tomllib.loads(line)
    except ValueError:
        pass
    else:
        return None
    try:
        tomllib.loads(mended)
    except ValueError:
        return None
    return mended


def _syntax(message: str, lines: list[str], file: str) -> tuple[int, Fault]:
    """The line of a syntax error (0 if it has none) and the fault."""
    place = _PLACE.search(message)
    number = int(place[1]) if place and place[1] else len(lines) if place else 0
    what = _PLACE.sub("", message).strip()
    line = lines[number - 1] if 0 < number <= len(lines) else ""
    key = re.match(r"\s*([A-Za-z0-9_.-]+)\s*=", line)
    field = f"{_section(lines, number)}{key[1]}" if key else "text"
    shown = line.split("=", 1)[1].strip() if key else line.strip()
    mended = _mended(line) if line else None
    if mended is not None:
        bound, remedy = phrase("case.text.text_values_with_unit_stand"), f"Write {mended.split('#')[0].strip()}"
    elif "overwrite" in what or "twice" in what or "already" in what:
        bound, remedy = phrase("case.text.given_twice"), phrase("case.text.keep_one_two")
    else:
        what = what or phrase("case.text.cannot_be_read")
        bound = phrase("case.text.not_in_form_machine_file", lower=what[:1].lower(), what=what[1:])
        remedy = phrase("case.text.line_name_value_section_or")
    return number, Fault(field=field, value=shown[:120], bound=bound, remedy=remedy, file=file, line=number or None)


def _section(lines: list[str], number: int) -> str:
    for line in reversed(lines[: max(number - 1, 0)]):
        found = _HEADER.match(line)
        if found:
            return f"{found[1]}."
    return ""


def _too_large(file: str, size: int) -> Fault:
    return fault_in("case.text.machine", "machine", f"{file} ({size / 1e6:.3g} MB)", limit=f"{LIMIT / 1000000.0:.3g}")


def _names(name: str, known: tuple[str, ...]) -> str:
    if not known:
        return phrase("case.text.give_path_machine_file")
    near = difflib.get_close_matches(Path(name).stem, known, n=3, cutoff=0.4)
    return f"Nearest: {', '.join(near)}." if near else f"Bundled machines: {', '.join(known)}."
