"""A machine as a function of columns: they live in `thinstock.evidence.cases`."""

from thinstock.evidence.cases import *  # noqa: F403
