"""How often the intervals of a surveyed machine hold the truth: mills of the program's own model, and wrong ones.

Each mill is a draw of what is believed in which the machine runs; its readings are simulated with their stated errors,
and the posterior of all inputs is made from them. Counted is how often the central 95 % of five results hold the truth,
at the survey and away from it, among mills and draws that reach their reel dryness there. How a mill's constants move
with speed and grammage is drawn from what is believed of that too.

`--wrong` makes mills of another form, which no input of the program can follow: another exponent of the nip's law,
another moisture at which contact is lost, another wet contact, another exponent of the mat, and a contact level and a
hood factor that move with speed. Their intervals are counted with the response exponents and without.

Every mill has its own seed and is kept in a file as soon as it is done; a run that was stopped goes on from there.

    python benchmarks/posterior.py --mills 200 --draws 1000 --seed 1
    python benchmarks/posterior.py --mills 200 --draws 1000 --seed 1 --wrong
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from invented_survey import ROWS, as_it_stands, simulated
from thinstock import Machine, load
from thinstock.errors import Refused
from thinstock.evidence import Population, population_of
from thinstock.evidence.apply import columns
from thinstock.evidence.cases import Cases, run_cases
from thinstock.evidence.responses import PREFIX, exponents_of, parts
from thinstock.studies import central_interval
from thinstock.survey.machine_calibration import _covariance, _models, _readings
from thinstock.survey.machine_model import MachineModel
from thinstock.survey.posterior import population_after, posterior, readings_of
from thinstock.survey.round import round_of

RESULTS = ("end_of_forming", "dryness_press", "steam_per_product", "gas_per_product", "air_temperature")
PLACES: Mapping[str, Mapping[str, float]] = {
    "at the survey": {},
    "speed x 0.9": {"yankee.speed": 0.9},
    "speed x 1.08": {"yankee.speed": 1.08},
    "grammage x 1.15": {"grade.reel_grammage": 1.15},
}
SHARE = 0.95
FEWEST = 0.2
"""Share of the draws that must reach their dryness at a place for it to be counted."""
AT_ONCE = 1800
"""Cases that are run together: so many draws, of several mills."""


def moved(machine: Machine, place: Mapping[str, float]) -> Machine:
    """The machine at another setting."""
    changed = {name: float(machine.get(name)) * ratio for name, ratio in place.items()}
    return machine.with_(changed) if changed else machine


def wrong_form(generator: np.random.Generator, machine: Machine) -> tuple[dict[str, float], dict[str, float]]:
    """Values of a form that the program takes as exact, and true exponents of two constants with speed."""
    form = {
        "press.dewatering.permeability_exponent": float(generator.uniform(2.4, 3.6)),
        "yankee.moisture_scale": float(machine.yankee.moisture_scale) * 1.6 ** float(generator.uniform(-1, 1)),
        "yankee.contact_coefficient_wet": float(machine.yankee.contact_coefficient_wet)
        * 1.35 ** float(generator.uniform(-1, 1)),
        "stock.mat_exponent": float(generator.uniform(0.33, 0.43)),
    }
    responses = {
        "yankee.contact_level": float(generator.normal(0.0, 0.3)),
        "hood.hood_factor": float(generator.normal(0.0, 0.2)),
    }
    return form, responses


def truths_at(machine: Machine, mills: Sequence[Mill], place: Mapping[str, float]) -> Cases:
    """The results of the true mills at a place, by full runs."""
    rows = []
    for mill in mills:
        values = {**mill.own, **mill.form}
        for name, exponent in mill.exponents.items():
            constant, setting = parts(name)
            if setting in place:
                values[constant] *= place[setting] ** exponent
        for name, ratio in place.items():
            values[name] = values.get(name, float(machine.get(name))) * ratio
        rows.append(values)
    return run_cases(machine, {name: np.array([one[name] for one in rows]) for name in rows[0]}, RESULTS, fast=False)


def predicted(
    machine: Machine, found: Sequence[Population], place: Mapping[str, float], *, responses: bool
) -> list[dict[str, Any]]:
    """The results of the draws of each mill at a place, those that reach their dryness.

    Draws are fast runs, moved by what a full run differs from a fast one in the middle of the draws, as everywhere.
    """
    here = moved(machine, place)
    drawn = []
    for one in found:
        if not responses:
            still = [k for k, name in enumerate(one.addresses) if not name.startswith(PREFIX)]
            one = dataclasses.replace(
                one, addresses=tuple(one.addresses[k] for k in still), scores=one.scores[:, still]
            )
        values = columns(one, here)
        for name, ratio in place.items():
            values[name] = values.get(name, np.full(one.draws, float(machine.get(name)))) * ratio
        drawn.append(values)
    cases = run_cases(here, {name: np.concatenate([one[name] for one in drawn]) for name in drawn[0]}, RESULTS)
    middle = {name: np.array([np.median(one[name]) for one in drawn]) for name in drawn[0]}
    full, fast = (run_cases(here, middle, RESULTS, fast=kind) for kind in (False, True))
    samples = []
    start = 0
    for k, one in enumerate(found):
        rows = np.arange(start, start + one.draws)
        rows = rows[cases.usable[rows]]
        samples.append({name: cases[name][rows] + np.nan_to_num(full[name][k] - fast[name][k]) for name in RESULTS})
        start += one.draws
    return samples


def held(sample: Any, truth: float) -> tuple[bool, float]:
    """Whether the central interval holds the truth, and the share of the draws below it (half of its equals)."""
    low, _, high = central_interval(sample, SHARE)
    return bool(low <= truth <= high), float(np.mean(sample < truth) + 0.5 * np.mean(sample == truth))


class Together:
    """Runs of many mills made as one: each mill's thread waits until all have asked."""

    def __init__(self, count: int) -> None:
        self.active = count
        self.asked: list[tuple[Shared, Mapping[str, Any], list[Any]]] = []
        self.changed = threading.Condition()

    def run(self, model: Shared, values: Mapping[str, Any]) -> Any:
        """Readings of one mill's cases."""
        answer: list[Any] = []
        with self.changed:
            self.asked.append((model, values, answer))
            self._if_all()
            self.changed.wait_for(lambda: answer)
        if isinstance(answer[0], Exception):
            raise answer[0]
        return answer[0]

    def leave(self) -> None:
        """One mill is done."""
        with self.changed:
            self.active -= 1
            self._if_all()

    def _if_all(self) -> None:
        if not self.asked or len(self.asked) < self.active:
            return
        waiting, self.asked = self.asked, []
        for rows in dict.fromkeys(model.rows for model, _, _ in waiting):
            group = [one for one in waiting if one[0].rows == rows]
            try:
                self._answer(group)
            except Refused:
                for model, values, answer in group:
                    try:
                        answer.append(MachineModel(model.machine, rows).readings(values, fast=True))
                    except Refused as refused:
                        answer.append(refused)
        self.changed.notify_all()

    def _answer(self, group: list[tuple[Shared, Mapping[str, Any], list[Any]]]) -> None:
        counts = [len(next(iter(values.values()))) for _, values, _ in group]
        names = list(group[0][1])
        every = {name: np.concatenate([np.broadcast_to(values[name], n) for (_, values, _), n in zip(group, counts)])
                 for name in names}  # fmt: skip
        own = [float(model.machine.grade.reel_dryness) for model, _, _ in group]
        every["grade.reel_dryness"] = np.repeat(own, counts)
        first = group[0][0]
        said = MachineModel(first.machine, first.rows).readings(every, fast=True)
        for (_, _, answer), part in zip(group, np.split(said, np.cumsum(counts)[:-1])):
            answer.append(part)


