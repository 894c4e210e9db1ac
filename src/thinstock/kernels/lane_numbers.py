"""Exponential, logarithm and power in plain arithmetic on the bits of a number, so that cases go side by side.

A compiler takes several cases in one instruction only where a loop calls nothing. These take the place of numpy's in
the lanes of a march; they agree with them to a few units of the last place, for numbers that are finite.
"""

from __future__ import annotations

import types
from functools import lru_cache
from math import factorial, log
from typing import Any

import numpy as np

_LOG2 = log(2.0)
_HIGH = 0.693147180369123816490
"""ln 2 in 32 bits, and what it lacks: a whole number times the first is exact."""
_LOW = 1.90821492927058770002e-10
_MAGIC = 6755399441055744.0
"""1.5 times 2**52: added to a number it leaves the nearest whole number in the last bits."""
_TERMS = tuple(1.0 / factorial(k) for k in range(13, 1, -1))
_ODD = tuple(2.0 / (2 * k + 1) for k in range(10, 0, -1))


def _single() -> tuple[Any, Any, Any]:
    """Single instructions: the bits of a number as a whole number, the way back, and the square root."""
    from numba.core import types as kinds
    from numba.extending import intrinsic

    def changed(into: Any, width: Any) -> Any:
        def typed(context: Any, x: Any) -> Any:
            def built(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
                return builder.bitcast(given[0], _context.get_value_type(into))

            return into(width), built

        return intrinsic(typed)

    @intrinsic
    def root(context: Any, x: Any) -> Any:
        def built(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
            called = builder.module.declare_intrinsic("llvm.sqrt", [_context.get_value_type(kinds.float64)])
            return builder.call(called, given)

        return kinds.float64(kinds.float64), built

    return changed(kinds.int64, kinds.float64), changed(kinds.float64, kinds.int64), root


@lru_cache(maxsize=1)
def lane_numpy() -> types.ModuleType:
    """numpy with an exponential, logarithm and `power` that a loop over cases can hold."""
    import numba

    to_bits, to_number, root = _single()
    njit = numba.njit(nogil=True, error_model="numpy", forceinline=True)
    t13, t12, t11, t10, t9, t8, t7, t6, t5, t4, t3, t2 = _TERMS
    c10, c9, c8, c7, c6, c5, c4, c3, c2, c1 = _ODD
    magic = int(np.float64(_MAGIC).view(np.int64))
    two52 = int(np.float64(2.0**52).view(np.int64))

    @njit
    def split(x: float) -> Any:
        """2**n and e**r - 1, whose product makes e**x."""
        x = min(max(x, -700.0), 700.0)
        k = x * (1.0 / _LOG2) + _MAGIC
        n = k - _MAGIC
        r = (x - n * _HIGH) - n * _LOW
        r2 = r * r  # pairs first, then pairs of pairs: what follows one from another is short
        low = ((t3 * r + t2) + (t5 * r + t4) * r2) + ((t7 * r + t6) + (t9 * r + t8) * r2) * (r2 * r2)
        high = (t11 * r + t10) + (t13 * r + t12) * r2
        p = low + high * ((r2 * r2) * (r2 * r2))
        return to_number((to_bits(k) - magic + 1023) << 52), r + r2 * p

    @njit
    def exp(x: float) -> Any:
        scale, grown = split(x)
        return scale + scale * grown

    @njit
    def expm1(x: float) -> Any:
        scale, grown = split(x)
        return scale * grown + (scale - 1.0)

    @njit
    def natural(x: float) -> Any:
        bits = to_bits(x)
        up = 1 if (bits & 0xFFFFFFFFFFFFF) > 0x6A09E667F3BCD else 0
        n = to_number(((bits >> 52) - 1023 + up + 4096) | two52) - (2.0**52 + 4096.0)
        m = to_number((bits & 0xFFFFFFFFFFFFF) | ((1023 - up) << 52))
        s = (m - 1.0) / (m + 1.0)
        q = s * s
        q2 = q * q
        low = ((c2 * q + c1) + (c4 * q + c3) * q2) + ((c6 * q + c5) + (c8 * q + c7) * q2) * (q2 * q2)
        series = q * (low + (c10 * q + c9) * ((q2 * q2) * (q2 * q2)))
        return n * _HIGH + (n * _LOW + (2.0 * s + s * series))

    @njit
    def power(x: float, exponent: float) -> Any:
        return exp(exponent * natural(x))

    @njit
    def square_root(x: float) -> Any:
        return root(x)

    found = types.ModuleType("lane_numpy")
    found.__dict__.update(vars(np))
    found.__dict__.update(exp=exp, expm1=expm1, log=natural, power=power, sqrt=square_root)
    return found
