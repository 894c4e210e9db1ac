"""Asks the program what a user can ask it, by the ways that stay: commands, public names, addresses of the page."""

from __future__ import annotations

import atexit
import hashlib
import io
import json
import os
import re
import tempfile
from collections import Counter
from contextlib import ExitStack, redirect_stderr, redirect_stdout
from functools import lru_cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from unittest import mock

from thinstock.cli import main

ESCAPES = re.compile(r"\x1b\[[0-9;]*m")


class Stream(io.TextIOWrapper):
    """A stream of text in memory, as a pipe or as a terminal."""

    def __init__(self, *, terminal: bool) -> None:
        self.held = io.BytesIO()
        self.terminal = terminal
        super().__init__(self.held, encoding="utf-8", newline="\n", write_through=True)

    def isatty(self) -> bool:
        return self.terminal

    def told(self) -> str:
        """All that was written."""
        self.flush()
        return self.held.getvalue().decode()


# -- the command line ----------------------------------------------------------------------------------------------


def command(*args: str, columns: int | None = None) -> tuple[int, str, str]:
    """Exit status, output and error stream of a command; with `columns` as on a terminal of that width."""
    out, err = Stream(terminal=columns is not None), Stream(terminal=False)
    width = {} if columns is None else {"COLUMNS": str(columns), "LINES": "50", "TERM": "dumb"}
    status: Any = 0
    with ExitStack() as held:
        held.enter_context(mock.patch.dict(os.environ, width))
        held.enter_context(redirect_stdout(out))
        held.enter_context(redirect_stderr(err))
        try:
            main(list(args))
        except SystemExit as left:
            status = left.code or 0
    return int(status), ESCAPES.sub("", out.told()), err.told()


def told(*args: str, columns: int | None = None) -> str:
    """A command and what it tells, as a text."""
    status, out, err = command(*args, columns=columns)
    head = "$ thinstock " + " ".join(f'"{a}"' if " " in a else a for a in args)
    if columns is not None:
        head += f"   [{columns} columns]"
    parts = [head, out.rstrip("\n")]
    if status:
        parts += [f"[exit {status}]", err.rstrip("\n")]
    return "\n".join(parts) + "\n"


def talk(*asked: tuple[str, ...]) -> str:
    """Several commands one below the other."""
    return "\n".join(told(*args) for args in asked)


def numbers(*args: str) -> Any:
    """The JSON object of a command; where it is refused, its status and its words."""
    status, out, err = command(*args, "--json")
    return json.loads(out) if not status else {"exit": status, "error": err.splitlines()}


def written(name: str, *args: str) -> str:
    """The text of a file that a command writes with `--out`."""
    with tempfile.TemporaryDirectory() as folder:
        status, _, err = command(*args, "--out", str(Path(folder) / name))
        if status:
            return f"[exit {status}]\n{err}"
        return (Path(folder) / name).read_text(encoding="utf-8")


def tables(*args: str) -> dict[str, str]:
    """The tables that a command writes with `--csv`, by their name."""
    with tempfile.TemporaryDirectory() as folder:
        status, _, err = command(*args, "--csv", folder)
        if status:
            return {"error": err}
        return {path.name: path.read_text(encoding="utf-8") for path in sorted(Path(folder).iterdir())}


# -- the page ------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def page() -> Any:
    """A browser tab on an empty workspace; lives as long as the process."""
    from app_client import Client

    folder = tempfile.TemporaryDirectory()
    made = Client(Path(folder.name))
    atexit.register(folder.cleanup)
    atexit.register(made.close)
    return made


def got(path: str) -> str:
    """The text at an address of the page."""
    reply = page().get(path)
    return str(reply.text) if reply.status_code == 200 else f"[status {reply.status_code}]\n{reply.text}"


def answered(path: str, body: Any) -> Any:
    """What the page is answered when it posts."""
    reply = page().post(path, body)
    return reply.json() if reply.status_code == 200 else {"status": reply.status_code, "answer": reply.json()}


