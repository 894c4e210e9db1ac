"""A fault told by its key: what bounds a value and what helps stand together in the phrases."""

from __future__ import annotations

from thinstock.errors import Fault
from thinstock.words.phrase import known, phrase


def fault_in(key: str, field: str, value: str = "", /, **slots: object) -> Fault:
    """The fault in a field: its bound and remedy are the phrases `key.bound` and `key.remedy`; one may be missing."""
    bound, remedy = (phrase(said, **slots) if known(said) else "" for said in (f"{key}.bound", f"{key}.remedy"))
    return Fault(field=field, value=value, bound=bound, remedy=remedy)