class Shared(MachineModel):
    """A mill's model whose fast runs are made together with those of others."""

    def __init__(self, machine: Machine, rows: Sequence[tuple[str, str]], together: Together) -> None:
        super().__init__(machine, rows)
        self.together = together

    def of(self, rows: Sequence[tuple[str, str]]) -> Shared:
        return Shared(self.machine, rows, self.together)

    def readings(self, values: Mapping[str, Any], *, fast: bool = False) -> Any:
        return self.together.run(self, values) if fast else super().readings(values)


@dataclasses.dataclass
class Mill:
    """One mill: its truth, and what was found of it."""

    number: int
    own: dict[str, float]
    form: dict[str, float]
    exponents: dict[str, float]
    record: dict[str, Any] = dataclasses.field(default_factory=dict)
    found: Population | None = None

    def survey(self, machine: Machine, given: argparse.Namespace, together: Together) -> None:
        """Read the mill and make its draws."""
        try:
            real = as_it_stands(machine.with_(self.form) if self.form else machine, self.own)
            round_ = round_of(simulated(real, 5000 + given.seed * 1000 + self.number, ROWS), machine)
            models, kept, _ = _models([round_], (None,))
            shared = Shared(models[0][0].machine, models[0][0].rows, together)
            model = readings_of([round_], [shared], _readings(kept), _covariance(kept))
            scores, said = posterior(model, draws=given.draws, seed=self.number)
            self.found = population_after([round_], model, scores, said, seed=self.number)
            self.record |= {"settled": said["settled"], "steps": said["steps"], "misfit": self.found.record["misfit"],
                            "chi_square": said["chi_square"]}  # fmt: skip
        except Refused as refused:
            self.record |= {"runs": False, "refused": str(refused)}
        finally:
            together.leave()


def mill_of(machine: Machine, number: int, own: dict[str, float], given: argparse.Namespace) -> Mill:
    """A mill by its number: its constants, its form, and how its constants move with speed and grammage."""
    generator = np.random.default_rng([given.seed, number])
    if given.wrong:
        form, responses = wrong_form(generator, machine)
        exponents = {f"{PREFIX}{name}@{machine.speed_address}": one for name, one in responses.items()}
        return Mill(number, own, form, exponents)
    exponents = {name: float(generator.normal(0.0, law.spread)) for name, law in exponents_of(machine).items()}
    return Mill(number, own, {}, exponents)


