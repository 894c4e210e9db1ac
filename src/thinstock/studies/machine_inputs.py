"""What is believed of a machine's inputs: they live in `thinstock.evidence.machine_inputs`."""

from thinstock.evidence.machine_inputs import *  # noqa: F403
