"""Settings for all tests: random ones draw the same examples every time, and none fails for being slow."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings

os.environ["THINSTOCK_MACHINE_CODE"] = "always"
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


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.name in WHOLE_JOBS:
            item.add_marker(pytest.mark.slow)
