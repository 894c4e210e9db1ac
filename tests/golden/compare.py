"""Holds two records against each other: words exactly, numbers to 1e-12 of the larger one."""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

SAME = 1e-12
RESIDUES = frozenset(("closure",))
"""What is zero but for rounding: held to 1e-12 as it stands."""
ABSENT = "(absent)"
WIDTH = 110


@dataclass(frozen=True)
class Difference:
    """One place at which two records differ."""

    place: str
    old: str
    new: str


def differences(old: Any, new: Any) -> list[Difference]:
    """Every place at which two records differ: two texts, or two values of JSON."""
    if isinstance(old, str) and isinstance(new, str):
        return list(_texts(old, new))
    return list(_values(old, new, "", False))


def _texts(old: str, new: str) -> Iterator[Difference]:
    if old == new:
        return
    before, after = old.split("\n"), new.split("\n")
    for kind, a, b, c, d in difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if kind != "equal":
            pairs = zip_longest(before[a:b], after[c:d], fillvalue=ABSENT)
            for k, (was, now) in enumerate(pairs):
                yield Difference(f"line {a + k + 1}", was, now)


def _values(old: Any, new: Any, place: str, residue: bool) -> Iterator[Difference]:
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted({*old, *new}):
            where = f"{place}/{key}"
            if key not in old or key not in new:
                yield Difference(where, _shown(old.get(key, ABSENT)), _shown(new.get(key, ABSENT)))
            else:
                yield from _values(old[key], new[key], where, residue or key in RESIDUES)
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield Difference(f"{place} (length)", str(len(old)), str(len(new)))
        for k, (was, now) in enumerate(zip_longest(old, new, fillvalue=ABSENT)):
            yield from _values(was, now, f"{place}/{k}", residue)
    elif not _same(old, new, residue):
        yield Difference(place, _shown(old), _shown(new))


def _same(old: Any, new: Any, residue: bool) -> bool:
    if not (_number(old) and _number(new)):
        return type(old) is type(new) and bool(old == new)
    if residue and max(abs(old), abs(new)) <= SAME:
        return True
    if not (math.isfinite(old) and math.isfinite(new)):
        return old == new or (math.isnan(old) and math.isnan(new))
    return abs(old - new) <= SAME * max(abs(old), abs(new))


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _shown(value: Any) -> str:
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 4 * WIDTH else text[: 4 * WIDTH] + " ..."


def text_of(value: Any, depth: int = 0) -> str:
    """A value as JSON with sorted keys; what is short and flat stands on one line."""
    flat = json.dumps(value, ensure_ascii=False, sort_keys=True)
    room = WIDTH - depth
    if not isinstance(value, dict | list) or not value or len(flat) <= room:
        return flat
    pad = " " * (depth + 1)
    if isinstance(value, dict):
        rows = [f"{json.dumps(k, ensure_ascii=False)}: {text_of(value[k], depth + 1)}" for k in sorted(value)]
        return "{\n" + ",\n".join(pad + row for row in rows) + f"\n{pad[1:]}}}"
    return "[\n" + ",\n".join(pad + text_of(one, depth + 1) for one in value) + f"\n{pad[1:]}]"
