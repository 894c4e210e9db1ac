"""Pages, their places and links, and what is wrong with them. Everything is a file of its own; nothing is fetched."""

from __future__ import annotations

import itertools
import posixpath
import re
from dataclasses import dataclass, field
from html import unescape
from pathlib import Path

import jinja2
from markupsafe import Markup

from thinstock.tell.page import style

HERE = Path(__file__).resolve().parent.parent
SECTIONS = {
    "learn": "Learn",
    "do": "Do",
    "look-up": "Look up",
    "gallery": "Solved problems",
    "why": "Why",
}
"""Sections in the order of the menu."""


@dataclass
class Page:
    """One page."""

    path: str
    """Such as "do/compare.html"."""
    title: str
    body: str
    """HTML; links to other pages as page:do/compare or formula:jet.flow_per_width."""
    summary: str = ""
    listed: bool = True
    """Whether the page of its section lists it."""

    @property
    def section(self) -> str:
        """Key of the section; empty for the first page."""
        return self.path.split("/")[0] if "/" in self.path else ""


@dataclass
class Site:
    """All pages, and what does not fit."""

    pages: dict[str, Page] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)
    """Pictures and other files by path."""
    warnings: list[str] = field(default_factory=list)

    def add(self, page: Page) -> None:
        """Add a page; two of the same place are a fault."""
        if page.path in self.pages:
            self.warnings.append(f"{page.path}: there are two pages of this place")
        self.pages[page.path] = page

    def warn(self, where: str, what: str) -> None:
        """Note a fault."""
        self.warnings.append(f"{where}: {what}")

    def listed(self, section: str) -> list[Page]:
        """The pages that a section lists, in the order in which they were added."""
        return [
            p for p in self.pages.values() if p.section == section and p.listed and not p.path.endswith("index.html")
        ]

    def finish(self) -> dict[str, str]:
        """Every page as a file: links resolved and checked, menu around it."""
        for section, title in SECTIONS.items():
            self.add(Page(f"{section}/index.html", title, self._index(section), listed=False))
        template = jinja2.Environment(
            loader=jinja2.FileSystemLoader(HERE / "templates"), autoescape=True, undefined=jinja2.StrictUndefined
        ).get_template("page.html.j2")
        made = {}
        for path, page in self.pages.items():
            up = "../" * path.count("/")
            body = self._resolved(page, up)
            made[path] = template.render(
                page=page, body=Markup(body), up=up, sections=SECTIONS, here=page.section,
                beside=self.listed(page.section) if page.listed else [],
            )  # fmt: skip
        self._check(made)
        self.files["style.css"] = (style() + (HERE / "templates" / "site.css").read_text(encoding="utf-8")).encode()
        return made

    def _index(self, section: str) -> str:
        rows = [
            f'<li><a href="page:{p.path.removesuffix(".html")}">{p.title}</a><br>'
            f'<span class="faint">{p.summary}</span></li>'
            for p in self.listed(section)
        ]
        return f'<ul class="contents">{"".join(rows)}</ul>'

    def _resolved(self, page: Page, up: str) -> str:
        """Links to pages and formulas as addresses of files."""

        def address(found: re.Match[str]) -> str:
            kind, name, anchor = found[1], found[2], found[3] or ""
            target = f"{name}.html" if kind == "page" else f"look-up/formulas/{name}.html"
            if target not in self.pages:
                self.warn(page.path, f"links to {kind}:{name}, which is not there")
            return f'href="{up}{target}{anchor}"'

        body = re.sub(r'href="(page|formula):([^"#]+)(#[^"]*)?"', address, page.body)
        return body.replace('src="file:', f'src="{up}').replace('href="file:', f'href="{up}')

    def _check(self, made: dict[str, str]) -> None:
        """Every address is a page, an anchor or a file of the site; every picture has words; headings do not jump."""
        for path, text in made.items():
            anchors = re.findall(r'\bid="([^"]+)"', text)
            for twice in {a for a in anchors if anchors.count(a) > 1}:
                self.warn(path, f"two places are called {twice}")
            for found in re.findall(r'(?:href|src)="([^"]*)"', text):
                self._address(path, unescape(found), made)
            for tag in re.findall(r"<img[^>]*>", text):
                if not re.search(r'alt="[^"]{10,}"', tag):
                    self.warn(path, "a picture has no words that stand for it")
            levels = [int(n) for n in re.findall(r"<h([1-6])", text)]
            if levels[:1] != [1] or any(b > a + 1 for a, b in itertools.pairwise(levels)):
                self.warn(path, f"headings jump: {levels}")
            if re.search(r"\{\{|\}\}|\{%", text):
                self.warn(path, "a placeholder was left standing")

    def _address(self, path: str, found: str, made: dict[str, str]) -> None:
        if found.startswith("data:image/"):
            return
        if re.match(r"[a-z]+:", found) or found.startswith("//"):
            self.warn(path, f"points outside: {found[:60]}")
            return
        place, _, anchor = found.partition("#")
        target = posixpath.normpath(posixpath.join(posixpath.dirname(path), place)) if place else path
        if target not in made and target not in self.files and target != "style.css":
            self.warn(path, f"points to {found}, which is not there")
        elif anchor and target in made and f'id="{anchor}"' not in made[target]:
            self.warn(path, f"points to {found}, where nothing is called {anchor}")


def write(site: Site, folder: Path) -> int:
    """Write the site into a folder; gives the number of files."""
    made: dict[str, bytes] = {path: text.encode("utf-8") for path, text in site.finish().items()}
    made |= site.files
    for path, content in made.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return len(made)
