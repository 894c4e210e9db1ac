"""Pages of HTML from the templates of the report: everything is escaped, styles are inside, nothing is fetched."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup


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
