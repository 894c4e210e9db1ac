"""Distributions of uncertain inputs: they live in `thinstock.evidence.distributions`."""

from thinstock.evidence.distributions import *  # noqa: F403
