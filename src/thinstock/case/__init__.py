"""The machine file: read, check, write back, the bundled library, and the schema for editors.

Names are brought in when first used, so that listing the bundled machines costs neither numba nor numpy.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from thinstock.late import brought_in

if TYPE_CHECKING:
    from thinstock.case.json_schema import schema as schema
    from thinstock.case.library import Listed as Listed
    from thinstock.case.library import machines as machines
    from thinstock.case.read import load as load
    from thinstock.case.read import loads as loads
    from thinstock.case.short import new as new
    from thinstock.case.write import dumps as dumps
    from thinstock.case.write import save as save

_HOME = {
    "Listed": "library",
    "machines": "library",
    "load": "read",
    "loads": "read",
    "schema": "json_schema",
    "new": "short",
    "dumps": "write",
    "save": "write",
}

__all__ = ["Listed", "dumps", "load", "loads", "machines", "new", "save", "schema"]


def __getattr__(name: str) -> Any:
    return brought_in(__name__, _HOME, name)
