"""What the library brings for machine files: whole machines, formers, and fibres and fabrics by name.

Listing the machines reads their files as tables only; nothing is built and nothing heavy is imported.
"""

from __future__ import annotations

import difflib
import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Any, NamedTuple

from thinstock.library import KEYS, former_file, former_rows
from thinstock.library.former_files import library_file

_FOLDER = files("thinstock").joinpath("library")


class Listed(NamedTuple):
    """A bundled machine in one line."""

    name: str
    title: str
    grade: str
    former: str
    press: str


@lru_cache(maxsize=1)
def machine_names() -> tuple[str, ...]:
    """Names of the bundled machines."""
    folder = _FOLDER.joinpath("machines")
    return tuple(sorted(f.name[:-5] for f in folder.iterdir() if f.name.endswith(".toml")))


def machine_text(name: str) -> str:
    """The file of a bundled machine."""
    return _FOLDER.joinpath("machines", f"{name}.toml").read_text(encoding="utf-8")


def machines() -> list[Listed]:
    """The bundled machines: name, title, grade, former, press.

    Returns
    -------
    list of Listed
        One row of texts per machine, in the order of the names; values in the units of their files.

    Source: the bundled files; every machine is invented and says so.
    """
    return [_listed(name, tomllib.loads(machine_text(name))) for name in machine_names()]


def _listed(name: str, data: dict[str, Any]) -> Listed:
    grade, forming, press = data.get("grade", {}), data.get("forming", {}), data.get("press", {})
    parts = [
        _shown(grade.get("reel_grammage")),
        f"crepe {_shown(grade.get('crepe'))}" if "crepe" in grade else "",
    ]
    nips = [f"{nip.get('kind', '')} {_shown(nip.get('line_load'))}" for nip in press.get("nip", [])]
    return Listed(
        name=name,
        title=_shown(data.get("title")),
        grade=", ".join(p for p in parts if p),
        former=_shown(forming.get("former")) or _former(forming.get("library")),
        press=" + ".join(nips),
    )


def _former(key: Any) -> str:
    """The words of a library former; nothing where a file names one that is not there."""
    return str(former_file(key)["former"]) if key in KEYS else ""


def _shown(raw: Any) -> str:
    if isinstance(raw, dict):
        raw = raw.get("value", "")
    return "" if raw is None else str(raw)


def table(name: str) -> dict[str, Any]:
    """A library file as it stands; of the formers, one row for each by its words."""
    return former_rows() if name == "formers" else library_file(name)


def named(name: str, needs: str) -> list[str]:
    """The rows of a library file that hold this value."""
    return [row for row, data in table(name).items() if needs in data]


def former_names() -> list[str]:
    """The formers of the library."""
    return list(table("formers"))


def near(name: str, known: list[str]) -> str:
    """The nearest of some names, as a remedy."""
    close = difflib.get_close_matches(name, known, n=3, cutoff=0.4)
    names = close or known
    apart = "; " if any("," in one for one in names) else ", "
    return f"{'Nearest' if close else 'Known'}: {apart.join(names)}."