# -- HTML and SVG as lines -----------------------------------------------------------------------------------------

MASKED = ((re.compile(r"/charts/[^\"]+\.js"), "/charts/VERSION.js"), (re.compile(r"a-token-for-tests"), "TOKEN"))
VOID = frozenset(["area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"])
BARE = frozenset(["b", "i", "em", "strong", "sub", "sup", "span", "small", "abbr", "var"])
"""Tags that stand inside a line of words; they are left out when they say nothing but their look."""
LOOK = frozenset(("class", "style"))


def masked(text: str) -> str:
    """A text without what differs from one computer to the next."""
    for pattern, said in MASKED:
        text = pattern.sub(said, text)
    return text


class Lines(HTMLParser):
    """A page as lines: the words of each block, tags with what they carry (not their look), drawings as a digest."""

    def __init__(self, *, tags: bool) -> None:
        super().__init__(convert_charrefs=True)
        self.tags = tags
        self.lines: list[str] = []
        self.data: dict[str, Any] = {}
        self.words = ""
        self.quiet: str | None = None
        self.script: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in ("script", "style"):
            self.quiet = tag
            self.script = given.get("id") if given.get("type") == "application/json" else None
        carried = {k: v for k, v in given.items() if k not in LOOK}
        if tag in BARE and not carried:
            return
        self.flush()
        if self.tags and carried:
            shown = " ".join(k if v is None else f'{k}="{_short(v)}"' for k, v in sorted(carried.items()))
            self.lines.append(f"<{tag} {shown}>")

    def handle_endtag(self, tag: str) -> None:
        if tag == self.quiet:
            self.quiet = self.script = None
        elif tag not in BARE and tag not in VOID:
            self.flush()

    def handle_data(self, data: str) -> None:
        if self.quiet is None:
            self.words += data
        elif self.script is not None:
            self.data[self.script] = json.loads(data)

    def flush(self) -> None:
        """Close the line of words."""
        line = " ".join(self.words.split())
        self.words = ""
        if line:
            self.lines.append(line)


def _short(value: str) -> str:
    """An attribute; a picture that is held in it becomes a digest."""
    if value.startswith("data:"):
        return f"{value.split(',')[0]},{hashlib.sha256(value.encode()).hexdigest()[:16]}"
    return " ".join(value.split())


def parsed(html: str, *, tags: bool = True) -> Lines:
    """A page or a piece of one as lines, and the data its scripts hold by their id."""
    drawings: list[str] = []

    def out(found: re.Match[str]) -> str:
        drawings.append(found[0])
        return f"<svg number={len(drawings) - 1}></svg>"

    made = Lines(tags=tags)
    made.feed(re.sub(r"<svg\b.*?</svg>", out, masked(html), flags=re.S))
    made.close()
    made.flush()
    lines = []
    for line in made.lines:
        mark = re.fullmatch(r'<svg number="(\d+)">', line)
        lines += [line] if mark is None else _drawing_lines(drawings[int(mark[1])])
    if not tags:
        lines += [line for one in drawings for line in _drawing_lines(one)]
    made.lines = lines
    return made


def lines(html: str, *, tags: bool = True) -> list[str]:
    """A piece of a page as lines."""
    return parsed(html, tags=tags).lines


def drawing(svg: str) -> dict[str, Any]:
    """A drawing: its digest, how many of each element it has, its words in their order."""
    words = re.findall(r"<(?:text|tspan|title|desc)\b[^>]*>([^<]+)", svg)
    return {
        "sha256": hashlib.sha256(svg.encode()).hexdigest(),
        "elements": dict(Counter(re.findall(r"<([a-zA-Z]+)", svg))),
        "words": [" ".join(word.split()) for word in words if word.strip()],
    }


def _drawing_lines(svg: str) -> list[str]:
    told = drawing(svg)
    head = (
        f"[drawing {told['sha256'][:16]}: " + ", ".join(f"{n} {k}" for k, n in sorted(told["elements"].items())) + "]"
    )
    return [head, *(f"[drawing] {word}" for word in told["words"])]
