"""What happens on the way: the same march read at more places says the same."""

from __future__ import annotations

import numpy as np
import pytest

from thinstock import load
from thinstock.studies import along, exchange


@pytest.mark.parametrize("former", exchange.formers())
def test_reading_along_a_former_does_not_change_where_forming_ends(former: str) -> None:
    result = exchange.with_former(load("facial-roll"), former).machine.run()
    found = along.former_of(result)
    assert found is not None
    assert found.dry_line == pytest.approx(float(result.parts["wet"].formed.dry_line), nan_ok=True)
    assert np.all(np.diff(found.position) >= 0) and np.all(np.diff(found.drained) >= 0)
    assert np.all(np.diff(found.deposited) >= 0) and found.drained[0] == found.deposited[0] == 0.0
    whole = float(np.sum(result.parts["wet"].formed.drained.white_water))
    assert found.drained[-1] == pytest.approx(whole, rel=2e-4)
    if result["formed"]:
        assert found.deposited[-1] == pytest.approx(result["grammage_on_wire"], rel=1e-9)
        assert found.depth[-1] == 0.0


def test_pressure_on_a_forming_roll_is_that_of_the_tension_all_along() -> None:
    result = load("facial-roll").run()
    found = along.former_of(result)
    assert found is not None
    wire = result.machine.forming.wire
    roll = result.machine.forming.element[0]
    expected = (roll.fabric_tension - wire.fabric_mass * result["speed"] ** 2) / (roll.roll_diameter / 2)
    assert found.pressure == pytest.approx(expected)


@pytest.mark.parametrize("machine", ["facial-roll", "facial-shoe-steel"])
def test_reading_round_the_yankee_ends_where_the_run_ended(machine: str) -> None:
    result = load(machine).run()
    found = along.yankee_of(result)
    assert found is not None
    dried = result.parts["dry"].dried
    assert found.moisture_ratio[-1] == pytest.approx(float(dried.moisture_ratio), rel=1e-6)
    assert found.evaporated[-1] == pytest.approx(float(result["evaporation"]), rel=1e-7)
    assert found.from_shell[-1] == pytest.approx(float(dried.contact_heat), rel=1e-6)
    assert set(found.stretch) == set(along.STRETCHES) and len(found.stretch) == len(found.position)
    assert np.all(np.diff(found.moisture_ratio) < 1e-9)


def test_a_machine_that_forms_no_sheet_has_no_way_round_the_yankee() -> None:
    result = load("facial-roll").with_({"stock.resistance_factor": 40.0}).run()
    assert along.yankee_of(result) is None
    found = along.former_of(result)
    assert found is not None and np.isnan(found.dry_line) and found.depth[-1] > 0
