"""Constants that are not constant: what a constant found at one setting is taken to be at another."""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num


def constant_at(constant: Num, exponent: Num, setting: Num, setting_surveyed: Num) -> Num:
    """A constant away from where it was found: constant * product of (setting / surveyed)^exponent.

    `exponent`, `setting` and `setting_surveyed` have one number for each setting (last axis).
    Source: ASSUMED. Status: assumed.
    """
    ratio = np.asarray(setting, dtype=float) / np.asarray(setting_surveyed, dtype=float)
    power = np.asarray(ratio ** np.asarray(exponent, dtype=float))
    found = np.asarray(constant, dtype=float) * (power.prod(axis=-1) if power.ndim else power)
    return found if np.ndim(found) else float(found)
