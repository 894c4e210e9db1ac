"""The short form: twelve numbers make a machine, the rest comes from the library and is marked as assumed.

The numbers become the text of a small machine file, which is read like any other; saved, it is a file to grow.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from thinstock.case import library
from thinstock.case.entries import literal
from thinstock.case.read import loads
from thinstock.errors import Fault, Refused
from thinstock.machine.line import Machine
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

Value = str | int | float | Mapping[str, Any]

FURNISH = {"eucalyptus kraft": "70 %", "northern softwood kraft": "30 %"}
FREENESS = "520 mL CSF"
PRESSES = ("roll", "shoe")


def new(
    *,
    reel_grammage: Value,
    crepe: Value,
    reel_dryness: Value,
    yankee_speed: Value,
    width: Value,
    furnish: str | Mapping[str, Value] | None = None,
    freeness: Value | None = None,
    stock_temperature: Value,
    consistency: Value,
    tray_consistency: Value | None = None,
    former: str,
    press: str,
    line_load: Value,
    steam_pressure: Value,
    hood_temperature: Value,
    yankee_diameter: Value | None = None,
    title: str = phrase("case.short.machine_short_form"),
) -> Machine:
    """A tissue machine from twelve numbers, each as in a machine file: "15.5 g/m2", "1950 m/min".

    Parameters
    ----------
    reel_grammage, crepe, reel_dryness, yankee_speed, width, line_load : str or float
        Text with its unit, or a plain number of base SI.
    stock_temperature, consistency, steam_pressure, hood_temperature : str or float
        The same.
    furnish, freeness : optional
        One of them is enough; `furnish` is a fibre of the library, or shares by fibre.
    tray_consistency : optional
        Consistency of the tray water; without it retention comes from the fines model.
    former : str
        A former of the library.
    press : {"roll", "shoe"}
        The press.
    yankee_diameter : optional
        It sets how long the sheet is dried; without it the field's assumed default stands.
    title : str
        What the machine is called.

    Returns
    -------
    Machine
        All values in base SI; what was not asked is a default and named as assumed.

    Raises
    ------
    Refused
        All faults at once.

    Source: the values given; the defaults carry their own.
    """
    former, carrier = _possible(furnish, freeness, former, press)
    lines = [
        "format = 1",
        "",
        phrase("case.short.what_not_listed_takes_its"),
        f"title = {literal(title)}",
        "\n[grade]",
        _line("reel_grammage", reel_grammage),
        _line("reel_dryness", reel_dryness),
        _line("crepe", crepe),
        "\n[stock]",
        _furnish(furnish),
        _line("freeness", _assumed(FREENESS) if freeness is None else freeness),
        _line("temperature", stock_temperature),
        "\n[headbox]",
        _line("consistency", consistency),
        *([] if tray_consistency is None else [_line("tray_consistency", tray_consistency)]),
        "\n[forming]",
        _line("former", former),
        *_slots(carrier),
        "\n[[press.nip]]",
        _line("kind", press),
        _line("line_load", line_load),
        phrase("case.short.line_load_limit_not_given"),
        *(_COVER if press == "roll" else []),
        "\n[yankee]",
        _line("speed", yankee_speed),
        _line("width", width),
        *([] if yankee_diameter is None else [_line("diameter", yankee_diameter)]),
        _line("steam_pressure", steam_pressure),
        phrase("case.short.steam_pressure_limit_not_given"),
        "\n[hood]",
        _line("air_temperature", hood_temperature),
        "\n[reel]",
        _line("trim_width", width),
    ]
    return loads("\n".join(lines) + "\n", "short form")


def _possible(furnish: object, freeness: object, former: str, press: str) -> tuple[str, str]:
    """The former by its name in the library and what carries its sheet; refuses what makes no machine."""
    if furnish is None and freeness is None:
        raise Refused(fault_in("case.short.freeness", "stock.freeness", "nothing"))
    known = _former(former)
    if press not in PRESSES:
        raise Refused(fault_in("case.short.kind", "press.nip.kind", repr(press)))
    return known, library.table("formers")[known]["carrier"]


_COVER = [
    'cover_thickness = { value = "20 mm", status = "assumed" }',
    'cover_modulus = { value = "26.64 MPa", status = "assumed", note = "standing modulus of a cover of PJ 30" }',
]


def _former(name: str) -> str:
    """The former of the library by its name or key."""
    rows = library.table("formers")
    for known, row in rows.items():
        if name in (known, row["key"]):
            return known
    remedy = library.near(str(name), library.former_names())
    raise Refused(
        Fault(
            field="forming.former",
            value=repr(name),
            bound=phrase("case.short.library_has_no_such_former"),
            remedy=remedy,
        )
    )


def _slots(carrier: str) -> list[str]:
    """Suction ahead of the press as such formers have it."""
    under_wire = [
        "\n[[vacuum.slot]]",
        phrase("case.short.name_wire_suction_box"),
        'carrier = "wire"',
        'slot_width = { value = "60 mm", status = "assumed" }',
        'vacuum = { value = "30 kPa", status = "assumed" }',
    ]
    through_felt = [
        "\n[[vacuum.slot]]",
        phrase("case.short.name_felt_vacuum"),
        'carrier = "felt"',
        'slot_width = { value = "90 mm", status = "assumed" }',
        'vacuum = { value = "40 kPa", status = "assumed" }',
    ]
    return [*(under_wire if carrier == "wire" else []), *through_felt]


def _furnish(furnish: str | Mapping[str, Value] | None) -> str:
    if furnish is None:
        entries = [{"fibre": name, "share": _assumed(share)} for name, share in FURNISH.items()]
    elif isinstance(furnish, str):
        entries = [{"fibre": furnish, "share": "100 %"}]
    else:
        entries = [{"fibre": name, "share": _plain(share)} for name, share in furnish.items()]
    return f"furnish = {literal(entries)}"


def _assumed(text: str) -> dict[str, str]:
    return {"value": text, "status": "assumed"}


def _plain(value: Value) -> Any:
    return dict(value) if isinstance(value, Mapping) else value


def _line(name: str, value: Value) -> str:
    return f"{name} = {literal(_plain(value))}"
