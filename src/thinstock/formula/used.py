"""Which formulas were used, and nothing else of them: for those who ask for sources and not for the working."""

from __future__ import annotations

from typing import Any

from thinstock.formula.label import Label


class UsedLabels:
    """Keeps the label of every formula used, each once, in the order of their first use."""

    quiet = True
    ranges_only = False
    token: object = None

    def __init__(self) -> None:
        self.labels: dict[str, Label] = {}

    def call(self, label: Label, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
        """Use a formula."""
        self.labels[label.name] = label
        return label.function(*args, **kwargs)
