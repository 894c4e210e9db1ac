"""The names of the survey package: all there, loaded late, each with its source and status."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
import tomllib
from importlib.resources import files

import pytest

import thinstock.survey
from thinstock.formula.label import STATUSES

FORMULAS = [
    name
    for name in thinstock.survey.__all__
    if inspect.isfunction(getattr(thinstock.survey, name)) and name not in ("network_from_streams",)
    if not name.startswith(("read_", "write_"))
]


def test_every_name_is_there():
    for name in thinstock.survey.__all__:
        assert getattr(thinstock.survey, name).__name__ == name
    assert set(thinstock.survey.__all__) <= set(dir(thinstock.survey))
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = thinstock.survey.nonsense


def test_importing_the_package_loads_nothing_heavy():
    heavy = "('scipy', 'pyarrow', 'numba', 'python_calamine')"
    code = f"import sys, thinstock.survey; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.parametrize("name", FORMULAS)
def test_every_formula_names_its_source_and_status(name):
    known = tomllib.loads(files("thinstock.words").joinpath("sources.toml").read_text(encoding="utf-8"))
    text = " ".join((getattr(thinstock.survey, name).__doc__ or "").split())
    found = re.search(r"Source: ([^.]+)\. Status: ([a-z ]+)", text)
    assert found, f"{name} names no source"
    assert all(key.split(" ")[0] in known for key in found[1].split(", "))
    assert any(found[2].startswith(status) for status in STATUSES)
