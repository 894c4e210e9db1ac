"""Functions and plans for the tests of sweeps, importable by worker processes."""

from __future__ import annotations

import time

import numpy as np

from thinstock.studies import Normal, Rectangular, grid_plan, random_plan, sobol_plan

AXES = {"speed": Rectangular(20.0, 35.0), "grammage": Normal(0.014, 0.001)}


def water(speed, grammage):
    """An invented outcome of two inputs."""
    return {"flow": speed * grammage / 0.002, "small": (speed * grammage).astype(np.float32), "constant": 1.5}


def slow_water(speed, grammage):
    time.sleep(0.03)
    return water(speed, grammage)


def plans():
    return [
        grid_plan({"speed": np.linspace(20, 35, 101), "grammage": [0.012, 0.014, 0.016, 0.018]}),
        random_plan(AXES, 1000, 7),
        sobol_plan(AXES, 1000, 7),
    ]


def run_slowly(folder: str) -> None:
    from thinstock.studies import run_sweep

    run_sweep(sobol_plan(AXES, 6000, 3), slow_water, folder=folder, size=50)
