"""Ends and groups beside a value of a machine file, and evidence that notices another belief."""

from __future__ import annotations

import numpy as np
import pytest

import thinstock
from thinstock.case import dumps, loads
from thinstock.errors import Refused
from thinstock.evidence import population_of, read_evidence, write_evidence
from thinstock.evidence.links import groups_of
from thinstock.evidence.machine_inputs import input_distributions

FREENESS, HOOD = "stock.freeness", "hood.hood_factor"


@pytest.fixture(scope="module")
def text() -> str:
    return dumps(thinstock.load("facial-roll"))


def with_line(text: str, name: str, entry: str) -> str:
    """The machine file with another entry for one value."""
    lines = text.splitlines()
    places = [k for k, line in enumerate(lines) if line.startswith(f"{name} =")]
    assert len(places) == 1, places
    lines[places[0]] = f"{name} = {entry}"
    return "\n".join(lines) + "\n"


def test_low_and_high_are_the_five_and_ninety_five_per_cent_points(text):
    machine = loads(with_line(text, "freeness", '{ value = "520 mL CSF", low = "480 mL CSF", high = "600 mL CSF" }'))
    law = input_distributions(machine)[FREENESS]
    low, middle, high = law.quantile(np.array([0.05, 0.5, 0.95]))
    assert (low, middle, high) == pytest.approx((480e-6, 520e-6, 600e-6), rel=1e-6)
    assert loads(dumps(machine)).given[FREENESS].ends == machine.given[FREENESS].ends


def test_limits_are_never_passed_and_every_value_between_is_as_likely(text):
    entry = '{ value = "520 mL CSF", low = "480 mL CSF", high = "600 mL CSF", ends = "limits" }'
    machine = loads(with_line(text, "freeness", entry))
    law = input_distributions(machine)[FREENESS]
    assert law.quantile(np.array([0.0, 0.25, 1.0])) == pytest.approx([480e-6, 510e-6, 600e-6])
    drawn = population_of(machine, draws=300).values()[FREENESS]
    assert 480e-6 <= drawn.min() < drawn.max() <= 600e-6
    assert 'ends = "limits"' in dumps(machine)


def test_inputs_of_one_group_are_drawn_with_what_they_have_in_common(text):
    both = with_line(text, "freeness", '{ value = "520 mL CSF", uncertainty = "20 mL CSF", group = "refiner @ 0.8" }')
    entry = 'hood_factor = { value = 0.62, uncertainty = 0.05, group = "refiner @ -0.8" }'
    both = both.replace("[hood]\n", f"[hood]\n{entry}\n")
    machine = loads(both)
    assert groups_of(machine)[FREENESS] == {"refiner": 0.8}
    assert loads(dumps(machine)).given[HOOD].group == "refiner @ -0.8"
    drawn = population_of(machine, draws=4000)
    places = [drawn.addresses.index(one) for one in (FREENESS, HOOD)]
    r = np.corrcoef(drawn.scores[:, places[0]], drawn.scores[:, places[1]])[0, 1]
    assert r == pytest.approx(-0.8, abs=0.04)


@pytest.mark.parametrize(
    "entry, said",
    [
        ('{ value = "520 mL CSF", low = "480 mL CSF" }', "need low and high"),
        ('{ value = "520 mL CSF", low = "530 mL CSF", high = "600 mL CSF" }', "lie about the value"),
        ('{ value = "520 mL CSF", low = "480 mL CSF", high = "600 mL CSF", ends = "soft" }', "kind of ends"),
        ('{ value = "520 mL CSF", low = "480 mL CSF", high = "600 mL CSF", uncertainty = "9 mL CSF" }', "and ends"),
        ('{ value = "520 mL CSF", group = "refiner" }', "no group"),
    ],
)
def test_ends_and_groups_that_cannot_be_are_refused_in_words(text, entry, said):
    with pytest.raises(Refused, match=said):
        loads(with_line(text, "freeness", entry))


def test_a_changed_value_leaves_the_ends_that_stood_about_the_old_one(text):
    machine = loads(with_line(text, "freeness", '{ value = "520 mL CSF", low = "480 mL CSF", high = "600 mL CSF" }'))
    assert machine.with_({FREENESS: 700e-6}).given[FREENESS].ends is None


def test_evidence_says_so_where_something_else_is_believed_by_now(text, tmp_path):
    machine = loads(text)
    file = write_evidence(population_of(machine, draws=60), tmp_path / "m.evidence.toml")
    assert read_evidence(file, machine).notes == ()
    other = loads(with_line(text, "freeness", '{ value = "520 mL CSF", uncertainty = "50 mL CSF" }'))
    (note,) = read_evidence(file, other).notes
    assert "stock.freeness" in note.text and "calibrate again" in note.text
    tried = read_evidence(file, machine.with_({FREENESS: 521e-6}))
    assert not any("calibrate again" in note.text for note in tried.notes), "a what-if is no other belief"
