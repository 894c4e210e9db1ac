"""The catalogue of formulas: every labelled function of the package by its name, whoever needs it.

Reads the labels; computes nothing. The words of a formula are in the nomenclature, its text in `writing`.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Mapping
from functools import lru_cache
from importlib import import_module
from types import MappingProxyType

from thinstock.errors import Fault, Refused
from thinstock.formula.label import RELATIONS, Label, label_of
from thinstock.words.address import nearest

HOMES = ("thinstock.relations", "thinstock.kernels")


@lru_cache(maxsize=1)
def formulas() -> Mapping[str, Label]:
    """Every labelled formula by `module.name`, in the order of the names.

    Returns
    -------
    mapping of str to Label
        The label holds the text, the words with their units, the range, the source and the status of the formula.

    Source: each label's own.
    """
    for home in HOMES:
        package = import_module(home)
        for module in pkgutil.iter_modules(package.__path__, home + "."):
            import_module(module.name)
    mine = {name: label_of(f) for name, f in RELATIONS.items() if f.__module__.startswith("thinstock.")}
    return MappingProxyType(dict(sorted(mine.items())))


def formula(name: str) -> Label:
    """The label of one formula; its last part is enough where it is the only one of that name."""
    known = formulas()
    if name in known:
        return known[name]
    tails = [full for full in known if full.rsplit(".", 1)[-1] == name]
    if len(tails) == 1:
        return known[tails[0]]
    if tails:
        raise Refused(Fault(field=name, bound=f"could be any of {', '.join(tails)}", remedy="Write the name in full."))
    near = nearest(name, known)
    remedy = f"Nearest: {', '.join(near)}." if near else "`thinstock formulas` lists all."
    raise Refused(Fault(field=name, bound="there is no formula of this name", remedy=remedy))
