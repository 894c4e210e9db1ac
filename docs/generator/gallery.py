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
from thinstock.formula.printed import Check, checks_of, rows_of
from thinstock.tell.explained import _both, line_text, provenance_of
from thinstock.tell.filled import filled
from thinstock.tell.worked import title_of
from thinstock.words import units

PUBLISHED = HERE.parent / "tests" / "published"


def add_gallery(site: Site) -> None:
    """One page per file of printed values; what is held against no single formula is left to the tests."""
    known = writing.sources()
    for path in sorted(PUBLISHED.glob("*.toml")):
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        problems = [part for part in (*told.get("check", ()), *told.get("table", ())) if "relation" in part]
        if not problems:
            continue
        count = sum(len(part.get("row", ("one",))) for part in problems)
        cited = dict.fromkeys(known[part["source"]]["citation"] for part in problems)
        body = ["<p>Print on the left, this library on the right.</p>"]
        for part in problems:
            body += _problem(site, part, known[part["source"]]["citation"] if len(cited) > 1 else "")
        body[:0] = [f"<p>{escape(cited_one)}</p>" for cited_one in cited if len(cited) == 1]
        title = f"{told['title']}: {count} printed values"
        site.add(Page(f"gallery/{path.stem.replace('_', '-')}.html", title, "".join(body),
                      f"{count} printed values, solved again"))  # fmt: skip


def _problem(site: Site, part: dict[str, Any], cited: str) -> Iterator[str]:
    """A printed value or a printed table, and what comes out here."""
    label = thinstock.formula(part["relation"])
    lines = list(rows_of({"table" if "row" in part else "check": [part]}))
    found = {(check.where, check.told): check for check in checks_of(label)}
    checks = [found.get((row["where"], _told(row))) for row in lines]
    first = checks[0]
    if first is None or None in checks:
        site.warn("gallery", f"{label.name}: {part['where']} has no answer here")
        return
    yield f"<h2>{escape(part['where'])}</h2>"
    yield f'<p>{escape(title_of(label))} (<a href="formula:{label.name}">{escape(label.name)}</a>).</p>'
    if part.get("given"):
        yield f"<p>Given: {escape(_all_given(part['given']))}.</p>"
    if "row" in part:
        yield f'<div class="wide">{writing.mathml(label)}</div>' if label.kind != "march" else ""
    else:
        yield from _in_numbers(part, label)
    takes = [name for name in part.get("row", [{}])[0] if name != "printed"]
    rows = [
        [*(escape(_given(name, row["given"][name], named=False)) for name in takes), *_answer(check, told, got)]
        for row, check in zip(lines, checks, strict=True)
        if check is not None
        for told, got in zip(check.told, check.got, strict=True)
    ]
    heads = [name.replace("_", " ") for name in takes]
    yield table([*heads, "in print", "here", "difference"], rows, tuple(range(len(takes) + 3)))
    if first.because:
        yield f'<p class="small faint">{"Differs" if first.misses else "May differ"}: {escape(first.because)}.</p>'
    said = ". ".join(text.rstrip(".") for text in (cited, first.heard()) if text)
    yield f'<p class="small faint">In print: {escape(said)}.</p>'
    yield f'<p class="small faint">{escape(provenance_of(label.source, label.status, label.where))}</p>'


def _told(row: dict[str, Any]) -> tuple[str, ...]:
    printed = row["printed"]
    return tuple(printed) if isinstance(printed, list) else (printed,)


def _all_given(given: dict[str, Any]) -> str:
    return ", ".join(_given(name, value) for name, value in given.items())


def _given(name: str, value: Any, *, named: bool = True) -> str:
    said = name.replace("_", " ") + " " if named else ""
    if isinstance(value, list):
        return f"{said}{value}"
    from thinstock.words import nomenclature

    word = nomenclature.words().get(name)
    if word is None or word.kind in nomenclature.PLAIN_KINDS:
        return f"{said}{value:g}"
    return f"{said}{units.write(float(value), word.edge.get('mill', '1'), 6, kind=word.kind)}"


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
