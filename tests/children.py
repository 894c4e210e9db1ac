"""Processes that a test starts: they hear an interrupt whoever started the tests, and none outlives its test."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

HEARS_INTERRUPTS = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"
"""First line of such a process: a runner in the background hands on SIGINT as ignored, and it would stay so."""


@contextmanager
def started(args: Sequence[str]) -> Iterator[subprocess.Popen[str]]:
    """A process with its output at hand; it is ended with the block, however that ends."""
    with subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            if process.poll() is None:
                process.kill()
