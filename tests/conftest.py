"""Settings for all tests: random ones draw the same examples every time, and none fails for being slow."""

from __future__ import annotations

import os
import re
from pathlib import Path

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


BROWSER = ("chromium", "playwright", "no browser")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """A run without a browser says so in its last lines: a green run must not pass for one of the pages."""
    found: dict[str, int] = {}
    for report in terminalreporter.stats.get("skipped", ()):
        reason = str(report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr).lower()
        if any(word in reason for word in BROWSER):
            found[report.nodeid] = _tests_in(report.nodeid) if "::" not in report.nodeid else 1
    if found:
        many = sum(found.values())
        terminalreporter.write_line(
            f"{many} page tests did NOT run: there is no Chromium or no playwright here (apt-get install chromium; "
            "scripts/setup --test)", red=True,
        )  # fmt: skip


def _tests_in(module: str) -> int:
    """Tests of a module that was left out whole, by their definitions."""
    place = Path(__file__).parent.parent / module
    return len(re.findall(r"(?m)^def test_", place.read_text(encoding="utf-8"))) if place.is_file() else 1
