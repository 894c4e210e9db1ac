"""Groups of linked inputs: they live in `thinstock.evidence.links`."""

from thinstock.evidence.links import *  # noqa: F403
