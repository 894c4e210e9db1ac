"""Pages of prose: Markdown in which numbers, command output and code are put by the library itself.

What a page shows of a command is what the command prints when the page is built; a command that fails is a warning.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import shutil
import tempfile
from collections.abc import Iterator
from functools import lru_cache
from html import escape
from itertools import takewhile
from pathlib import Path
from typing import Any

import jinja2
from markdown_it import MarkdownIt

import thinstock
from generator.site import HERE, Page, Site
from thinstock import drawing
from thinstock.cli import status
from thinstock.tell.teller import Teller

CONTENT = HERE / "content"
EXAMPLES = HERE.parent / "examples"


def _paragraph(printed: list[str], words: str) -> list[str]:
    """The line that holds these words, with what is set in below it."""
    first = next((k for k, line in enumerate(printed) if words in line), len(printed))
    return printed[first : first + 1] + list(takewhile(lambda line: line.startswith("  "), printed[first + 1 :]))


@lru_cache(maxsize=8)
def teller(machine: str) -> Teller:
    """A bundled machine, run once."""
    return Teller(thinstock.load(machine))


@contextlib.contextmanager
def working_in(folder: str) -> Iterator[None]:
    """Commands of one page share a folder of their own."""
    before = os.getcwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


class Prose:
    """Turns the Markdown files of a folder into pages."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.markdown = MarkdownIt("commonmark", {"html": True}).enable("table")

    def add_all(self) -> None:
        """Every file of the content folder, in the order of the names."""
        for section in ("learn", "do", "why"):
            for path in sorted((CONTENT / section).glob("*.md")):
                self.site.add(self.page(path, section))

    def page(self, path: Path, section: str) -> Page:
        """One file as a page; the number before its name only orders it."""
        name = re.sub(r"^\d+-", "", path.stem)
        where = f"{section}/{name}.html"
        with tempfile.TemporaryDirectory() as folder, working_in(folder):
            for machine in EXAMPLES.glob("*.toml"):
                shutil.copy(machine, folder)
            text = self._filled(path.read_text(encoding="utf-8"), where)
        head, _, rest = text.partition("\n")
        if not head.startswith("# "):
            self.site.warn(where, "does not begin with a title")
        summary, _, rest = rest.strip().partition("\n\n")
        body = self.markdown.render(f"{summary}\n\n{rest}")
        body = re.sub(r"<h2>(.*?)</h2>", lambda m: f'<h2 id="{_anchor(m[1])}">{m[1]}</h2>', body)
        return Page(where, head.removeprefix("# ").strip(), body, summary=re.sub(r"[*_`]|\[|\]\([^)]*\)", "", summary))

    def _filled(self, text: str, where: str) -> str:
        environment = jinja2.Environment(undefined=jinja2.StrictUndefined, keep_trailing_newline=True)
        environment.globals.update(
            run=lambda *commands, **how: self._run(where, *commands, **how),
            value=lambda machine, name: teller(machine).value(name),
            end_of_forming=lambda machine: _end(machine),
            share=lambda machine, stage: teller(machine).per_cent(teller(machine).stage(stage).share),
            chart=lambda name, machine: self._chart(where, name, machine),
            elevation=lambda machine: self._elevation(where, machine),
            example=lambda name: self._example(where, name),
            said=_said,
            count=lambda: len(thinstock.formulas()),
        )
        environment.filters["python"] = lambda code: self._python(where, code)
        try:
            return environment.from_string(text).render()
        except Exception as wrong:
            self.site.warn(where, f"cannot be filled in: {type(wrong).__name__}: {wrong}")
            return "# Not made\n\nThis page could not be made.\n"

    def _run(self, where: str, *commands: str, lines: int = 0, only: str = "", refused: bool = False) -> str:
        """Commands with what they print, as a block: so many lines, or the paragraph that holds certain words.

        `refused` where the page shows a refusal.
        """
        shown = []
        for command in commands:
            out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
            with _columns(WIDE), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = status(shlex.split(command)[1:])
            text = [_written(stream) for stream in (out, err)]
            if code != (1 if refused else 0):
                self.site.warn(where, f"{command!r} ends with {code}: {text[1].strip()[:200]}")
            printed = "".join(text).rstrip().splitlines()
            if only:
                printed = _paragraph(printed, only)
                if not printed:
                    self.site.warn(where, f"{command!r} does not say {only!r}")
            if lines and len(printed) > lines:
                printed = [*printed[:lines], "..."]
            shown.append("\n".join([f"$ {command}", *printed]))
        return "```\n" + "\n\n".join(shown) + "\n```"

    def _python(self, where: str, code: str) -> str:
        """A piece of Python with what it prints."""
        out = io.StringIO()
        try:
            with contextlib.redirect_stdout(out):
                exec(compile(code, where, "exec"), {})
        except Exception as wrong:
            self.site.warn(where, f"code fails: {type(wrong).__name__}: {wrong}")
        comment = "".join(f"\n# {line}" for line in out.getvalue().rstrip().splitlines())
        return f"```python\n{code.strip()}{comment}\n```"

    def _chart(self, where: str, name: str, machine: str) -> str:
        source: Any = {"result": teller(machine).result}.get(drawing.chart_needs(name))
        if source is None:
            source = teller(machine).limits if drawing.chart_needs(name) == "limits" else teller(machine).ladder
        rows = drawing.chart_data(name, source)
        path = f"pictures/{name}-{machine}.svg"
        self.site.files[path] = drawing.chart_svg(name, rows, title=False).encode("utf-8")
        return _figure(path, drawing.chart_alt(name, rows), drawing.chart_title(name))

    def _elevation(self, where: str, machine: str) -> str:
        path = f"pictures/elevation-{machine}.svg"
        self.site.files[path] = drawing.elevation(teller(machine).result, theme="print").encode("utf-8")
        return _figure(
            path, drawing.alt_text(teller(machine).result), "To scale; the width of a band of water is its flow"
        )

    def _example(self, where: str, name: str) -> str:
        path = EXAMPLES / name
        if not path.is_file():
            self.site.warn(where, f"there is no example {name}")
            return ""
        return f"`examples/{name}`\n\n```python\n{path.read_text(encoding='utf-8').rstrip()}\n```"


@contextlib.contextmanager
def _columns(count: int) -> Iterator[None]:
    """A terminal so wide that nothing of it is cut in a box of the page."""
    before = os.environ.get("COLUMNS")
    os.environ["COLUMNS"] = str(count)
    try:
        yield
    finally:
        if before is None:
            del os.environ["COLUMNS"]
        else:
            os.environ["COLUMNS"] = before


WIDE = 88


def _written(stream: io.TextIOWrapper) -> str:
    """What was written to a stream."""
    stream.flush()
    content: bytes = stream.buffer.getvalue()  # type: ignore[attr-defined]
    return content.decode("utf-8")


def _end(machine: str) -> str:
    from thinstock.tell.walk import end_of_forming

    return end_of_forming(teller(machine))


def _said(name: str) -> str:
    """Words of the ladder of formers."""
    from thinstock.studies.ladder import words

    return words()[name]


def _figure(path: str, alt: str, caption: str) -> str:
    words = escape(alt, quote=True)
    return f'<figure><img src="file:{path}" alt="{words}"><figcaption>{escape(caption)}</figcaption></figure>'


def _anchor(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", re.sub(r"<[^>]+>", "", text).lower()).strip("-")
