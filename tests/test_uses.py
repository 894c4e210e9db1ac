"""A card says where the product calls its formula, or that nothing does."""

from __future__ import annotations

import pytest

import thinstock
from thinstock.cli.formulas import card
from thinstock.formula.catalogue import BY_HAND, uses


@pytest.mark.parametrize("machine", ["facial-roll", "newsprint-two-shoes", "cigarette-flat-wire-foils"])
def test_no_formula_that_a_run_uses_is_called_one_for_people_alone(machine: str) -> None:
    steps = thinstock.load(machine).run().worksheet.steps
    assert not {s.label.name for s in steps if s.label.name in uses() and not uses()[s.label.name]}


def test_a_formula_is_found_in_machine_code_through_helpers_and_through_other_formulas() -> None:
    assert "kernels/yankee_march" in uses()["steam.latent_heat_fit"]
    assert "kernels/dryer_march" in uses()["humid_air.temperature_enthalpy"]
    assert "machine/dryer" in uses()["dryer.dry"]
    assert any(place in thinstock.formulas() for places in uses().values() for place in places)


def test_the_searches_on_a_yankee_alone_are_there_for_people_alone() -> None:
    assert not uses()["yankee.speed_for_dryness"]
    assert BY_HAND in card(thinstock.formulas()["yankee.speed_for_dryness"])
    known = card(thinstock.formulas()["steam.latent_heat_fit"])
    assert BY_HAND not in known and any("kernels/yankee_march" in line for line in known)
