"""Settings for all tests: random ones draw the same examples every time, and none fails for being slow."""

from __future__ import annotations

import os
import re
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


LONG = (
    "test_any_part_of_a_form_can_be_filled_in", "test_the_run_in_the_readme_is_what_the_program_prints",
    "test_no_room_has_more_than_its_allowance[any-untyped]", "test_the_address_is_printed_soon_and_holds_a_token",
    "test_a_reader_that_leaves_early_is_no_fault[args0]", "test_a_reader_that_leaves_early_is_no_fault[args1]",
    "test_an_output_that_lacks_letters_gets_plain_ones[utf-8]", "test_an_output_that_lacks_letters_gets_plain_ones[cp",
    "test_many_freeness_readings_give_the_resistance_each_gives_alone", "test_any_machine_comes_back_from_its_file",
    "test_a_formula_is_as_close_to_a_library", "test_every_row_is_tested_and_every_reference_has_a_row",
    "test_spots_dried_apart_and_air_warmed_by_the_exhaust", "test_shell_and_hood_together_are_shell_and_hood_in_turn",
    "test_the_variance_ratio_agrees_with_a_far_finer_rule", "test_a_run_needs_no_library_it_does_not_use",
    "test_the_difference_of_two_rounds_has_the_spread_it_states", "test_zone_variation_is_that_of_plain_averages",
    "test_no_change_whatever_makes_the_program_fail", "test_no_text_whatever_breaks_the_reader",
    "test_every_bundled_machine_fills_every_chart_it_can", "test_a_command_that_is_told_runs[thinstock run MACHINE]",
    "test_a_public_function_stays_in_its_place_when_a_module", "test_the_same_bits_come_out_for_any_number_of_threads",
    "test_the_global_test_rejects_good_readings_as_often", "test_a_mat_that_resists_more_lowers_the_drainage_limit",
    "test_the_runner_ends_with_how_many_tests_passed", "test_every_package_asked_for_is_imported_by_the_package",
    "test_a_simulated_sheet_has_the_floor_of_its_theory", "test_random_machines_always_get_a_finite_answer",
    "test_an_error_of_the_detectable_size_is_found_in_four", "test_surveys_without_errors_are_rejected_as_often",
    "test_five_spots_of_few_steps_stand_for_all_spots_dried",
    "test_all_formulas_are_listed_and_every_one_has_a_card", "test_a_new_file_runs_and_is_never_overwritten",
)  # fmt: skip
"""Beginnings of tests of a second or more that others of their subject stand for in the fast part."""
FEW = frozenset(("facial-roll", "newsprint-three-nips", "tea-bag-inclined-wire"))
"""A test over all bundled machines tries these in the fast part; the others are left to the whole."""
ALL = frozenset(path.stem for path in Path(thinstock.__file__).parent.glob("library/machines/*.toml"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    tried = {(item.path, _function(item)) for item in items if _machines(item) & FEW}
    for item in items:
        one_of_many = _machines(item) - FEW and (item.path, _function(item)) in tried
        what_if = item.path.name == "test_overlaps.py" and " | " in item.name
        if item.path.name in WHOLE_JOBS or one_of_many or what_if or item.name.startswith(LONG):
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


def _function(item: pytest.Item) -> str:
    return item.name.split("[")[0]


def _machines(item: pytest.Item) -> set[str]:
    """Bundled machines that a test is tried on, one by one."""
    call = getattr(item, "callspec", None)
    return {value for value in call.params.values() if isinstance(value, str)} & ALL if call else set()
