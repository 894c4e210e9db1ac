"""How dilute the stock, how much water, and which part of the machine takes it out.

The public names and nothing else: `run`, `limits`, `compare` and their kin take a machine or its name and give base SI.
Each is fetched when it is first asked for, so that `import thinstock` itself loads neither the numerical libraries nor
the compiler. `sheet` and `survey` are packages that can be called; their own names are public as well. Everything else
may change without notice.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from thinstock import sheet, survey
    from thinstock.case import load, loads, machines, new, save, schema
    from thinstock.case.run import run
    from thinstock.drawing.chart import chart
    from thinstock.drawing.elevation import elevation as draw
    from thinstock.errors import Fault, NotFound, Refused
    from thinstock.evidence.uncertain import Uncertain
    from thinstock.formula.catalogue import formula, formulas
    from thinstock.machine.limits import Limit, Limits, limits
    from thinstock.machine.line import Given, Machine
    from thinstock.machine.result import Result
    from thinstock.sheet.formation import Formation, formation
    from thinstock.studies.compare import Comparison, compare
    from thinstock.studies.ladder import Ladder, formers
    from thinstock.studies.solve import solve
    from thinstock.studies.study import study
    from thinstock.studies.swept import sweep
    from thinstock.survey.findings import Findings
    from thinstock.survey.machine_calibration import calibrate
    from thinstock.survey.round import read_round
    from thinstock.tell.exercises import exercises
    from thinstock.tell.explained import explain
    from thinstock.tell.handout import handout
    from thinstock.words.note import Note

    __version__: str

_HOME = {
    "Comparison": "studies.compare",
    "Fault": "errors",
    "Findings": "survey.findings",
    "Formation": "sheet.formation",
    "Given": "machine.line",
    "Ladder": "studies.ladder",
    "Limit": "machine.limits",
    "Limits": "machine.limits",
    "Machine": "machine.line",
    "NotFound": "errors",
    "Note": "words.note",
    "Refused": "errors",
    "Result": "machine.result",
    "Uncertain": "evidence.uncertain",
    "calibrate": "survey.machine_calibration",
    "chart": "drawing.chart",
    "compare": "studies.compare",
    "draw": "drawing.elevation:elevation",
    "exercises": "tell.exercises",
    "explain": "tell.explained",
    "formation": "sheet.formation",
    "formers": "studies.ladder",
    "formula": "formula",
    "formulas": "formula.catalogue",
    "handout": "tell.handout",
    "limits": "machine.limits",
    "load": "case.read",
    "loads": "case.read",
    "machines": "case.library",
    "new": "case.short",
    "read_round": "survey.round",
    "run": "case.run",
    "save": "case.write",
    "schema": "case.json_schema",
    "sheet": "sheet",
    "solve": "studies.solve",
    "study": "studies.study",
    "survey": "survey",
    "sweep": "studies.swept",
}
"""Where each public name lives, and what it is called there if otherwise."""

__all__ = [
    "Comparison",
    "Fault",
    "Findings",
    "Formation",
    "Given",
    "Ladder",
    "Limit",
    "Limits",
    "Machine",
    "NotFound",
    "Note",
    "Refused",
    "Result",
    "Uncertain",
    "calibrate",
    "chart",
    "compare",
    "draw",
    "exercises",
    "explain",
    "formation",
    "formers",
    "formula",
    "formulas",
    "handout",
    "limits",
    "load",
    "loads",
    "machines",
    "new",
    "read_round",
    "run",
    "save",
    "schema",
    "sheet",
    "solve",
    "study",
    "survey",
    "sweep",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("thinstock")
    if name not in _HOME:
        raise AttributeError(f"module 'thinstock' has no attribute {name!r}")
    module, _, called = _HOME[name].partition(":")
    home = import_module(f"thinstock.{module}")
    if module == name:
        return home  # a package that can be called: `formula`, `sheet`, `survey`
    value = getattr(home, called or name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
