"""Named inputs drawn together: they live in `thinstock.evidence.inputs`."""

from thinstock.evidence.inputs import *  # noqa: F403
