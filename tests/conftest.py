"""Settings for all tests: random ones draw the same examples every time, and none fails for being slow."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import thinstock

os.environ["THINSTOCK_MACHINE_CODE"] = "always"
sys.dont_write_bytecode = False  # tests, and the many processes they start, read their modules once made ready
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ.pop("COLUMNS", None)  # workers of the test runner state a width that nobody looks at

settings.register_profile("steady", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("steady")

WHOLE_JOBS = frozenset(
    f"test_{name}.py"
    for name in (
        "machine_calibration", "handout", "docs", "machine_sweep", "rebuild", "machine_uncertainty", "app_study",
        "app_jobs", "app_pages", "app_survey", "class_page", "cli_sheet", "cli_studies", "compare", "survey_commands",
        "studies_sweep", "worked", "exercises", "examples", "extras", "sheet_simulated",
    )
)  # fmt: skip
"""Files that run whole jobs (documents, servers, sweeps, calibrations): left out of the fast part."""


FEW = frozenset(("facial-roll", "newsprint-three-nips", "tea-bag-inclined-wire"))
"""A test over all bundled machines tries these in the fast part; the others are left to the whole."""
ALL = frozenset(path.stem for path in Path(thinstock.__file__).parent.glob("library/machines/*.toml"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    tried = {(item.path, _function(item)) for item in items if _machines(item) & FEW}
    for item in items:
        one_of_many = _machines(item) - FEW and (item.path, _function(item)) in tried
        if item.path.name in WHOLE_JOBS or one_of_many:
            item.add_marker(pytest.mark.slow)


def _function(item: pytest.Item) -> str:
    return item.name.split("[")[0]


def _machines(item: pytest.Item) -> set[str]:
    """Bundled machines that a test is tried on, one by one."""
    call = getattr(item, "callspec", None)
    return {value for value in call.params.values() if isinstance(value, str)} & ALL if call else set()
