"""On which line of a TOML text each key stands. Takes text that has been parsed already; it checks nothing.

The reader of the standard library gives values without places. A refusal that names its line saves a search, so the
text is gone through once more for places alone.
"""

from __future__ import annotations

import bisect
import re
import tomllib

Key = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_BASIC = re.compile(r'"(?:[^"\\]|\\.)*"')
_LITERAL = re.compile(r"'[^']*'")
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.DOTALL)
_LONG_LITERAL = re.compile(r"'''.*?'{3,5}", re.DOTALL)


def lines_of(text: str) -> dict[Key, int]:
    """The line (from 1) of every key, table and item, by its path; items of lists go by their number from 0."""
    try:
        return _Places(text).places
    except RecursionError:
        return {}


class _Places:
    """One pass over a text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.places: dict[Key, int] = {}
        self.counts: dict[Key, int] = {}
        self.starts = [0] + [m.end() for m in re.finditer("\n", text)]
        self._document()

    def _mark(self, key: Key, at: int) -> None:
        self.places.setdefault(key, bisect.bisect_right(self.starts, at))

    def _document(self) -> None:
        here: Key = ()
        at = self._skip(_BLANK, 0)
        while at < len(self.text):
            if self.text[at] == "[":
                at, here = self._header(at)
            else:
                at = self._pair(at, here)
            at = self._skip(_BLANK, at)

    def _skip(self, pattern: re.Pattern[str], at: int) -> int:
        found = pattern.match(self.text, at)
        return found.end() if found else at

    def _header(self, at: int) -> tuple[int, Key]:
        many = self.text.startswith("[[", at)
        names, end = self._key(at + (2 if many else 1))
        path: Key = ()
        for name in names[:-1]:
            path = self._last((*path, name))
        path = (*path, names[-1])
        if many:
            number = self.counts.get(path, 0)
            self.counts[path] = number + 1
            self._mark(path, at)
            path = (*path, number)
        self._mark(path, at)
        return end + (2 if many else 1), path

    def _last(self, path: Key) -> Key:
        return (*path, self.counts[path] - 1) if path in self.counts else path

    def _key(self, at: int) -> tuple[list[str], int]:
        names: list[str] = []
        while True:
            at = self._skip(_SPACE, at)
            for pattern in (_BASIC, _LITERAL, _BARE_KEY):
                found = pattern.match(self.text, at)
                if found:
                    break
            else:
                return names or [""], at + 1
            names.append(_name(found[0]))
            at = self._skip(_SPACE, found.end())
            if self.text[at : at + 1] != ".":
                return names, at
            at += 1

    def _pair(self, at: int, here: Key) -> int:
        names, end = self._key(at)
        path = here
        for name in names:
            path = (*path, name)
            self._mark(path, at)
        return self._value(self._skip(_SPACE, end + 1), path)

    def _value(self, at: int, path: Key) -> int:
        mark = self.text[at : at + 3]
        if mark.startswith("["):
            return self._array(at + 1, path)
        if mark.startswith("{"):
            return self._inline(at + 1, path)
        if mark == '"""':
            return self._skip(_LONG_BASIC, at)
        if mark == "'''":
            return self._skip(_LONG_LITERAL, at)
        if mark.startswith('"'):
            return self._skip(_BASIC, at)
        if mark.startswith("'"):
            return self._skip(_LITERAL, at)
        return self._skip(_SCALAR, at)

    def _array(self, at: int, path: Key) -> int:
        number = 0
        while True:
            at = self._skip(_BLANK, at)
            if at >= len(self.text) or self.text[at] == "]":
                return at + 1
            self._mark((*path, number), at)
            at = self._skip(_BLANK, self._value(at, (*path, number)))
            number += 1
            if self.text[at : at + 1] == ",":
                at += 1

    def _inline(self, at: int, path: Key) -> int:
        while True:
            at = self._skip(_BLANK, at)
            if at >= len(self.text) or self.text[at] == "}":
                return at + 1
            at = self._skip(_BLANK, self._pair(at, path))
            if self.text[at : at + 1] == ",":
                at += 1


def _name(raw: str) -> str:
    if raw[0] == '"' and "\\" in raw:
        return str(tomllib.loads(f"x = {raw}")["x"])
    return raw[1:-1] if raw[0] in "\"'" else raw
