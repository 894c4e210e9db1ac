"""What readings leave of a machine's inputs: draws keep their spread, settle, and hold the truth as often as said."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest

from invented_survey import ROWS, as_it_stands, simulated, true_values
from thinstock import load
from thinstock.evidence import population_of, population_walk, score_posterior
from thinstock.evidence.apply import columns
from thinstock.evidence.cases import run_cases
from thinstock.evidence.file import score_of
from thinstock.evidence.machine_inputs import input_distributions
from thinstock.evidence.settled import Remembered, Settled, differing, settled_draws
from thinstock.machine.line import Machine
from thinstock.studies import central_interval
from thinstock.survey import Reading
from thinstock.survey.machine_calibration import _covariance, _models, _readings
from thinstock.survey.posterior import Readings, population_after, readings_of
from thinstock.survey.round import Round, round_of

Array = np.ndarray


def generator(seed: int) -> np.random.Generator:
    return np.random.Generator(np.random.Philox(key=seed))


def best(model: Callable[[Array], Array], read: Array, spread: Array, scores: int) -> tuple[Array, Array]:
    """Best fit and slopes of a plain model."""
    centre = np.zeros(scores)
    step = 1e-5 * np.eye(scores)
    for _ in range(60):
        slopes = (model(centre + step) - model(centre - step)).T / 2e-5
        target, _ = score_posterior(slopes, np.diag(spread**2), read - model(centre[None, :])[0] + slopes @ centre)
        centre = centre + 0.5 * (target - centre)
    return centre, slopes


def draws_of(
    model: Callable[[Array], Array], read: Array, spread: Array, *, scores: int, draws: int, seed: int,
    headlines: Callable[[Array], Array] = lambda z: z,
) -> Settled:  # fmt: skip
    return settled_draws(
        model, read, np.diag(spread**2), headlines=headlines, fit=best(model, read, spread, scores), draws=draws,
        generator=generator(seed),
    )  # fmt: skip


# -- the walk ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("draws", [300, 1000])
def test_few_draws_of_many_scores_keep_their_spread(draws: int) -> None:
    """By a law in which every draw has its own part a thousand draws lose 5 % of it here, and 300 lose a quarter."""
    start = generator(1).standard_normal((draws, 52))
    moved, accepted = population_walk(lambda z: 0.5 * np.sum(z**2, axis=1), start, steps=30, generator=generator(2))
    assert accepted > 0.1
    assert np.sqrt(np.mean(moved.var(axis=0, ddof=1))) == pytest.approx(1.0, abs=0.025)


def test_draws_that_did_not_move_are_not_run_again() -> None:
    runs: list[int] = []

    def model(scores: Array) -> Array:
        runs.append(len(scores))
        return scores[:, :1] * 2.0

    known = Remembered(model)
    scores = generator(3).standard_normal((20, 2))
    first = known(scores)
    scores[5] += 1.0
    np.testing.assert_array_equal(known(scores), 2.0 * scores[:, :1])
    assert runs == [20, 1]
    np.testing.assert_array_equal(first[6:], known(scores)[6:])


def test_a_mildly_bent_model_settles_where_it_should() -> None:
    found = draws_of(
        lambda z: np.exp(0.3 * z[:, :1] + 0.1 * z[:, 1:]), np.array([1.4]), np.array([0.1]),
        scores=2, draws=20_000, seed=4,
    )  # fmt: skip
    assert found.differing == ()
    np.testing.assert_allclose(found.scores.mean(axis=0), [0.93693, 0.31231], atol=0.02)
    np.testing.assert_allclose(found.scores.std(axis=0), [0.38344, 0.95143], atol=0.02)


def test_halves_that_differ_are_told_by_their_answer() -> None:
    said = generator(5).standard_normal((1000, 3))
    assert differing(said) == ()
    apart, wide, flat = said.copy(), said.copy(), said.copy()
    apart[1::2, 1] += 0.5
    wide[1::2, 2] *= 1.3
    flat[:, 0] = 7.0
    assert differing(apart) == (1,)
    assert differing(wide) == (2,)
    assert differing(flat) == ()


@pytest.mark.slow
def test_intervals_of_invented_mills_hold_the_truth_as_often_as_they_say() -> None:
    """Twenty inputs, five readings that bend, four answers: 95 % of 240 intervals, give or take chance (1.4 %)."""
    draw = generator(11)
    weight = draw.standard_normal((5, 20)) / np.sqrt(20)
    asked = draw.standard_normal((3, 20)) / np.sqrt(20)
    spread = np.full(5, 0.05)

    def reads(z: Array) -> Array:
        return np.exp(0.4 * z @ weight.T)

    def answers(z: Array) -> Array:
        return np.concatenate([np.exp(0.4 * z @ asked.T), z[:, :1]], axis=1)

    inside = []
    for mill in range(60):
        truth = draw.standard_normal((1, 20))
        read = reads(truth)[0] + spread * draw.standard_normal(5)
        found = draws_of(reads, read, spread, scores=20, draws=400, seed=100 + mill, headlines=answers)
        for sample, true in zip(answers(found.scores).T, answers(truth)[0], strict=True):
            low, _, high = central_interval(sample, 0.95)
            inside.append(low <= true <= high)
    assert 0.92 <= np.mean(inside) <= 0.98


# -- the machine ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def facial() -> Machine:
    return load("facial-roll")


def mill(machine: Machine, number: int) -> tuple[dict[str, float], Machine, Round, Readings]:
    """A mill of the program's own model: its constants, as it stands, its round, and the model of its readings."""
    drawn = population_of(dataclasses.replace(machine, exists=True), draws=number + 1, seed=1001)
    own = {name: float(column[number]) for name, column in drawn.values().items()}
    real = as_it_stands(machine, own)
    round_ = round_of(simulated(real, 6000 + number, ROWS), machine)
    models, kept, _ = _models([round_], (None,))
    return own, real, round_, readings_of([round_], [m for m, _ in models], _readings(kept), _covariance(kept))


