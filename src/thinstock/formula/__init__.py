"""The label on a formula, its text, and writing it out.

The package itself can be called: `thinstock.formula("jet.flow_per_width")` is the label of that formula.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from thinstock.formula.label import Label


class _Callable(ModuleType):
    """A package that is also the public function of its name."""

    def __call__(self, name: str) -> Label:
        """The label of one formula.

        Parameters
        ----------
        name : str
            Its name in full, such as "jet.flow_per_width"; the last part is enough where it is the only one.

        Returns
        -------
        Label
            Text, words with their units, range, source and status.

        Raises
        ------
        Refused
            No formula of this name, or several; the nearest are named.

        Source: the label's own.
        """
        from thinstock.formula.catalogue import formula

        return formula(name)


sys.modules[__name__].__class__ = _Callable
