"""Reference pages from the library's own declarations: formulas, machine file, commands, words, sources, cautions.

Nothing is written twice: what a field may be, what a command takes and where a formula is from is read from the code.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Iterator
from functools import lru_cache
from html import escape
from importlib import import_module
from typing import Any

import click
import numpy as np

import thinstock
from generator import plot
from generator.site import Page, Site
from thinstock.case.shapes import Shape, shapes
from thinstock.cli import COMMANDS
from thinstock.formula import expression, typeset, writing
from thinstock.formula.catalogue import BY_HAND, uses
from thinstock.formula.label import Label
from thinstock.formula.printed import Check, checks_of, library_checks_of
from thinstock.machine.line import Machine
from thinstock.studies.truth import of_formula, told_points
from thinstock.tell.explained import provenance_of
from thinstock.tell.worked import names_of, title_of, worked
from thinstock.words import constants, nomenclature, units
from thinstock.words.cautions import all_cautions
from thinstock.words.phrase import capital
from thinstock.words.quantity import Choice, Fields, Q, show

STATUS = {
    "published": "read in the named source; printed check values are tested to the last printed digit",
    "from memory": "believed to be that of the named source, but not read again",
    "derived": "derived in this project from stated premises and verified independently",
    "common practice": "a rule or range of the trade with no single source",
    "assumed": "an engineering assumption, to be calibrated",
}
CAPTIONS = ("Picture:", "Use for:", "Not for:", "In print:", "Made from:")


def table(heads: list[str], rows: list[list[str]], numbers: tuple[int, ...] = ()) -> str:
    """An HTML table of cells that are HTML already."""
    kind = [' class="number"' if k in numbers else "" for k in range(len(heads))]
    head = "".join(f'<th scope="col"{c}>{h}</th>' for h, c in zip(heads, kind, strict=True))
    body = "".join(
        "<tr>" + "".join(f"<td{c}>{cell}</td>" for cell, c in zip(row, kind, strict=True)) + "</tr>" for row in rows
    )
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def symbol(shape: typeset.Shape) -> str:
    """A symbol as MathML."""
    from thinstock.formula import markup

    return f'<math xmlns="http://www.w3.org/1998/Math/MathML"><mrow>{markup.shape_mathml(shape)}</mrow></math>'


# -- formulas --------------------------------------------------------------------------------------------------------


def add_formulas(site: Site) -> None:
    """A page for every formula, and a list of all."""
    known = thinstock.formulas()
    used, callers = _used_in(), _callers()
    for name, label in known.items():
        site.add(
            Page(
                f"look-up/formulas/{name}.html", title_of(label), formula_body(site, label, used, callers), listed=False
            )
        )
    rows = []
    module = ""
    blocks = []
    for name, label in known.items():
        home = name.split(".")[0]
        if home != module and rows:
            blocks.append(_module(module, rows))
            rows = []
        module = home
        rows.append(
            [f'<a href="formula:{name}">{escape(name.split(".", 1)[1].replace("_", " "))}</a>', escape(title_of(label)),
             escape(label.status), str(len(checks_of(label)) or "–")]
        )  # fmt: skip
    blocks.append(_module(module, rows))
    counts = {status: sum(label.status == status for label in known.values()) for status in STATUS}
    told = "".join(f"<li>{n} {status}: {STATUS[status]}</li>" for status, n in counts.items())
    site.add(
        Page("look-up/formulas.html", "Formulas", f"<p>{len(known)} formulas.</p><ul>{told}</ul>{''.join(blocks)}",
             "Every formula: picture, symbols, range, source, printed checks, plot")
    )  # fmt: skip


def _module(name: str, rows: list[list[str]]) -> str:
    doc = _module_doc(name)
    return f'<h2 id="{name}">{escape(name.replace("_", " "))}</h2><p class="faint">{escape(doc)}</p>' + table(
        ["formula", "what it gives", "status", "checks"], rows, (3,)
    )


def _module_doc(name: str) -> str:
    for home in ("thinstock.relations", "thinstock.kernels"):
        try:
            return (import_module(f"{home}.{name}").__doc__ or "").strip().split("\n\n")[0].replace("\n", " ")
        except ModuleNotFoundError:
            continue
    return ""


def formula_body(site: Site, label: Label, used: dict[str, list[str]], callers: dict[str, list[str]]) -> str:
    """The page of one formula."""
    parts = [f"<p><code>{escape(label.name)}</code></p>", *(f"<p>{_caption(c)}</p>" for c in captions(label))]
    parts.append('<h2 id="formula">Formula</h2>')
    if label.kind == "march":
        parts.append("<p>Followed step by step along the way:</p>")
        parts += [f'<div class="small">{escape(line)}</div>' for line in writing.plain(label)]
    else:
        if label.kind == "equation":
            answer = ", ".join(symbol(typeset.symbols_of(label)[g]) for g in label.gives)
            parts.append(f"<p>Solved for {answer}: the right side of the last line is nothing at the answer.</p>")
        parts.append(f'<div class="wide">{writing.mathml(label)}</div>')
    parts.append(_words(label))
    parts += _range(label)
    parts += _source(label)
    parts += _checks(label)
    parts += _plot(site, label)
    parts += _relatives(label, used, callers)
    return "".join(parts)


def captions(label: Label) -> list[str]:
    """What a formula's own words say below the first sentence."""
    told = " ".join((inspect.getdoc(label.function) or "").split())
    told = told.split(". ", 1)[1] if ". " in told else ""
    for caption in CAPTIONS:
        told = told.replace(caption, f"\n{caption}")
    return [part.strip() for part in told.split("\n") if part.strip()]


