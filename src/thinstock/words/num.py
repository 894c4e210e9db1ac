"""What a number is inside: a float in base SI, or an array of them with one value per case."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Num = Any
"""A number or an array of numbers in base SI units (an alias for readers; shapes are in the docstrings)."""

Array = NDArray[np.float64]
