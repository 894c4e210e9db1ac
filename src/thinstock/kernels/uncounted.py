"""Tables of a march whose users are not counted."""

from __future__ import annotations

from functools import lru_cache
from typing import Any


def uncounted(table: Any) -> Any:
    """The same table, whose users are not counted in machine code: that took as long as what they did with it.

    Whoever calls the march must keep it.
    """
    return table


@lru_cache(maxsize=1)
def without_count() -> Any:
    """`uncounted` in machine code: a table that lacks the place where users are counted."""
    from numba.core import cgutils as _cgutils
    from numba.extending import intrinsic
    from numba.np import arrayobj as _arrayobj

    cgutils: Any = _cgutils
    arrayobj: Any = _arrayobj

    @intrinsic
    def without(_typing: Any, table: Any) -> Any:
        def built(context: Any, builder: Any, _signature: Any, given: Any) -> Any:
            found = arrayobj.make_array(table)(context, builder, given[0])
            found.meminfo = cgutils.get_null_value(found.meminfo.type)
            return found._getvalue()

        return table(table), built

    return without
