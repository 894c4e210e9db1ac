"""What a study says of one machine, in one call."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, overload

from thinstock.case.run import machine_of
from thinstock.errors import Refused
from thinstock.evidence.uncertain import Uncertain
from thinstock.machine.line import Machine
from thinstock.studies.bands import uncertainty
from thinstock.studies.matters import Matters, matters
from thinstock.words.fault import fault_in

KINDS = ("uncertainty", "matters")


@overload
def study(machine: Machine | str | Path, what: Literal["uncertainty"] = "uncertainty") -> dict[str, Uncertain]: ...


@overload
def study(machine: Machine | str | Path, what: Literal["matters"]) -> Matters: ...


def study(machine: Machine | str | Path, what: str = "uncertainty") -> dict[str, Uncertain] | Matters:
    """How sure the numbers of a machine are, or which inputs that hangs on.

    Parameters
    ----------
    machine : Machine, str or Path
        One case: a machine, the name of a bundled one, or the path of a machine file.
    what : {"uncertainty", "matters"}
        "uncertainty" draws the machine's population and gives middle and central 90 % of every number (some tenths of
        a second). "matters" draws all inputs together and shares out the variance (some seconds).

    Returns
    -------
    dict of Uncertain, or Matters
        By the name of the number: value, standard uncertainty, middle and ends, and contributions, all in the number's
        base SI unit; or the shares of the variance, 0 to 1.

    Raises
    ------
    Refused
        An unknown study, a machine with arrays, or one with no uncertain input.

    Source: JCGM_101 (draws); SALTELLI_2010 and JANSEN_1999 (shares). Status: from memory.
    """
    if what not in KINDS:
        raise Refused(fault_in("studies.study.study", "study", repr(what), kinds=", ".join(KINDS)))
    found = machine_of(machine)
    return uncertainty(found) if what == "uncertainty" else matters(found)
