"""How often the intervals of a surveyed machine hold the truth: mills of the program's own model, and wrong ones.

Each mill is a draw of what is believed in which the machine runs; its readings are simulated with their stated errors,
and the posterior of all inputs is made from them. Counted is how often the central 95 % of five results hold the truth,
at the survey and away from it. `--wrong` makes mills of another form: their constants move with speed and grammage.

    python benchmarks/posterior.py --mills 200 --draws 400 --seed 1
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from invented_survey import ROWS, as_it_stands, simulated
from thinstock import load
from thinstock.evidence import population_of
from thinstock.evidence.apply import columns
from thinstock.evidence.cases import run_cases
from thinstock.evidence.links import rewet_addresses
from thinstock.survey.machine_calibration import _covariance, _models, _readings
from thinstock.survey.posterior import population_after, posterior, readings_of
from thinstock.survey.round import round_of

RESULTS = ("end_of_forming", "dryness_press", "steam_per_product", "gas_per_product", "air_temperature")
PLACES = ({}, {"yankee.speed": 0.9}, {"yankee.speed": 1.08}, {"grade.reel_grammage": 1.15})
WRONG = {
    "press.dewatering.permeability_factor": (0.25, 0.5),
    "yankee.contact_level": (0.3, 0.2),
    "hood.hood_factor": (0.2, 0.1),
    "stock.mat_coefficient": (0.2, 0.2),
    "stock.resistance_factor": (0.2, 0.2),
}
"""Standard deviation of the true exponent of each constant with speed and with grammage in a wrong mill."""


def moved(machine, place):
    """The machine at another setting."""
    return (
        machine.with_({name: float(machine.get(name)) * ratio for name, ratio in place.items()}) if place else machine
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--mills", type=int, default=200)
    asked.add_argument("--draws", type=int, default=400)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    asked.add_argument("--wrong", action="store_true")
    given = asked.parse_args()
    machine = load("facial-roll")
    truths = population_of(dataclasses.replace(machine, exists=True), draws=given.mills, seed=1000 + given.seed)
    values = truths.values()
    inside = np.zeros((len(PLACES), len(RESULTS)))
    counted = np.zeros((len(PLACES), 1))
    settled = 0
    generator = np.random.default_rng(given.seed)
    begun = time.process_time()
    done = 0
    for mill in range(given.mills):
        if time.process_time() - begun > given.seconds:
            break
        own = {one: float(column[mill]) for one, column in values.items()}
        real = as_it_stands(machine, own)
        exponents = {name: generator.normal(0.0, size) for name, size in WRONG.items()} if given.wrong else {}
        round_ = round_of(simulated(real, 5000 + given.seed * 1000 + mill, ROWS), machine)
        models, kept, _ = _models([round_], (None,))
        model = readings_of([round_], [m for m, _ in models], _readings(kept), _covariance(kept))
        scores, record = posterior(model, draws=given.draws, seed=mill)
        found = population_after([round_], model, scores, record, seed=mill)
        settled += record["settled"]
        for k, place in enumerate(PLACES):
            there = {name: real_value * np.prod([ratio ** exponents[name][0 if "speed" in at else 1]
                                                 for at, ratio in place.items()])
                     for name, real_value in own.items() if name in exponents}  # fmt: skip
            truth = moved(machine.with_({**own, **there}), place).run(fast=True)
            here = moved(machine, place)
            drawn = columns(found, here)
            for name, ratio in place.items():
                drawn[name] = drawn.get(name, np.full(found.draws, float(machine.get(name)))) * ratio
            cases = run_cases(here, drawn, RESULTS)
            if float(truth["reel_dryness_reached"]) < float(own["grade.reel_dryness"]) - 1e-3:
                continue
            counted[k] += 1
            for j, name in enumerate(RESULTS):
                sample = cases[name][np.isfinite(cases[name])]
                low, high = np.quantile(sample, [0.025, 0.975])
                inside[k, j] += low <= float(truth[name]) <= high
        done = mill + 1
    print(f"{done} mills, {given.draws} draws each, seed {given.seed}, settled {settled}, "
          f"{time.process_time() - begun:.0f} s, {len(rewet_addresses(machine))} nip")  # fmt: skip
    print(f"{'central 95 % holds the truth, %':40s}" + "".join(f"{name:>20s}" for name in RESULTS))
    for k, place in enumerate(PLACES):
        said = ", ".join(f"{name} x {ratio}" for name, ratio in place.items()) or "at the survey"
        share = 100 * inside[k] / max(1, counted[k, 0])
        print(f"{said:32s} n {int(counted[k, 0]):4d}  " + "".join(f"{one:20.1f}" for one in share))
    print(f"all: {100 * inside.sum() / max(1.0, counted.sum() * len(RESULTS)):.1f} %")


if __name__ == "__main__":
    main()
