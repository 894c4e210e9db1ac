"""Blocks as HTML, and whole pages from templates: everything is escaped, styles are inside, nothing is fetched.

`table` sets a table of the live page (numbers at their points, scrolled where narrow), `blocks` the pieces of a text.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from thinstock.errors import needs, visible
from thinstock.tell.blocks import Bar, Block, Table

if TYPE_CHECKING:
    import jinja2
    from markupsafe import Markup


@lru_cache(maxsize=1)
def environment() -> jinja2.Environment:
    """The templates, with every text escaped and every unknown name refused."""
    library = needs("jinja2", "paper")
    made: jinja2.Environment = library.Environment(
        loader=library.PackageLoader("thinstock.tell", "templates"),
        autoescape=True,
        undefined=library.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.tests["bar"] = lambda cell: isinstance(cell, Bar)
    made.filters["math"] = lambda row: safe(row["mathml"])
    made.filters["drawing"] = lambda svg: safe(svg)
    return made


def safe(text: str) -> Markup:
    """A text that is markup already and is not escaped again."""
    found: type[Markup] = needs("markupsafe", "paper").Markup
    return found(text)


@lru_cache(maxsize=1)
def style() -> str:
    """The one style sheet of all pages."""
    return files("thinstock.tell").joinpath("templates/style.css").read_text(encoding="utf-8")


def render(template: str, **values: Any) -> str:
    """A whole page or a fragment."""
    return visible(environment().get_template(template).render(style=safe(style()), **values))


def fragment(template: str, **values: Any) -> Markup:
    """A piece of a page, safe to stand in another template."""
    return safe(environment().get_template(template).render(**values))


def table(one: Table | None, caption: str = "") -> Markup:
    """A table of the live page, nothing where there is none; `caption` in place of its own."""
    if one is None:
        return safe("")
    made: Any = environment().get_template("table.html.j2").module
    return safe(made.set_table(one, caption))


def blocks(told: Iterable[Block], pictures: Mapping[str, str] | None = None, *, live: bool = False) -> Markup:
    """Blocks as the pieces of a text; `pictures` gives the address of each picture by its name."""
    return fragment("blocks.html.j2", blocks=tuple(told), pictures=pictures or {}, live=live)
