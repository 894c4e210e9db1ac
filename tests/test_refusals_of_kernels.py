"""A refusal of a kernel keeps its own cause on its way up; all errors of the tool are of one tree."""

from __future__ import annotations

import pickle
import pkgutil
from importlib import import_module
from typing import Any

import pytest

import thinstock
from thinstock import errors
from thinstock.errors import Fault, KernelRefused, NotFound, Refused, ThinstockError
from thinstock.formula.label import worksheet
from thinstock.kernels import dryer
from thinstock.kernels.dryer_input import DryerInput
from thinstock.machine import dryer as machine_dryer

from drying_cases import DRYER  # isort: skip


def run(**changed: Any) -> Any:
    return thinstock.load("facial-roll").with_(changed).run()


def test_another_cause_is_not_laid_on_the_exhaust_humidity(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(*_: Any, **__: Any) -> Any:
        raise KernelRefused("overlong", Fault(field="hood_length", bound="longer than the circumference"))

    monkeypatch.setattr(machine_dryer.kernel, "dry", refuses)
    with pytest.raises(KernelRefused) as caught:
        run()
    assert [f.field for f in caught.value.faults] == ["hood_length"]
    assert caught.value.cause == "overlong"


def test_a_humidity_that_cannot_be_reached_is_told_by_its_address() -> None:
    with pytest.raises(Refused, match=r"hood\.exhaust_humidity") as caught:
        run(**{"hood.exhaust_humidity": 0.03, "hood.jet_velocity": 20.0})
    assert isinstance(caught.value.__cause__, KernelRefused)
    assert caught.value.__cause__.cause == "humidity_unreachable"


def test_each_refusal_of_the_dryer_has_its_own_cause() -> None:
    def cause(**changed: Any) -> str:
        with pytest.raises(KernelRefused) as caught:
            dryer.dry(**{**DRYER, **changed})
        return caught.value.cause

    assert cause(steps=(4, 40)) == "steps"
    assert cause(hold=3) == "hold"
    assert cause(hood_length=20.0) == "overlong"
    assert cause(grammage=[[0.01, 0.012]]) == "axes"
    assert cause(exhaust_humidity=0.25, jet_open_area=0.004, jet_velocity=40.0) == "humidity_unreachable"


def test_a_record_and_its_fields_by_name_dry_the_same_and_are_recorded_alike() -> None:
    record = DryerInput(**DRYER)
    named = {name: getattr(record, name) for name in DryerInput.order()}
    with worksheet() as sheet:
        assert dryer.dry(record) == dryer.dry(**named) == dryer.dry(record, lowest=DRYER["lowest"])
    first, *others = (step.inputs for step in sheet.steps)
    assert list(first) == list(DryerInput.order())
    assert all(other == first for other in others) and len(others) == 2


def test_every_error_of_the_tool_is_in_the_tree_at_the_top_of_errors() -> None:
    for module in pkgutil.walk_packages(thinstock.__path__, "thinstock."):
        if not module.name.endswith("__main__"):
            import_module(module.name)
    own = {e for e in _below(BaseException) if e.__module__.startswith("thinstock.") and not issubclass(e, Warning)}
    named = {e for e in own if not e.__name__.startswith("_")}
    assert named == _below(ThinstockError) | {ThinstockError}
    missing = [e.__name__ for e in named if e.__name__ not in (errors.__doc__ or "")]
    assert not missing, f"add {missing} to the tree at the top of errors.py"


def _below(kind: type[BaseException]) -> set[type[BaseException]]:
    found = set(kind.__subclasses__())
    return found.union(*(_below(one) for one in found)) if found else found


def test_errors_that_carry_something_go_through_a_process_whole() -> None:
    fault = Fault(field="speed", value="60 m/s", bound="too fast")
    near = pickle.loads(pickle.dumps(NotFound(fault, nearest={"speed": 55.0}, obstacle="end of the range")))
    assert (near.faults, near.nearest, near.obstacle) == ((fault,), {"speed": 55.0}, "end of the range")
    kernel = pickle.loads(pickle.dumps(KernelRefused("steps", fault)))
    assert (kernel.faults, kernel.cause) == ((fault,), "steps")
