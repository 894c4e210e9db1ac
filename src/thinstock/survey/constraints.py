"""Balances with products of two variables (flow times consistency) as one small sparse object.

g(x) = L x + sum of coefficient * x_a * x_b - constant, row by row, with its exact Jacobian. It holds structure
only: no readings, no solving.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from thinstock.formula.label import Array

Index = np.ndarray[Any, np.dtype[np.intp]]


@dataclass(frozen=True, eq=False)
class Constraints:
    """Quadratic balances of `count` variables."""

    count: int
    names: tuple[str, ...]
    """What each row balances, in words."""
    constant: Array
    linear_row: Index
    linear_column: Index
    linear_coefficient: Array
    product_row: Index
    product_first: Index
    product_second: Index
    product_coefficient: Array

    @property
    def rows(self) -> int:
        return len(self.names)

    def residual(self, x: Array) -> Array:
        """g(x)."""
        linear = self.linear_coefficient * x[self.linear_column]
        product = self.product_coefficient * x[self.product_first] * x[self.product_second]
        return (
            np.bincount(self.linear_row, linear, self.rows)
            + np.bincount(self.product_row, product, self.rows)
            - self.constant
        )

    def jacobian(self, x: Array) -> Any:
        """dg/dx as a sparse matrix."""
        from scipy.sparse import csr_array

        row = np.concatenate([self.linear_row, self.product_row, self.product_row])
        column = np.concatenate([self.linear_column, self.product_first, self.product_second])
        first = self.product_coefficient * x[self.product_second]
        second = self.product_coefficient * x[self.product_first]
        data = np.concatenate([self.linear_coefficient, first, second])
        return csr_array((data, (row, column)), shape=(self.rows, self.count))

    def imbalance(self, x: Array) -> Array:
        """|g(x)| over the largest term of each row: how well each balance closes (rows of nothing but dust are 0)."""
        largest = np.abs(self.constant).astype(float)
        np.maximum.at(largest, self.linear_row, np.abs(self.linear_coefficient * x[self.linear_column]))
        product = self.product_coefficient * x[self.product_first] * x[self.product_second]
        np.maximum.at(largest, self.product_row, np.abs(product))
        dust = largest <= 1e-15 * largest.max(initial=0.0)
        return np.where(dust, 0.0, np.abs(self.residual(x)) / np.where(dust, 1.0, largest))

    def held(self, x: Array, free: Any) -> Constraints:
        """The same balances in the free variables only, the others held at x."""
        place = np.cumsum(free) - 1
        constant = self.constant.copy()
        keep = free[self.linear_column]
        np.subtract.at(constant, self.linear_row[~keep], (self.linear_coefficient * x[self.linear_column])[~keep])
        row, column = [self.linear_row[keep]], [place[self.linear_column[keep]]]
        data = [self.linear_coefficient[keep]]
        one, two = free[self.product_first], free[self.product_second]
        np.subtract.at(
            constant,
            self.product_row[~one & ~two],
            (self.product_coefficient * x[self.product_first] * x[self.product_second])[~one & ~two],
        )
        for chosen, kept, other in (
            (one & ~two, self.product_first, self.product_second),
            (~one & two, self.product_second, self.product_first),
        ):
            row.append(self.product_row[chosen])
            column.append(place[kept[chosen]])
            data.append((self.product_coefficient * x[other])[chosen])
        both = one & two
        return Constraints(
            int(np.sum(free)),
            self.names,
            constant,
            np.concatenate(row),
            np.concatenate(column),
            np.concatenate(data),
            self.product_row[both],
            place[self.product_first[both]],
            place[self.product_second[both]],
            self.product_coefficient[both],
        )


@dataclass
class Builder:
    """Collects balances row by row."""

    names: list[str] = field(default_factory=list)
    constant: list[float] = field(default_factory=list)
    linear: list[tuple[int, int, float]] = field(default_factory=list)
    product: list[tuple[int, int, int, float]] = field(default_factory=list)

    def add(
        self,
        name: str,
        linear: Sequence[tuple[int, float]] = (),
        product: Sequence[tuple[int, int, float]] = (),
        constant: float = 0.0,
    ) -> None:
        """One balance: sum of coefficient * x_i + sum of coefficient * x_i * x_j = constant."""
        row = len(self.names)
        self.names.append(name)
        self.constant.append(constant)
        self.linear += [(row, i, c) for i, c in linear]
        self.product += [(row, i, j, c) for i, j, c in product]

    def same(self, name: str, first: int, second: int) -> None:
        """x_first = x_second."""
        self.add(name, [(first, 1.0), (second, -1.0)])

    def build(self, count: int) -> Constraints:
        lr, lc, ld = zip(*self.linear) if self.linear else ((), (), ())
        pr, pa, pb, pd = zip(*self.product) if self.product else ((), (), (), ())
        whole, real = np.intp, float
        return Constraints(
            count,
            tuple(self.names),
            np.array(self.constant, dtype=real),
            np.array(lr, dtype=whole),
            np.array(lc, dtype=whole),
            np.array(ld, dtype=real),
            np.array(pr, dtype=whole),
            np.array(pa, dtype=whole),
            np.array(pb, dtype=whole),
            np.array(pd, dtype=real),
        )


def classes(count: int, pairs: Sequence[tuple[int, int]]) -> list[int]:
    """For each of `count` things the smallest one it is equal to, directly or through others."""
    root = list(range(count))

    def find(i: int) -> int:
        while root[i] != i:
            root[i] = root[root[i]]
            i = root[i]
        return i

    for a, b in pairs:
        low, high = sorted((find(a), find(b)))
        root[high] = low
    return [find(i) for i in range(count)]