def _caption(text: str) -> str:
    head = next((c for c in CAPTIONS if text.startswith(c)), "")
    rest = escape(text.removeprefix(head).strip())
    return f"<strong>{head}</strong> {rest}" if head else rest


def _words(label: Label) -> str:
    symbols = typeset.symbols_of(label)
    rows = []
    for name in dict.fromkeys((*label.gives, *label.arguments)):
        word = nomenclature.words().get(name)
        if word is None:
            continue
        typical = ""
        if word.usual is not None and word.kind not in nomenclature.PLAIN_KINDS:
            low, high = (units.write_word(name, v, "mill", 3) for v in word.usual)
            typical = f"{low} to {high}"
        mark = "gives" if name in label.gives else ""
        rows.append([symbol(symbols[name]), escape(name.replace("_", " ")), escape(word.unit), escape(word.meaning),
                     escape(typical), mark])  # fmt: skip
    return '<h2 id="words">Words</h2>' + table(["symbol", "word", "SI unit", "meaning", "usually", ""], rows)


def _range(label: Label) -> Iterator[str]:
    if not label.holds and not label.in_units:
        return
    yield '<h2 id="range">Where it holds</h2><ul>'
    for name, (low, high) in label.holds.items():
        ends = [units.write_word(name, v, "mill", 4) if math.isfinite(v) else "any" for v in (low, high)]
        yield f"<li>{escape(name.replace('_', ' '))} from {escape(ends[0])} to {escape(ends[1])}</li>"
    if label.in_units:
        told = ", ".join(f"{name.replace('_', ' ')} in {unit}" for name, unit in label.in_units.items())
        yield f"<li>the numbers in it are for {escape(told)}</li>"
    yield "</ul>"


def _source(label: Label) -> Iterator[str]:
    yield '<h2 id="source">Source and status</h2>'
    yield f"<p>{escape(provenance_of(label.source, label.status, label.where))}.</p>"
    held = writing.sources()[label.source].get("held", "")
    told = f" The source was held as: {escape(held)}." if held and held != "none" else ""
    yield f'<p class="faint">“{escape(label.status)}” means: {STATUS[label.status]}.{told}</p>'


