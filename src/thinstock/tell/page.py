"""Blocks as HTML, and whole pages from templates: everything is escaped, styles are inside, nothing is fetched.

`table` sets a table of the live page (numbers at their points, scrolled where narrow), `blocks` the pieces of a text.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup

from thinstock.tell.blocks import Bar, Block, Table


@lru_cache(maxsize=1)
def environment() -> jinja2.Environment:
    """The templates, with every text escaped and every unknown name refused."""
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("thinstock.tell", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.tests["bar"] = lambda cell: isinstance(cell, Bar)
    made.filters["math"] = lambda row: Markup(row["mathml"])
    made.filters["drawing"] = lambda svg: Markup(svg)
    return made


@lru_cache(maxsize=1)
def style() -> str:
    """The one style sheet of all pages."""
    return files("thinstock.tell").joinpath("templates/style.css").read_text(encoding="utf-8")


def render(template: str, **values: Any) -> str:
    """A whole page or a fragment."""
    return environment().get_template(template).render(style=Markup(style()), **values)


def fragment(template: str, **values: Any) -> Markup:
    """A piece of a page, safe to stand in another template."""
    return Markup(environment().get_template(template).render(**values))


def table(one: Table | None, caption: str = "") -> Markup:
    """A table of the live page, nothing where there is none; `caption` in place of its own."""
    if one is None:
        return Markup("")
    made: Any = environment().get_template("table.html.j2").module
    return Markup(made.set_table(one, caption))


def blocks(told: Iterable[Block], pictures: Mapping[str, str] | None = None) -> Markup:
    """Blocks as the pieces of a text; `pictures` gives the address of each picture by its name."""
    return fragment("blocks.html.j2", blocks=tuple(told), pictures=pictures or {})
