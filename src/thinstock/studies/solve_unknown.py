"""What may be searched for: a number of the machine that is no limit and, where it can hurt, has its limit entered."""

from __future__ import annotations

from typing import Any

from thinstock.errors import Refused
from thinstock.machine.line import Machine
from thinstock.words import address as addresses
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Q, declared


def _owner(machine: Machine, where: str) -> Fields:
    path = addresses.split(where)
    owner = addresses.get(machine, addresses.join(path[:-1])) if len(path) > 1 else machine
    assert isinstance(owner, Fields)
    return owner


def unknown(machine: Machine, asked: str) -> tuple[str, Q]:
    """Full address and declaration of the unknown; refused where it may not be searched."""
    where = addresses.resolve(machine, asked)
    *_, last = addresses.split(where)
    node = machine.get(where)
    if isinstance(node, Fields | tuple):
        raise Refused(fault_in("studies.solve.part_machine_not_value", where))
    about = machine.declaration(where).about
    if not isinstance(about, Q):
        raise Refused(fault_in("studies.solve.no_number", where, str(node)))
    if about.limit:
        raise Refused(
            fault_in("studies.solve.limit_it_read_from_nameplate", where)
        )  # fmt: skip
    if about.integer:
        raise Refused(
            fault_in("studies.solve.whole_number_search_would_answer", where, str(node))
        )  # fmt: skip
    held = {"hood temperature": "hood.air_temperature", "steam pressure": "yankee.steam_pressure"}
    held["speed"] = machine.speed_address
    if held.get(machine.hold_reel_dryness_by) == where:
        raise Refused(
            fault_in("studies.solve.found_by_every_run_already", where)
        )  # fmt: skip
    _needs_limit(machine, where, last)
    return where, about


def limit_of(machine: Machine, where: str) -> tuple[Q, Any] | None:
    """Declaration and value of the limit that stands beside a value, if its part has one."""
    *_, last = addresses.split(where)
    owner = _owner(machine, where)
    found = next((d for d in declared(type(owner)) if d.name == f"{last}_limit"), None)
    if found is None or not isinstance(found.about, Q):
        return None
    return found.about, getattr(owner, f"{last}_limit")


def _needs_limit(machine: Machine, where: str, last: str) -> None:
    beside = limit_of(machine, where)
    if beside is not None and beside[0].hurts and beside[1] is None:
        paper = (
            phrase("studies.solve.vessel_s_certificate") if last in ("line_load", "steam_pressure") else "the nameplate"
        )
        raise Refused(
            fault_in("studies.solve.may_not_be_searched_while", where, where=where, paper=paper)
        )  # fmt: skip
