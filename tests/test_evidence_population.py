"""Populations of a machine's inputs: the same draws everywhere, kept in a file, and what an edit by hand does."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from thinstock import load
from thinstock.errors import Refused
from thinstock.evidence import Population, population_of, read_evidence, write_evidence
from thinstock.evidence.distributions import Normal, Triangular, TwoPiece
from thinstock.evidence.file import belief_of, belief_text, score_of
from thinstock.evidence.machine_inputs import Bounded
from thinstock.machine.line import Machine

REWET, FACTOR = "press.nip.suction_pressure_roll.rewet", "press.dewatering.permeability_factor"


@pytest.fixture(scope="module")
def facial() -> Machine:
    return load("facial-roll")


@pytest.fixture(scope="module")
def believed(facial: Machine) -> Population:
    return population_of(facial, draws=300)


def linked(machine: Machine, scores: np.ndarray) -> Population:
    """An invented population of two inputs."""
    beliefs = {REWET: TwoPiece(0.0025, 0.005, 0.01, True), FACTOR: TwoPiece(0.7, 1.0, 1.4, True)}
    return Population(
        addresses=tuple(beliefs), scores=scores, origin="as read", seed=1, distributions=beliefs, machine=machine,
        record={"surveyed": {"yankee.speed": 30.0}},
    )  # fmt: skip


def drawn(r: float, draws: int = 400) -> np.ndarray:
    generator = np.random.Generator(np.random.Philox(key=9))
    return generator.standard_normal((draws, 2)) @ np.linalg.cholesky([[1.0, r], [r, 1.0]]).T


def test_draws_of_one_address_are_the_same_on_any_two_machines(believed: Population) -> None:
    other = population_of(load("facial-shoe"), draws=300)
    shared = [one for one in believed.addresses if one in other.addresses]
    assert len(shared) > 20
    for one in shared:
        np.testing.assert_array_equal(
            believed.scores[:, believed.addresses.index(one)], other.scores[:, other.addresses.index(one)]
        )


def test_fewer_inputs_leave_the_others_to_the_bit(facial: Machine, believed: Population) -> None:
    given = dict(facial.given)
    given["stock.freeness"] = dataclasses.replace(given["stock.freeness"], uncertainty=0.0)
    fewer = population_of(dataclasses.replace(facial, given=given), draws=300)
    assert set(believed.addresses) - set(fewer.addresses) == {"stock.freeness"}
    for one in fewer.addresses:
        np.testing.assert_array_equal(
            fewer.scores[:, fewer.addresses.index(one)], believed.scores[:, believed.addresses.index(one)]
        )


def test_no_draw_lies_outside_of_what_is_possible(facial: Machine, believed: Population) -> None:
    for address, values in believed.values().items():
        low, high = facial.declaration(address).about.possible
        assert values.min() >= low and values.max() <= high


def test_another_seed_gives_other_draws(facial: Machine, believed: Population) -> None:
    assert not np.any(population_of(facial, draws=300, seed=2).scores == believed.scores)


def test_an_unknown_input_is_refused(believed: Population) -> None:
    with pytest.raises(Refused, match=r"yankee\.colour"):
        believed.values(["yankee.colour"])


def test_a_machine_that_exists_is_drawn_as_it_runs(facial: Machine) -> None:
    there = population_of(dataclasses.replace(facial, exists=True), draws=60)
    assert there.origin == "runs" and there.draws == 60
    assert 0.1 < there.accepted < 1.0
    assert there.rows is not None and np.all(np.diff(there.rows) > 0)
    assert there.record["moved"]


def test_evidence_is_read_as_it_was_written(facial: Machine, believed: Population, tmp_path: Path) -> None:
    written = write_evidence(believed, tmp_path / "cal.evidence.toml")
    back = read_evidence(written, facial)
    assert back.origin == "as read" and back.addresses == believed.addresses
    np.testing.assert_array_equal(back.scores, believed.scores)
    values = back.values()
    for address, before in believed.values().items():
        np.testing.assert_array_equal(values[address], before)
    assert back.notes == ()
    mode = (tmp_path / "cal.evidence.parquet").stat().st_mode & 0o777
    (tmp_path / "plain").write_text("x", encoding="utf-8")
    assert mode == (tmp_path / "plain").stat().st_mode & 0o777


def test_missing_draws_are_made_anew_from_means_and_correlations(facial: Machine, tmp_path: Path) -> None:
    kept = linked(facial, drawn(0.93))
    written = write_evidence(kept, tmp_path / "cal.evidence.toml")
    (tmp_path / "cal.evidence.parquet").unlink()
    back = read_evidence(written, facial)
    assert np.corrcoef(back.scores, rowvar=False)[0, 1] == pytest.approx(0.93, abs=0.03)
    assert "missing" in back.notes[0].text


def test_other_draws_than_those_written_are_refused(facial: Machine, tmp_path: Path) -> None:
    written = write_evidence(linked(facial, drawn(0.9)), tmp_path / "cal.evidence.toml")
    write_evidence(linked(facial, drawn(0.1)), tmp_path / "other.evidence.toml")
    (tmp_path / "other.evidence.parquet").replace(tmp_path / "cal.evidence.parquet")
    with pytest.raises(Refused, match="not the draws"):
        read_evidence(written, facial)


def test_a_newer_format_is_refused(facial: Machine, tmp_path: Path) -> None:
    written = write_evidence(linked(facial, drawn(0.9)), tmp_path / "cal.evidence.toml")
    written.write_text(written.read_text("utf-8").replace("format = 1", "format = 99", 1), "utf-8")
    with pytest.raises(Refused, match="99"):
        read_evidence(written, facial)


def test_a_constant_changed_by_hand_moves_what_is_tied_to_it(facial: Machine, tmp_path: Path) -> None:
    written = write_evidence(linked(facial, drawn(0.93)), tmp_path / "cal.evidence.toml")
    edited = facial.with_({REWET: 0.004})
    back = read_evidence(written, edited)
    values = back.values()
    np.testing.assert_allclose(values[REWET], 0.004, rtol=1e-6)
    score = score_of(TwoPiece(0.0025, 0.005, 0.01, True), 0.004)
    assert back.scores[:, 1].mean() == pytest.approx(0.93 * score, abs=0.1)
    assert back.scores[:, 1].std() == pytest.approx(np.sqrt(1 - 0.93**2), abs=0.04)
    assert "draws are those with" in back.notes[0].text


def test_a_constant_far_from_what_was_read_is_refused(facial: Machine, tmp_path: Path) -> None:
    written = write_evidence(linked(facial, 0.2 * drawn(0.5)), tmp_path / "cal.evidence.toml")
    with pytest.raises(Refused, match="edit or the survey is wrong"):
        read_evidence(written, facial.with_({REWET: 0.012}))


@pytest.mark.parametrize(
    "belief",
    [TwoPiece(0.7, 1.0, 1.4, True), Normal(3.0, 0.2), Triangular(0, 0.4, 1), Bounded(0.1, 0.2, 0.0, np.inf, False)],
)
def test_a_belief_is_read_back_from_its_text(belief: object) -> None:
    assert belief_of(belief_text(belief)) == belief


def test_text_that_is_no_belief_is_refused() -> None:
    with pytest.raises(Refused, match="no distribution"):
        belief_of("__import__('os').getcwd()")