def true_scores(model: Readings, real: Machine, dryness: float) -> Array:
    """The scores at which every input of the model is that of the real machine."""
    part = model.parts[0]
    found = np.zeros(len(model.names))
    read = float(part.model.machine.grade.reel_dryness)
    for name, place in part.columns.items():
        value = float(real.get(name))
        if name == "grade.reel_grammage":
            value *= dryness / read
        found[place] = score_of(part.beliefs[name], value)
    free = part.columns["press.dewatering.permeability_factor"]
    wanted = float(real.get("press.dewatering.permeability_factor"))
    coupled = model.values(part, found[None, :])["press.dewatering.permeability_factor"][0]
    uncoupled = found.copy()
    uncoupled[free] = 0.0
    ratio = model.values(part, uncoupled[None, :])["press.dewatering.permeability_factor"][0]
    assert coupled > 0.0
    found[free] = score_of(part.beliefs["press.dewatering.permeability_factor"], wanted / ratio)
    return found


def test_settings_that_no_reading_decides_keep_what_is_believed_of_them(facial: Machine) -> None:
    beliefs = mill(facial, 0)[3].parts[0].beliefs
    believed = input_distributions(facial)
    for name in ("hood.leakage", "hood.heat_recovery", "yankee.steam_pressure", "stock.temperature"):
        assert beliefs[name] == believed[name], name


@pytest.mark.parametrize("number", [1, 4])
def test_the_draw_that_is_the_true_mill_reads_and_predicts_what_the_true_mill_does(
    facial: Machine, number: int
) -> None:
    """The readings without their errors, within a tenth of those; what is predicted, within a thousandth."""
    own, real, round_, model = mill(facial, number)
    scores = true_scores(model, real, own["grade.reel_dryness"])[None, :]
    true = true_values(real)
    off = (model.full(scores)[0] - true) / np.sqrt(np.diag(model.covariance))
    assert np.abs(off).max() < 0.1
    record = {
        "chi_square": 1.0,
        "best": model.observed,
        "centre": scores[0],
        "settled": True,
        "unsettled": (),
        "steps": 9,
    }
    found = population_after([round_], model, np.repeat(scores, 2, axis=0), record, seed=1)
    names = ("end_of_forming", "dryness_press", "steam_per_product", "gas_per_product", "air_temperature")
    said = run_cases(facial, columns(_without_responses(found), facial), names, fast=False)
    wanted = real.run().values
    for name in names:
        assert said[name][0] == pytest.approx(float(wanted[name]), rel=1e-3), name


def _without_responses(found):  # type: ignore[no-untyped-def]
    still = [k for k, one in enumerate(found.addresses) if not one.startswith("response.")]
    return dataclasses.replace(found, addresses=tuple(found.addresses[k] for k in still), scores=found.scores[:, still])


def test_what_was_not_read_must_settle_too(facial: Machine) -> None:
    model = mill(facial, 0)[3]
    assert not any(isinstance(r, Reading) and r.stream == "web_pressed" for r in model.rows)
    said = model.headlines(np.zeros((1, len(model.names))))
    assert said.shape == (1, 7) and np.all(np.isfinite(said))
    assert 0.3 < said[0, 0] < 0.5
