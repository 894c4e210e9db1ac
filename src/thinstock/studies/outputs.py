"""Which numbers of a run a study asks for: they live in `thinstock.evidence.outputs`."""

from thinstock.evidence.outputs import *  # noqa: F403
