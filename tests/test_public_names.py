"""The public names of the package: that each is there, and that importing it loads next to nothing."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import FunctionType, ModuleType

import numpy as np
import pytest

import thinstock
from thinstock.formula.catalogue import HOMES

TYPES = (
    "Comparison", "Fault", "Findings", "Formation", "Given", "Ladder", "Limit", "Limits", "Machine", "NotFound", "Note",
    "Refused", "Result", "Uncertain",
)  # fmt: skip
FUNCTIONS = (
    "calibrate", "chart", "compare", "draw", "exercises", "explain", "formation", "formers", "formulas", "handout",
    "limits", "load", "loads", "machines", "new", "read_round", "run", "save", "schema", "solve", "study", "sweep",
)  # fmt: skip
CALLED = ("formula", "sheet", "survey")
"""Packages that can be called."""
PUBLIC: dict[str, type] = {
    **dict.fromkeys(TYPES, type),
    **dict.fromkeys(FUNCTIONS, FunctionType),
    **dict.fromkeys(CALLED, ModuleType),
    "formulas": object,  # kept once made
}
HEAVY = ("scipy", "numba", "pyarrow", "typst", "numpy", "tomlkit", "rich", "starlette", "vl_convert")


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
    assert isinstance(value, wanted)
    assert (value.__doc__ or "").strip(), "a public name says what it is"


@pytest.mark.parametrize("name", [*FUNCTIONS, *CALLED])
def test_a_public_function_says_what_goes_in_what_comes_out_what_is_refused_and_its_source(name: str) -> None:
    value = getattr(thinstock, name)
    function = type(value).__call__ if name in CALLED else value
    told = inspect.cleandoc(function.__doc__ or "")
    asked = [n for n in inspect.signature(function).parameters if n != "self"]
    heads = [*(["Parameters"] if asked else []), "Returns"]
    for head in heads:
        assert f"\n\n{head}\n{'-' * len(head)}\n" in told, f"{name} says nothing under {head}"
    if asked:
        said = told.split("Parameters\n")[1].split("\n\n")[0]
        assert not [n for n in asked if not re.search(rf"(?m)^[*\w, ]*\b{n}\b[*\w, ]*(?: :|$)", said)]
        assert "\n\nRaises\n------\n" in told, f"{name} says nothing of what it refuses"
    assert re.search(r"(?m)^Source: \S", told), f"{name} names no source"


def test_what_examples_and_documentation_use_is_public() -> None:
    """`drawing` gives the names of charts; everything else hangs on the package itself."""
    root = Path(__file__).parent.parent
    texts = [p.read_text(encoding="utf-8") for p in (*root.glob("examples/*.py"), *root.glob("docs/content/**/*.md"))]
    texts.append((root / "README.md").read_text(encoding="utf-8"))
    used = {name for text in texts for name in re.findall(r"(?<![\w/.`-])thinstock\.([A-Za-z_]+)", text)}
    assert len(used) > 10
    assert used <= {*thinstock.__all__, "__version__"}, used - set(thinstock.__all__)
    assert not [text for text in texts if re.search(r"(?m)^\s*from thinstock", text)]


def test_a_run_takes_a_machine_its_name_or_its_file_and_changes_in_base_si(tmp_path: Path) -> None:
    machine = thinstock.load("facial-roll")
    thinstock.save(machine, tmp_path / "mine.toml")
    said = {thinstock.run(one)["dryness_press"] for one in (machine, "facial-roll", tmp_path / "mine.toml")}
    assert len(said) == 1
    many = thinstock.run(machine, {"headbox.consistency": np.array([0.0018, 0.002])})
    assert many["flow_per_width"].shape == (2,) and many["flow_per_width"][0] > many["flow_per_width"][1]
    with pytest.raises(thinstock.Refused, match="no_such_thing"):
        thinstock.run("facial-roll", {"no_such_thing": 1.0})


def test_a_sheet_and_a_survey_are_made_by_calling_their_packages() -> None:
    fibres = thinstock.sheet.Furnish("one fibre", 1.0, 2e-3, 30e-6, 0.15e-6)
    made = thinstock.sheet(fibres, 0.018, 0.002, suspension_variation=0.0, size=5e-3, pixel=1e-4)
    assert made.coverage.shape == (50, 50)
    found = thinstock.survey("facial-roll", thinstock.load("facial-roll"))
    assert isinstance(found, thinstock.Findings) and found.rows


def test_a_study_says_how_sure_a_number_is_and_an_unknown_one_is_refused() -> None:
    found = thinstock.study("facial-roll")["flow_per_width"]
    assert isinstance(found, thinstock.Uncertain) and found.standard_uncertainty > 0
    with pytest.raises(thinstock.Refused, match="must be one of uncertainty, matters"):
        thinstock.study("facial-roll", "horoscope")  # type: ignore[call-overload]


def test_a_name_that_is_not_public_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'limit_of'"):
        _ = thinstock.limit_of


def test_importing_the_package_loads_none_of_the_heavy_libraries() -> None:
    assert loaded_after("import thinstock", HEAVY) == []


def test_listing_the_bundled_machines_compiles_nothing() -> None:
    assert loaded_after("import thinstock; thinstock.machines()", HEAVY) == []


def test_a_run_needs_no_library_it_does_not_use() -> None:
    code = "import thinstock; thinstock.load('facial-roll').run()"
    assert loaded_after(code, ("pyarrow", "typst", "vl_convert", "starlette", "rich", "pint")) == []


@pytest.mark.parametrize(
    "before",
    [
        "import thinstock.machine.limits",
        "import thinstock.formula.label",
        "from thinstock.machine.limits import Limits",
        "import thinstock.cli.limits",
        "import thinstock.sheet.cast, thinstock.survey.findings, thinstock.studies.study, thinstock.case.run",
    ],
)
def test_a_public_function_stays_in_its_place_when_a_module_of_its_name_is_imported(before: str) -> None:
    code = f"import thinstock\n{before}\nassert all(callable(getattr(thinstock, name)) for name in thinstock.__all__)"
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