def _checks(label: Label) -> Iterator[str]:
    found = checks_of(label)
    yield '<h2 id="checks">Held against</h2>'
    yield from (f"<p>{escape(capital(one.told()))}.</p>" for one in library_checks_of(label))
    if judged := told_points(of_formula(label.name)):
        yield f"<p>On whole machines {escape(judged)}.</p>"
    if not found:
        yield "<p>Not checked against print or another calculation.</p>"
        return
    rows = []
    for check in found:
        for told, got in zip(check.told, check.got, strict=True):
            rows.append([escape(check.where), escape(check.heard()), *_both(check, told, got), escape(check.because)])
    yield table(["what", "status of the value", "value", "here", "difference", "why it may differ"], rows, (2, 3, 4))


def _both(check: Check, told: str, got: float) -> tuple[str, str, str]:
    unit = "" if check.unit in ("", "1") else f" {check.unit}"
    return f"{escape(told)}{escape(unit)}", f"{got:.6g}{escape(unit)}", apart(told, got)


def apart(told: str, got: float) -> str:
    """How far a number is from a printed one."""
    away = got - float(told)
    mantissa, _, exponent = told.lower().partition("e")
    last = 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))
    if abs(away) <= 0.5 * last * (1 + 1e-9):
        return "none, to the last digit"
    shown = f"{100 * away / float(told):+.2g} %" if float(told) else f"{away:+.2g}"
    return shown.replace("-", "−")


def _plot(site: Site, label: Label) -> Iterator[str]:
    made = course(label)
    if made is None:
        return
    drawn, alt = made
    path = f"pictures/formulas/{label.name}.svg"
    site.files[path] = drawn.encode("utf-8")
    yield f'<h2 id="course">Course</h2><figure><img src="file:{path}" alt="{escape(alt, quote=True)}">'
    yield f"<figcaption>{escape(alt)}</figcaption></figure>"


def course(label: Label) -> tuple[str, str] | None:
    """A plot of the first result over the argument that moves it, the others in the middle of what is usual."""
    if label.kind == "march" or not label.arguments:
        return None
    middle = {name: _middle(name) for name in label.arguments}
    if any(v is None for v in middle.values()):
        return None
    for name in (*label.holds, *label.arguments):
        found = _over(label, name, middle)
        if found is not None:
            return found
    return None


def _middle(name: str) -> float | None:
    word = nomenclature.words().get(name)
    if word is None or word.usual is None:
        return None
    low, high = word.usual
    return math.sqrt(low * high) if low > 0 else 0.5 * (low + high)


def _over(label: Label, name: str, middle: dict[str, Any]) -> tuple[str, str] | None:
    word = nomenclature.word(name)
    low, high = label.holds.get(name, word.usual or (0.0, 0.0))
    if word.usual is not None:
        wide = word.usual[1] - word.usual[0]
        low, high = (
            (max(low, word.usual[0] - wide), min(high, word.usual[1] + wide)) if name in label.holds else word.usual
        )
    if not (math.isfinite(low) and math.isfinite(high) and high > low):
        return None
    x = np.linspace(low, high, 61)
    y = np.full(61, np.nan)
    with np.errstate(all="ignore"):
        for i, value in enumerate(x):
            try:
                y[i] = _first(
                    label.function(**{**{k: np.float64(v) for k, v in middle.items()}, name: np.float64(value)})
                )
            except Exception:
                return None
    good = np.isfinite(y)
    if good.sum() < 10 or np.ptp(y[good]) <= 1e-9 * np.max(np.abs(y[good])):
        return None
    x, y = x[good], y[good]
    xs, x_title = _at_edge(name, x)
    ys, y_title = _at_edge(label.gives[0], y)
    band = None
    if name in label.holds:
        ends, _ = _at_edge(name, np.array(label.holds[name]))
        band = (float(ends[0]), float(ends[1]))
    others = "" if len(label.arguments) == 1 else ", everything else in the middle of what is usual"
    ends = f"from {_short(ys[0])} at {_short(xs[0])} to {_short(ys[-1])} at {_short(xs[-1])}"
    alt = f"{y_title} against {x_title}, {ends}{others}"
    return plot.line(xs.tolist(), ys.tolist(), x_title, y_title, band), alt


