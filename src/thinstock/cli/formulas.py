"""`thinstock formulas [NAME]`: all formulas in a list, or one on a card with its check values."""

from __future__ import annotations

import inspect
import json
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

import click

from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.formula.label import Label
    from thinstock.tell.blocks import Block


@click.command("formulas", short_help=phrase("cli.formulas.formulas_their_cards"))
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.formulas.print_json"))
def command(name: str | None, as_json: bool) -> None:
    """List the formulas, or show the one called NAME, or those whose name begins with NAME."""
    from thinstock.formula.catalogue import formula, formulas
    from thinstock.tell.terminal import Page, list_width, page

    known = formulas()
    if name is None:
        chosen = list(known.values())
    elif any(label.startswith(f"{name}.") for label in known):
        chosen = [label for key, label in known.items() if key.startswith(f"{name}.")]
    elif name not in known and (chosen := [label for key, label in known.items() if _speaks_of(label, name)]):
        pass
    else:
        label = formula(name)
        if as_json:
            click.echo(json.dumps(_record(label), indent=1, allow_nan=False))
            return
        lines = card(label)
        Page(lines, {lines[0]}).show()
        return
    if as_json:
        click.echo(json.dumps([_short(label) for label in chosen], indent=1, allow_nan=False))
        return
    page(_list(chosen), list_width()).show()


def _speaks_of(label: Label, name: str) -> bool:
    """Whether a formula's name or first line has a word of this beginning; a whole name is looked up instead."""
    said = f"{label.name} {_first_line(label)}".lower().replace("_", " ").replace(".", " ").split()
    return "." not in name and any(word.startswith(name.lower()) for word in said)


def _first_line(label: Label) -> str:
    return (inspect.getdoc(label.function) or "").split("\n", 1)[0]


def _list(chosen: list[Label]) -> list[Block]:
    """One line per formula."""
    from thinstock.formula.printed import checks_of
    from thinstock.tell.blocks import Column, Table, words
    from thinstock.words.phrase import phrase

    rows = [(label.name, label.status, _counted(len(checks_of(label))), _first_line(label)) for label in chosen]
    columns = tuple(Column(head=phrase(f"lists.{head}"), sort="end" if head == "checks" else "word")
                    for head in ("formula", "status", "checks", "gives"))  # fmt: skip
    count = words(phrase("lists.formulas", count=len(chosen)))
    return [Table(columns=columns, rows=tuple(rows), indented=False), count]


def _counted(count: int) -> str:
    return str(count) if count else "–"


def card(label: Label) -> list[str]:
    """A formula as a person needs it: picture in words, formula, words, range, source, status, checks."""
    from thinstock.formula import writing
    from thinstock.formula.printed import checks_of, library_checks_of
    from thinstock.studies.truth import of_formula, told_points
    from thinstock.tell.terminal import page_width, wrapped

    width = page_width()
    written = writing.card(label)
    lines = [f"{written[0]}   ({label.name})"]
    cut = next((k for k, line in enumerate(written) if k > 0 and not line), 1)
    lines += written[1:cut]
    lines.append("")
    for paragraph in _captions(label):
        lines += wrapped(paragraph, width=width, then="  ")
    for line in written[cut:]:
        indent = line[: len(line) - len(line.lstrip())]
        lines += wrapped(line.strip(), width=width, first=indent, then=indent + "  ") or [""]
    checks = checks_of(label)
    lines += ["", *wrapped(_use(label), width=width, then="  ")]
    lines += wrapped(told_points(of_formula(label.name)), width=width, then="  ")
    for library in library_checks_of(label):
        lines += wrapped(library.told(), width=width, then="  ")
    lines += ["", "checked against" if checks else phrase("cli.formulas.not_checked_against_print_or")]
    for check, after in zip_longest(checks, checks[1:]):
        lines += wrapped(f"{check.where} ({check.heard()})", width=width, first="  ", then="    ")
        lines += [f"    {line}" for line in check.lines()]
        if check.because and (after is None or after.because != check.because):
            differs = "differs" if check.misses else "may differ"
            lines += wrapped(f"{differs}: {check.because}", width=width, first="    ", then="      ")
    return lines


def _use(label: Label) -> str:
    """Where the product calls a formula."""
    from thinstock.formula.catalogue import BY_HAND, uses

    places = uses()[label.name]
    return f"used in {', '.join(places)}" if places else BY_HAND


CAPTIONS = ("Picture:", "Use for:", "Not for:", "In print:", "Made from:")


def _captions(label: Label) -> list[str]:
    """What a formula's own words say below the first line, caption by caption."""
    told = inspect.getdoc(label.function) or ""
    text = "\n\n".join(" ".join(part.split()) for part in told.split("\n\n")[1:])
    for caption in CAPTIONS:
        text = text.replace(caption, f"\n{caption}")
    return [part.strip() for part in text.split("\n") if part.strip()]


def _short(label: Label) -> dict[str, Any]:
    return {"name": label.name, "gives": list(label.gives), "kind": label.kind, "status": label.status,
            "source": label.source, "says": _first_line(label)}  # fmt: skip


def _record(label: Label) -> dict[str, Any]:
    from thinstock.formula import writing
    from thinstock.formula.catalogue import uses
    from thinstock.formula.printed import checks_of, library_checks_of
    from thinstock.studies.truth import of_formula
    from thinstock.tell.record import plain
    from thinstock.words import nomenclature

    words = dict.fromkeys((*label.gives, *label.arguments))
    return {
        **_short(label),
        "where": label.where,
        "citation": writing.citation(label.source),
        "formula": label.formula,
        "written": writing.plain(label),
        "captions": _captions(label),
        "used": list(uses()[label.name]),
        "libraries": [one.told() for one in library_checks_of(label)],
        "judged_by": [one.key for one in of_formula(label.name)],
        "arguments": list(label.arguments),
        "holds": {name: [plain(low), plain(high)] for name, (low, high) in label.holds.items()},
        "words": {
            word: {"unit": nomenclature.word(word).unit, "meaning": nomenclature.word(word).meaning} for word in words
        },
        "checks": [
            {
                "where": c.where,
                "status": c.status,
                "source": c.source,
                "read": c.read,
                "misses": c.misses,
                "unit": c.unit,
                "told": list(c.told),
                "got": [plain(g) for g in c.got],
            }
            for c in checks_of(label)
        ],
    }
