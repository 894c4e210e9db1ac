"""Published worked problems solved again: what print says and what comes out here, with the formula between them."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from html import escape
from typing import Any

import numpy as np

import thinstock
from generator.reference import apart, table
from generator.site import HERE, Page, Site
from thinstock.formula import writing
from thinstock.formula.label import Label
from thinstock.formula.printed import Check, checks_of
from thinstock.tell.explained import _both, line_text, provenance_of
from thinstock.tell.filled import filled
from thinstock.tell.worked import title_of
from thinstock.words import units

PUBLISHED = HERE.parent / "tests" / "published"


def add_gallery(site: Site) -> None:
    """One page per source."""
    for path in sorted(PUBLISHED.glob("*.toml")):
        rows = tomllib.loads(path.read_text(encoding="utf-8")).get("check", [])
        if not rows:
            continue
        labels = [thinstock.formula(row["relation"]) for row in rows]
        key = path.stem.upper()
        known = writing.sources()
        cited = known[key]["citation"] if key in known else known[labels[0].source]["citation"]
        body = [f"<p>{escape(cited)}</p>", "<p>Print on the left, this library on the right.</p>"]
        for row, label in zip(rows, labels, strict=True):
            body += _problem(site, row, label)
        title = f"{cited.split(',')[0].split(':')[0][:60]}: {len(rows)} printed values"
        site.add(Page(f"gallery/{path.stem.replace('_', '-')}.html", title, "".join(body),
                      f"{len(rows)} printed values, solved again"))  # fmt: skip


def _problem(site: Site, row: dict[str, Any], label: Label) -> Iterator[str]:
    checks = [c for c in checks_of(label) if c.where == row["where"]]
    if not checks:
        site.warn("gallery", f"{label.name}: {row['where']} has no answer here")
        return
    yield f"<h2>{escape(row['where'])}</h2>"
    yield f'<p>{escape(title_of(label))} (<a href="formula:{label.name}">{escape(label.name)}</a>).</p>'
    given = ", ".join(_given(name, value) for name, value in row["given"].items())
    yield f"<p>Given: {escape(given)}.</p>"
    yield from _in_numbers(row, label)
    rows = [_answer(check, told, got) for check in checks[:1] for told, got in zip(check.told, check.got, strict=True)]
    yield table(["in print", "here", "difference"], rows, (0, 1, 2))
    if checks[0].because:
        yield f'<p class="small faint">May differ: {escape(checks[0].because)}.</p>'
    yield f'<p class="small faint">{escape(provenance_of(label.source, label.status, label.where))}</p>'


def _given(name: str, value: Any) -> str:
    said = name.replace("_", " ")
    if isinstance(value, list):
        return f"{said} {value}"
    from thinstock.words import nomenclature

    word = nomenclature.words().get(name)
    if word is None or word.kind in nomenclature.PLAIN_KINDS:
        return f"{said} {value:g}"
    return f"{said} {units.write(float(value), word.edge.get('mill', '1'), 6, kind=word.kind)}"


def _in_numbers(row: dict[str, Any], label: Label) -> Iterator[str]:
    """The formula in symbols and in numbers, where it is no march."""
    if label.kind == "march":
        return
    given = {k: np.asarray(v, dtype=float)[()] for k, v in row["given"].items()}
    answer: dict[str, Any] = {}
    if label.kind == "equation":
        answer = {label.gives[0]: label.function(**given)}
    made = filled(label, given, answer, "si")
    yield f'<div class="wide">{writing.mathml(label)}</div>'
    for line in made.lines:
        shapes = (line.left, line.right) if line.result is None else (line.left, line.right, line.result)
        yield f'<div class="wide">{_both(line_text(line), shapes, line.unit)["mathml"]}</div>'


def _answer(check: Check, told: str, got: float) -> list[str]:
    unit = "" if check.unit in ("", "1") else f" {check.unit}"
    return [f"{escape(told)}{escape(unit)}", f"{got:.6g}{escape(unit)}", apart(told, got)]
