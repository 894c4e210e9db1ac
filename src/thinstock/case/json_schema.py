"""The JSON schema of the machine file, for editors that check and complete while typing.

Made from the same declarations as the reader. It knows the form and the names; units, ranges and rules across
fields are the reader's to check, and stand here as words.
"""

from __future__ import annotations

import math
from typing import Any

from thinstock.case import library
from thinstock.case.formats import CURRENT
from thinstock.case.shapes import Shape, shapes
from thinstock.case.values import HARD, STATUSES, kind_of, unit_of
from thinstock.machine.line import Machine
from thinstock.words import nomenclature, units
from thinstock.words.phrase import phrase
from thinstock.words.quantity import NOT_GIVEN, Choice, Fields, Words, show

Schema = dict[str, Any]


def schema() -> Schema:
    """The JSON schema of a whole machine file, for editors.

    Returns
    -------
    dict
        Plain data (draft 2020-12); ranges stand in words, in the unit of each field.

    Source: the declarations of the parts.
    """
    made = _part(Machine)
    made["properties"] = {"format": {"const": CURRENT, "description": phrase("case.json_schema.format_file")}} | made[
        "properties"
    ]
    made["required"] = ["format", *made["required"]]
    made["properties"]["headbox"]["properties"]["tray_consistency"] = {
        "anyOf": _forms(shapes(shapes(Machine)["headbox"].kinds[""])["consistency"]),
        "description": phrase("case.json_schema.consistency_tray_water_in_place"),
    }
    _former(made["properties"]["forming"])
    made["anyOf"] = [{"required": ["yankee", "hood"]}, {"required": ["dryer"]}]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": phrase("case.json_schema.thinstock_machine_file"),
        **made,
        "$defs": {"provenance": _provenance()},
    }


def _former(forming: Schema) -> None:
    """A former may come from the library, and its elements may then be changed by their names."""
    forming["required"] = []
    rows = library.table("formers")
    forming["properties"]["library"] = {
        "enum": [row["key"] for row in rows.values()] + list(rows),
        "description": phrase("case.json_schema.former_library_what_stands_beside"),
    }
    items = forming["properties"]["element"]["items"]
    fields = {name: field for table in items["oneOf"] for name, field in table["properties"].items()}
    changed = {
        "type": "object",
        "description": phrase("case.json_schema.change_library_s_element_this"),
        "properties": {name: field for name, field in fields.items() if name != "kind"},
        "required": ["name"],
        "additionalProperties": False,
    }
    forming["properties"]["element"]["items"] = {"oneOf": [*items["oneOf"], changed]}


def _provenance() -> Schema:
    words = {name: {"type": "string"} for name in ("source", "where", "note")}
    return {
        "status": {"enum": list(STATUSES)},
        "uncertainty": {
            "type": ["string", "number"],
            "description": phrase("case.json_schema.one_standard_deviation_in_unit"),
        },
        **{
            name: {"type": ["string", "number"], "description": phrase("case.json_schema.end_of_belief")}
            for name in ("low", "high")
        },
        "ends": {"enum": [HARD], "description": phrase("case.json_schema.hard_ends")},
        "group": {"type": "string", "description": phrase("case.json_schema.group_of_input")},
        **words,
    }


def _part(cls: type[Fields], kind: str = "", lookup: Shape | None = None) -> Schema:
    """The table of one part."""
    properties: Schema = {"kind": {"const": kind}} if kind else {}
    for name, shape in shapes(cls).items():
        properties[name] = _field(shape)
    required = [name for name, shape in shapes(cls).items() if shape.required]
    if kind:
        required = ["kind", *required]
    if lookup is not None and lookup.lookup is not None:
        known = library.named(lookup.lookup.table, lookup.lookup.needs)
        properties[lookup.lookup.key] = {"enum": known, "description": phrase("case.json_schema.from_library")}
        required = []
    return {
        "type": "object",
        "description": (cls.__doc__ or "").strip().split("\n")[0],
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }


def _field(shape: Shape) -> Schema:
    if shape.sort == "parts":
        return {"type": "array", "items": _kinds(shape), **({"minItems": 1} if shape.required else {})}
    if shape.sort == "part":
        return _kinds(shape)
    return {"anyOf": _forms(shape), "description": _description(shape)}


def _kinds(shape: Shape) -> Schema:
    """A part, or one of several kinds of it."""
    tables = [_part(cls, kind, shape) for kind, cls in shape.kinds.items()]
    if shape.lookup is not None:
        names = library.named(shape.lookup.table, shape.lookup.needs)
        return {"anyOf": [{"enum": names}, *tables]}
    if "" in shape.kinds:
        return tables[0]
    return {"oneOf": [*tables, {"enum": list(shape.kinds)}] if shape.sort == "part" else tables}


def _forms(shape: Shape) -> list[Schema]:
    """A value alone, or with its provenance."""
    plain: list[Schema]
    if shape.sort == "choice":
        assert isinstance(shape.field.about, Choice)
        plain = [{"enum": list(shape.field.about.options)}]
    elif shape.sort == "flag":
        plain = [{"type": "boolean"}]
    else:
        plain = [{"type": "string"}]
        if isinstance(shape.field.about, Words) and shape.field.about.several:
            plain.append({"type": "array", "items": {"type": "string"}})
        if shape.sort == "quantity" and kind_of(shape.q) in units.BARE:
            plain.append({"type": "integer" if shape.q.integer else "number"})
    table = {
        "type": "object",
        "properties": {"value": {"anyOf": plain}}
        | {name: {"$ref": f"#/$defs/provenance/{name}"} for name in _provenance()},
        "required": ["value"],
        "additionalProperties": False,
    }
    return [*plain, table]


def _description(shape: Shape) -> str:
    """What the field is, its unit, and the ranges."""
    about = shape.field.about
    if shape.sort != "quantity":
        return about.label if isinstance(about, Choice | Words) else ""
    q = shape.q
    parts = [q.label or nomenclature.word(q.word).meaning]
    if unit_of(q) != "1":
        parts.append(phrase("case.json_schema.in_or_another_unit", unit_of=unit_of(q), kind_of=kind_of(q)))
    for what, span in (("possible", q.possible), ("usual", q.usual)):
        if span is not None and all(math.isfinite(end) for end in span):
            parts.append(f"{what} {show(span[0], q)} to {show(span[1], q)}")
    if shape.optional:
        parts.append(f'may be "{NOT_GIVEN}"')
    if q.remedy:
        parts.append(q.remedy)
    return "; ".join(part.rstrip(".") for part in parts)