def surveyed(machine: Machine, mills: list[Mill], given: argparse.Namespace) -> None:
    """Survey some mills together, and look where the truth of each lies in its draws."""
    truths = {name: truths_at(machine, mills, place) for name, place in PLACES.items()}
    for k, mill in enumerate(mills):
        mill.record |= {"mill": mill.number, "runs": bool(truths["at the survey"].usable[k])}
    running = [(k, mill) for k, mill in enumerate(mills) if mill.record["runs"]]
    together = Together(len(running))
    threads = [threading.Thread(target=mill.survey, args=(machine, given, together)) for _, mill in running]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for kind in ("with", "without") if given.wrong else ("with",):
        for name, place in PLACES.items():
            there = [(k, mill) for k, mill in running if mill.found is not None and truths[name].usable[k]]
            if not there:
                continue
            samples = predicted(machine, [mill.found for _, mill in there], place, responses=kind == "with")
            for (k, mill), sample in zip(there, samples, strict=True):
                if len(sample[RESULTS[0]]) >= FEWEST * given.draws:
                    mill.record[f"{kind}: {name}"] = {
                        one: held(sample[one], float(truths[name][one][k])) for one in RESULTS
                    }


def told(records: list[dict[str, Any]], given: argparse.Namespace) -> None:
    """Print the shares of intervals that hold the truth."""
    ran = [one for one in records if one["runs"]]
    print(f"{len(ran)} mills of {'another form' if given.wrong else 'the own model'}, {given.draws} draws each, "
          f"seed {given.seed}; {len(records) - len(ran)} that do not run left out; "
          f"settled {sum(one['settled'] for one in ran)}, after {np.mean([one['steps'] for one in ran]):.1f} steps; "
          f"misfit said of {sum(one['misfit'] for one in ran)}")  # fmt: skip
    for kind in ("with", "without") if given.wrong else ("with",):
        print(f"central 95 % holds the truth, %, {kind} response exponents; chance "
              f"± {100 * math.sqrt(SHARE * (1 - SHARE) / max(1, len(ran))):.1f} a cell")  # fmt: skip
        print(f"{'':24s}" + "".join(f"{name:>20s}" for name in RESULTS) + f"{'all':>8s}")
        every = []
        for place in PLACES:
            rows = [one[f"{kind}: {place}"] for one in ran if f"{kind}: {place}" in one]
            inside = np.array([[row[name][0] for name in RESULTS] for row in rows], dtype=float)
            if not rows:
                continue
            every.append(inside)
            share = 100 * inside.mean(axis=0)
            print(f"{place:16s} n {len(rows):4d} " + "".join(f"{one:21.1f}" for one in share)[1:]
                  + f"{100 * inside.mean():8.1f}")  # fmt: skip
        if every:
            by_mill = np.array([np.mean([one[f"{kind}: {p}"][name][0] for p in PLACES if f"{kind}: {p}" in one
                                         for name in RESULTS]) for one in ran if f"{kind}: at the survey" in one
                                ])  # fmt: skip
            print(f"all: {100 * np.concatenate(every).mean():.1f} %, chance ± "
                  f"{100 * by_mill.std(ddof=1) / math.sqrt(len(by_mill)) if len(by_mill) > 1 else math.nan:.1f} "
                  "(mills are independent of each other, their results are not)")  # fmt: skip


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--mills", type=int, default=200)
    asked.add_argument("--draws", type=int, default=1000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=1e9, help="stop after so long on the clock")
    asked.add_argument("--wrong", action="store_true")
    asked.add_argument("--kept", type=Path, help="file of the mills that are done")
    given = asked.parse_args()
    form = "wrong" if given.wrong else "own"
    file = given.kept or Path(f"posterior_{form}_{given.draws}_{given.seed}.jsonl")
    records = [json.loads(line) for line in file.read_text("utf-8").splitlines()] if file.exists() else []
    done = {one["mill"] for one in records}
    machine = load("facial-roll")
    there = dataclasses.replace(machine, exists=True)
    values = population_of(there, draws=given.mills, seed=1000 + given.seed).values()
    begun, used = time.monotonic(), time.process_time()
    left = [number for number in range(given.mills) if number not in done]
    size = max(1, AT_ONCE // given.draws)
    for start in range(0, len(left), size):
        if time.monotonic() - begun > given.seconds:
            break
        group = left[start : start + size]
        mills = [mill_of(machine, k, {one: float(column[k]) for one, column in values.items()}, given) for k in group]
        surveyed(machine, mills, given)
        records += [mill.record for mill in mills]
        with open(file, "a", encoding="utf-8") as opened:
            opened.writelines(json.dumps(mill.record) + "\n" for mill in mills)
    told(sorted(records, key=lambda one: one["mill"]), given)
    print(f"{time.process_time() - used:.0f} s of processor for {len(records) - len(done)} mills")


if __name__ == "__main__":
    main()
