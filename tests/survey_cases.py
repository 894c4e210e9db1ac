"""The published and computed cases of reconciliation, read from the data folder once for all tests."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np

DATA = Path(__file__).parent / "data"


def case(name: str) -> dict:
    data = tomllib.loads((DATA / f"reconciliation_{name}.toml").read_text(encoding="utf-8"))
    data["balance"] = np.array(data["balance"], dtype=float)
    data["value"] = np.array(data["value"])
    return data


def turbine_covariance(data: dict) -> np.ndarray:
    covariance = np.diag((np.array(data["uncertainty"]) / data["coverage_factor"]) ** 2)
    for row in data["covariance"]:
        i, j = (k - 1 for k in row["pair"])
        covariance[i, j] = covariance[j, i] = row["value"]
    return covariance


R1, R3, R4, R5 = case("r1_bypass"), case("r3_steam_network"), case("r4_turbine"), case("r5_water_balance")


def raised_bypass() -> np.ndarray:
    return R1["value"] + np.array([0, 0, 8.0, 0, 0, 0])
