"""A calibration as data: one object in base SI."""

from __future__ import annotations

from typing import Any

from thinstock.survey.machine_calibration import Calibration, Checked, Found
from thinstock.survey.record import plain

FORMAT = 1
"""Version of the shape of the object; raised when a name changes its meaning."""


def calibration_record(found: Calibration) -> dict[str, Any]:
    """Constants, what cannot be told, correlations, and every reading before and after."""
    return {
        "format": FORMAT,
        "machine": found.machine.title,
        "rounds": [r.name for r in found.rounds],
        "passed": [None if f is None else f.passed for f in found.findings],
        "constants": [_constant(f) for f in found.found],
        "not_told": [
            {"address": n.unknown.address, "label": n.unknown.label, "why": n.why, "best_reading": n.best or None}
            for n in found.not_told
        ],
        "correlation": [{"constants": list(pair), "correlation": plain(r)} for pair, r in found.correlation.items()],
        "settings": [[_setting(s) for s in settings] for settings in found.settings],
        "chi_square_before": plain(found.chi_square_before),
        "chi_square": plain(found.fit.chi_square),
        "degrees_of_freedom": found.degrees_of_freedom,
        "probability": plain(found.probability),
        "readings": [_reading(c) for c in found.checked],
        "unused": [{"stream": r.stream, "quantity": r.quantity, "why": why} for r, why in found.unused],
        "notes": [{"part": n.part, "level": n.level, "text": n.text} for n in found.notes],
    }


def _constant(one: Found) -> dict[str, Any]:
    return {
        "address": one.unknown.address,
        "label": one.unknown.label,
        "before": plain(one.unknown.centre),
        "standard_uncertainty_before": plain(one.unknown.spread),
        "value": plain(one.value),
        "standard_uncertainty": plain(one.standard_uncertainty),
        "low_95": plain(one.low),
        "high_95": plain(one.high),
        "standard_uncertainty_by_data": plain(one.by_data),
        "leans_on": [{"address": address, "change": plain(change)} for address, change in one.leans],
    }


def _setting(one: Found) -> dict[str, Any]:
    return {
        "address": one.unknown.address,
        "value": plain(one.value),
        "standard_uncertainty": plain(one.standard_uncertainty),
    }


def _reading(one: Checked) -> dict[str, Any]:
    return {
        "round": one.round,
        "stream": one.reading.stream,
        "quantity": one.reading.quantity,
        "read": plain(one.reading.value),
        "standard_uncertainty": plain(one.reading.standard_uncertainty),
        "before": plain(one.before),
        "after": plain(one.after),
        "left_out": plain(one.left_out),
        "left_out_score": plain(one.left_out_score),
    }
