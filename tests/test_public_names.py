"""The public names of the package: that each is there, and that importing it loads next to nothing."""

from __future__ import annotations

import subprocess
import sys
from importlib import import_module
from importlib.util import find_spec
from types import FunctionType

import pytest

import thinstock
from thinstock.formula.catalogue import HOMES

PUBLIC = {
    "Fault": type,
    "Given": type,
    "Limit": type,
    "Limits": type,
    "Machine": type,
    "NotFound": type,
    "Note": type,
    "Refused": type,
    "Result": type,
    "formula": None,
    "formulas": None,
    "limits": FunctionType,
    "load": FunctionType,
    "loads": FunctionType,
    "machines": FunctionType,
    "new": FunctionType,
    "save": FunctionType,
    "schema": FunctionType,
}
HEAVY = ("scipy", "numba", "pyarrow", "pydantic", "typst", "numpy", "tomlkit", "rich", "starlette", "vl_convert")


def loaded_after(code: str, names: tuple[str, ...]) -> list[str]:
    """Which of these modules are loaded in a new process after the code ran."""
    program = f"{code}\nimport sys\nprint([n for n in {names!r} if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=120)
    found: list[str] = eval(done.stdout.strip().splitlines()[-1], {"__builtins__": {}})
    return found


def test_the_public_names_are_the_ones_listed() -> None:
    assert sorted(thinstock.__all__) == sorted(PUBLIC)
    assert set(thinstock.__all__) <= set(dir(thinstock))


@pytest.mark.parametrize("name", PUBLIC)
def test_a_public_name_is_what_it_is_meant_to_be(name: str) -> None:
    wanted = PUBLIC[name]
    value = getattr(thinstock, name)
    assert callable(value)
    assert wanted is None or isinstance(value, wanted)
    assert (value.__doc__ or "").strip(), "a public name says what it is"


def test_a_name_that_is_not_public_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'limit_of'"):
        _ = thinstock.limit_of


def test_importing_the_package_loads_none_of_the_heavy_libraries() -> None:
    assert loaded_after("import thinstock", HEAVY) == []


def test_listing_the_bundled_machines_compiles_nothing() -> None:
    assert loaded_after("import thinstock; thinstock.machines()", HEAVY) == []


def test_a_run_needs_no_library_it_does_not_use() -> None:
    code = "import thinstock; thinstock.load('facial-roll').run()"
    assert loaded_after(code, ("pyarrow", "pydantic", "typst", "vl_convert", "starlette", "rich", "pint")) == []


@pytest.mark.parametrize(
    "before",
    [
        "import thinstock.machine.limits",
        "import thinstock.formula.label",
        "from thinstock.machine.limits import Limits",
        "import thinstock.cli.limits",
    ],
)
def test_a_public_function_stays_in_its_place_when_a_module_of_its_name_is_imported(before: str) -> None:
    code = f"import thinstock\n{before}\nassert callable(thinstock.limits) and callable(thinstock.formula)"
    assert loaded_after(code, ()) == []


def test_the_version_is_that_of_the_installed_package() -> None:
    from importlib.metadata import version

    assert thinstock.__version__ == version("thinstock")


def test_every_formula_is_in_the_catalogue_under_its_module() -> None:
    known = thinstock.formulas()
    assert len(known) > 300
    for name, label in known.items():
        home, _, function = name.partition(".")
        rooms = [f"{room}.{home}" for room in HOMES if find_spec(f"{room}.{home}") is not None]
        found = [vars(import_module(room)).get(function) for room in rooms]
        assert label.name == name and label in [f.label for f in found if f is not None]


def test_a_formula_is_found_by_its_last_name_and_a_wrong_one_names_the_nearest() -> None:
    assert thinstock.formula("pressure_forming_roll").name == "drainage.pressure_forming_roll"
    with pytest.raises(thinstock.Refused, match="pressure_forming_roll"):
        thinstock.formula("presure_forming_roll")
