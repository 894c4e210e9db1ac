"""Functions that tests have answered in processes of their own; small, so that these start quickly."""

from __future__ import annotations

import os
import time
from typing import Any


def answer(question: Any) -> Any:
    """What is asked, with the process that answers; some questions do something first."""
    if question == "fail":
        raise RuntimeError("inside")
    if question == "vanish":
        os._exit(3)
    if isinstance(question, float):
        time.sleep(question)
    return question, os.getpid()
