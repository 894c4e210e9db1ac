"""How reconciliation grows with the network, beside a general constrained optimiser on the same problem.

Run `python benchmarks/reconciliation.py [--large]`. Ratios are measured in one run; nothing here is a timed test.
The optimiser (trust region with constraints) gets the same scaled problem with exact derivatives and, as a favour,
starts what is not read at the answer; it gives values only: no uncertainties, no tests.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from invented_networks import invented_network, invented_survey
from thinstock.survey import Reconciliation, reconcile

GENERAL_LIMIT = 100
"""Streams up to which the general optimiser is asked."""


def by_general_optimiser(found: Reconciliation) -> tuple[float, float, float]:
    """(Seconds, sum of squares, worst imbalance) of scipy's constrained optimiser, started at the readings."""
    from scipy import optimize, sparse

    x0 = np.where(np.isfinite(found.result.value), found.result.value, np.nanmedian(np.abs(found.result.value)))
    x0[found.given.measured] = found.given.value
    scale = np.maximum(0.05 * np.abs(x0), 1e-9)
    scale[found.given.measured] = found.given.uncertainty
    rows = np.maximum(np.abs(found.constraints.jacobian(x0) * scale).max(axis=1).toarray().ravel(), 1e-12)
    weight = found.given.measured.astype(float)

    def at(z):
        return x0 + scale * z

    def curvature(z, multiplier):
        c = found.constraints
        size = (
            c.product_coefficient
            * (multiplier / rows)[c.product_row]
            * scale[c.product_first]
            * scale[c.product_second]
        )
        one = sparse.coo_array((size, (c.product_first, c.product_second)), shape=(x0.size, x0.size))
        return (one + one.T).tocsr()

    constraint = optimize.NonlinearConstraint(
        lambda z: found.constraints.residual(at(z)) / rows,
        0.0,
        0.0,
        jac=lambda z: found.constraints.jacobian(at(z)).multiply(scale).multiply(1.0 / rows[:, None]).tocsr(),
        hess=curvature,
    )
    start = time.perf_counter()
    answer = optimize.minimize(
        lambda z: float(weight @ z**2),
        np.zeros(x0.size),
        jac=lambda z: 2.0 * weight * z,
        hess=lambda z: np.diag(2.0 * weight),
        method="trust-constr",
        constraints=[constraint],
        options={"maxiter": 300, "gtol": 1e-6, "xtol": 1e-10},
    )
    return time.perf_counter() - start, float(answer.fun), found.constraints.imbalance(at(answer.x)).max()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--large", action="store_true", help="also 300, 1000 and 2000 streams")
    large = parser.parse_args().large
    print(
        "streams variables readings   seconds  chi-square  imbalance | optimiser: seconds  ratio  chi-square imbalance"
    )
    for streams in (10, 30, 100, *((300, 1000, 2000) if large else ())):
        network, true = invented_network(streams, 2, 1)
        survey = invented_survey(true, seed=2, read=0.8)
        reconcile(network, survey)
        start = time.perf_counter()
        found = reconcile(network, survey)
        seconds = time.perf_counter() - start
        row = f"{streams:7d} {found.result.value.size:9d} {len(survey.readings):8d} {seconds:9.3f}"
        row += f" {found.result.statistic:11.4f} {found.closure:10.1e} |"
        if streams <= GENERAL_LIMIT:
            other, squares, imbalance = by_general_optimiser(found)
            row += f" {other:18.2f} {other / seconds:6.0f} {squares:11.4f} {imbalance:9.1e}"
        print(row, flush=True)


if __name__ == "__main__":
    main()