def _first(output: Any) -> float:
    value = output[0] if isinstance(output, tuple) else output
    array = np.asarray(value, dtype=float)
    if array.size != 1:
        raise ValueError("not one number")
    return float(array.ravel()[0])


def _at_edge(name: str, values: Any) -> tuple[Any, str]:
    word = nomenclature.words().get(name)
    said = name.replace("_", " ")
    if word is None or word.kind in nomenclature.PLAIN_KINDS:
        return values, said
    unit = units.edge_unit(name, "mill")
    return units.from_si(values, unit, word.kind), said if unit == "1" else f"{said}, {unit}"


def _short(value: float) -> str:
    return f"{value:.3g}".replace("-", "−")


@lru_cache(maxsize=1)
def _used_in() -> dict[str, list[str]]:
    """Which headline numbers of a machine each formula has a part in."""
    from thinstock.machine.numbers import headline

    result = thinstock.load("facial-roll").run()
    found: dict[str, list[str]] = {}
    for name in names_of(result):
        if name in headline():
            for step in worked(result, name).steps:
                found.setdefault(step.name, []).append(headline()[name].label)
    return {name: list(dict.fromkeys(numbers)) for name, numbers in found.items()}


@lru_cache(maxsize=1)
def _callers() -> dict[str, list[str]]:
    """Which formulas call a formula by name."""
    found: dict[str, list[str]] = {}
    for name, label in thinstock.formulas().items():
        if label.kind == "march":
            continue
        for _, node in expression.parse(label.formula):
            for called in typeset._called(node):
                target = expression._lookup(called, name.split(".")[0]).label.name
                found.setdefault(target, []).append(name)
    return {name: sorted(set(c)) for name, c in found.items()}


def _relatives(label: Label, used: dict[str, list[str]], callers: dict[str, list[str]]) -> Iterator[str]:
    places = uses()[label.name]
    told = (
        f"Used in {', '.join(f'<code>{place}</code>' for place in places)}." if places else f"{BY_HAND.capitalize()}."
    )
    yield f'<h2 id="where">Where it is used</h2><p>{told}</p>'
    if label.name in used:
        yield '<h2 id="used">Has a part in</h2>'
        yield f"<p>{escape('; '.join(used[label.name]))} of the bundled facial machine.</p>"
    if label.name in callers:
        links = ", ".join(f'<a href="formula:{name}">{name}</a>' for name in callers[label.name])
        yield f'<h2 id="callers">Called by</h2><p>{links}</p>'


# -- machine file ----------------------------------------------------------------------------------------------------


def add_machine_file(site: Site) -> None:
    """Every field of a machine file: what it is, unit, default, usual and possible range."""
    blocks = [
        "<p>A machine file is TOML. Every value is a text with its unit, in quotes; it may also be a table with "
        "<code>value</code>, <code>uncertainty</code>, <code>source</code>, <code>where</code>, <code>status</code> "
        "and <code>note</code>. What is left out takes its default and is counted as assumed. A limit that nobody "
        "gave is “not given”: it prints as not known, never as unlimited.</p>",
    ]
    seen: set[type] = set()
    blocks += _part("", Machine, seen)
    site.add(
        Page("look-up/machine-file.html", "The machine file", "".join(blocks),
             "Every field: meaning, unit, default, usual and possible range")
    )  # fmt: skip


def _part(where: str, cls: type[Fields], seen: set[type]) -> Iterator[str]:
    if cls in seen:
        return
    seen.add(cls)
    title = f"[{where}]" if where else "The machine itself"
    doc = (cls.__doc__ or "").strip().replace("\n", " ")
    yield f'<h2 id="{_anchor(where, cls)}">{escape(title)} <span class="small faint">{cls.__name__}</span></h2>'
    yield f"<p>{escape(' '.join(doc.split()))}</p>"
    fields = [shape for shape in shapes(cls).values() if shape.sort not in ("part", "parts")]
    if fields:
        yield table(["field", "what it is", "default", "usual", "possible"], [_field(shape) for shape in fields])
    inside = [shape for shape in shapes(cls).values() if shape.sort in ("part", "parts")]
    if inside:
        rows = []
        for shape in inside:
            kinds = ", ".join(
                f'<a href="#{_anchor(_under(where, shape), c)}">{escape(k or c.__name__)}</a>'
                for k, c in shape.kinds.items()
            )
            rows.append([f"<code>{shape.name}</code>", "one or more" if shape.sort == "parts" else "one", kinds])
        yield table(["part", "how many", "kinds"], rows)
    for shape in inside:
        for kind in shape.kinds.values():
            yield from _part(_under(where, shape), kind, seen)


def _under(where: str, shape: Shape) -> str:
    return f"{where}.{shape.name}" if where else shape.name


def _anchor(where: str, cls: type) -> str:
    return f"part-{cls.__name__}"


def _field(shape: Shape) -> list[str]:
    about = shape.field.about
    name = f"<code>{shape.name}</code>"
    if isinstance(about, Q):
        word = nomenclature.words().get(about.word)
        meaning = about.label or (word.meaning if word else "")
        default = "must be given" if shape.required else _default(shape, about)
        usual = " to ".join(show(v, about) for v in about.usual) if about.usual else ""
        return [name, escape(meaning), escape(default), escape(usual), escape(_possible(about))]
    if isinstance(about, Choice):
        options = ", ".join(about.options)
        return [name, escape(about.label or "choice"), escape(str(shape.field.default)), "", escape(options)]
    label = getattr(about, "label", "") if about is not None else ""
    said = label or ("yes or no" if shape.sort == "flag" else "words")
    return [name, escape(said), escape(str(shape.field.default or "")), "", ""]


def _default(shape: Shape, about: Q) -> str:
    if shape.field.default is None:
        return "not given" if about.limit else "worked out" if about.optional else ""
    return f"{show(shape.field.default, about)} ({about.status})"


def _possible(about: Q) -> str:
    low, high = about.possible
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(high):
        return f"at least {show(low, about)}"
    return f"up to {show(high, about)}" if math.isinf(low) else f"{show(low, about)} to {show(high, about)}"


# -- commands --------------------------------------------------------------------------------------------------------


def add_commands(site: Site) -> None:
    """Every command with its options."""
    from thinstock.cli import group

    parts = ["<p>Every command takes <code>--help</code>. Exit status: 0 ran, 1 input refused, 2 wrong usage.</p>"]
    with click.Context(group, info_name="thinstock") as top:
        for name, said in COMMANDS.items():
            command = group.get_command(top, name)
            if command is None:
                site.warn("look-up/commands.html", f"command {name} is not there")
                continue
            parts += _command(top, name, command, said)
    site.add(Page("look-up/commands.html", "Commands", "".join(parts), "Every command, its arguments and options"))


def _command(top: click.Context, name: str, command: click.Command, said: str) -> Iterator[str]:
    with click.Context(command, info_name=name, parent=top) as context:
        usage = " ".join(command.collect_usage_pieces(context))
        yield f'<h2 id="{name}">{escape(name)}</h2><p>{escape(said)}</p>'
        yield f"<pre><code>thinstock {escape(name)} {escape(usage)}</code></pre>"
        yield f"<p>{escape(' '.join((command.help or '').split()))}</p>"
        rows = []
        for option in command.get_params(context):
            record = option.get_help_record(context)
            if record is not None:
                rows.append([f"<code>{escape(record[0])}</code>", escape(record[1])])
        yield table(["option", "what it does"], rows)
        if isinstance(command, click.Group):
            for inner in command.list_commands(context):
                found = command.get_command(context, inner)
                if found is not None:
                    told = " ".join((found.help or "").split())
                    yield f"<h3>{escape(name)} {escape(inner)}</h3><p>{escape(told)}</p>"


# -- words, sources, library, cautions -------------------------------------------------------------------------------


def add_lists(site: Site) -> None:
    """Words, sources, constants and cautions."""
    rows = []
    for word in nomenclature.words().values():
        shown = symbol(typeset.symbol(word.symbol)) if word.symbol else ""
        rows.append([escape(word.name.replace("_", " ")), shown, escape(word.unit), escape(word.edge.get("mill", "")),
                     escape(word.edge.get("us", "")), escape(word.meaning)])  # fmt: skip
    site.add(
        Page("look-up/words.html", "Words", "<p>One word is one quantity with one unit.</p>"
             + table(["word", "symbol", "SI", "mill", "US", "meaning"], rows), "Every word, its symbol and its units")
    )  # fmt: skip
    rows = [
        [f"<code>{escape(key)}</code>", escape(row["citation"]), escape(row.get("held", ""))]
        for key, row in writing.sources().items()
    ]
    site.add(
        Page("look-up/sources.html", "Sources", "<p>“Held” says how the source was at hand.</p>"
             + table(["key", "citation", "held"], rows), "What the formulas and values rest on")
    )  # fmt: skip
    rows = [
        [
            escape(name.replace("_", " ")),
            f"{row['value']:g}",
            escape(row["unit"]),
            escape(row["meaning"]),
            escape(row["status"]),
        ]
        for name, row in constants.TABLE.items()
    ]
    site.add(
        Page("look-up/constants.html", "Constants",
             table(["constant", "value", "unit", "meaning", "status"], rows, (1,)), "Constants of nature and of fluids")
    )  # fmt: skip
    blocks = [
        f'<h2 id="{c.part}">{escape(c.title)}</h2><ul>{"".join(f"<li>{escape(t)}</li>" for t in c.texts)}</ul>'
        for c in all_cautions().values()
    ]
    site.add(
        Page(
            "look-up/cautions.html", "What can hurt", "".join(blocks), "What can hurt people or a vessel, part by part"
        )
    )


LIBRARY = {
    "furnishes": "fibres",
    "grades": "grades",
    "fabrics": "forming fabrics",
    "felts": "felts",
    "covers": "roll covers",
    "yankees": "Yankees",
    "hoods": "hoods",
    "fuels": "fuels",
    "press_models": "press models",
    "testers": "freeness testers",
}


def add_library(site: Site) -> None:
    """What comes with it, value by value."""
    from thinstock import library

    parts = ["<p>All machines are invented; no mill runs them. Every value says where it is from.</p>"]
    rows = [[f"<code>{escape(m.name)}</code>", escape(m.title)] for m in thinstock.machines()]
    parts.append('<h2 id="machines">Bundled machines</h2>' + table(["name", "what it is"], rows))
    formers = library.former_rows().items()
    rows = [[f"<code>{row['key']}</code>", escape(name), escape(row["description"])] for name, row in formers]
    parts.append('<h2 id="formers">Formers</h2>' + table(["name", "former", "what it is"], rows))
    for name, said in LIBRARY.items():
        rows = [
            [escape(str(key)), escape(field.replace("_", " ")), escape(_told(value)), escape(_status(value))]
            for key, row in library.table(name).items()
            if isinstance(row, dict)
            for field, value in row.items()
        ]
        parts.append(
            f'<h2 id="{name}">{escape(said.capitalize())}</h2>' + table(["name", "value", "is", "status"], rows)
        )
    site.add(
        Page(
            "look-up/library.html", "Library", "".join(parts), "Machines, formers, fibres, fabrics, felts and the like"
        )
    )


def _told(value: Any) -> str:
    if isinstance(value, dict):
        return (
            str(value["value"])
            if "value" in value
            else ", ".join(f"{k} {v}" for k, v in value.items() if k not in ("source", "status"))
        )
    if isinstance(value, list):
        return "; ".join(_told(v) for v in value)
    return str(value)


def _status(value: Any) -> str:
    return str(value.get("status", "")) if isinstance(value, dict) else ""


def add_all(site: Site) -> None:
    """All reference pages."""
    add_formulas(site)
    add_machine_file(site)
    add_commands(site)
    add_lists(site)
    add_library(site)
