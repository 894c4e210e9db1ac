"""The water circuits told: what comes in and goes out, how warm and dirty each circuit is, every stream."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.machine.circuit_closed import AT, Closed, streams_told
from thinstock.tell.blocks import Block, Cell, Column, Sort, Table, care, words
from thinstock.tell.cells import named, number, per_cent
from thinstock.tell.record import plain
from thinstock.words.phrase import capital, phrase

if TYPE_CHECKING:
    from thinstock.machine.result import Result
    from thinstock.words.figures import Edge

TAKEN = ("fresh_water_per_product", "shower_water_per_product", "seal_water_per_product", "chemical_water_per_product",
         "effluent_per_product")  # fmt: skip
HEADS: tuple[tuple[str, Sort], ...] = (("what", "word"), ("value", "end"))
SAID = ("fibre_loss", "circuit_fines_share", "broke_share_of_thick", "white_water_dissolved", "temperature_free",
        "heat_to_hold", "shower_heat_per_product")  # fmt: skip


def told(result: Result, edge: Edge) -> Iterator[Block]:
    """Cautions first, then the numbers, the circuits and their streams; in words where there are none."""
    if result.machine.circuit is None:
        yield words(phrase("circuits_told.none"))
        return
    yield from care("circulation")
    if "circuit" not in result.parts:
        yield words(phrase("circuits_told.no_sheet"))
        return
    done = result.parts.circuit
    yield _numbers(result, edge)
    yield _nodes(done, edge)
    yield _streams(done, edge)
    yield words(phrase("circuits_told.free", temperature=named(edge, result.values, "temperature_free")))
    yield words(*(capital(note.text) for note in result.notes if note.part == "circuit"))


def _numbers(result: Result, edge: Edge) -> Table:
    from thinstock.machine.numbers import number as about

    heads = tuple(Column(head=phrase(f"circuits_told.{key}"), sort=sort) for key, sort in HEADS)
    rows = tuple((about(name).label, named(edge, result.values, name)) for name in (*TAKEN, *SAID))
    return Table(key="circuit-numbers", columns=heads, rows=rows, caption=phrase("circuits_told.numbers"))


def _nodes(done: Closed, edge: Edge) -> Table:
    """Temperature, solids and dissolved matter of every circuit."""
    heads = (
        Column(head=phrase("circuits_told.circuit"), sort="word"),
        Column(head=phrase("circuits_told.held"), unit=edge.unit("temperature")),
        Column(head=phrase("circuits_told.free_head"), unit=edge.unit("temperature")),
        Column(head=phrase("circuits_told.solids"), unit="mg/kg"),
        Column(head=phrase("circuits_told.dissolved"), unit=edge.unit("dissolved_concentration")),
    )
    rows: list[tuple[Cell, ...]] = []
    for node in AT:
        if node not in done.warmth.held or node == "dryer":
            continue
        load, dissolved, flow, water = _through(done, node)
        rows.append((
            phrase(f"circuits_told.node.{node}"), number(edge, "temperature", done.warmth.held[node]),
            number(edge, "temperature", done.warmth.free[node]), number(edge, "tanks", 1e6 * load / flow),
            number(edge, "dissolved_concentration", dissolved / water),
        ))  # fmt: skip
    return Table(key="circuit-nodes", columns=heads, rows=tuple(rows), caption=phrase("circuits_told.nodes"))


def _through(done: Closed, node: str) -> tuple[float, float, float, float]:
    """Solids, dissolved matter, flow and water into a node."""
    parts = [s for s in done.balance.streams if s.sink == node]
    return (
        sum(float(np.sum(s.solids)) for s in parts), sum(float(s.dissolved) for s in parts),
        sum(float(s.flow) for s in parts), sum(float(s.water) for s in parts),
    )  # fmt: skip


def _streams(done: Closed, edge: Edge) -> Table:
    """Every stream, per metre of width."""
    dissolved_unit = edge.unit("dissolved_concentration")
    units = {"flow": edge.unit("mass_flow_per_width"), "share_solids": "%", "fines": "%", "dissolved": dissolved_unit}
    heads = (
        *(Column(head=phrase(f"circuits_told.{key}"), sort="word") for key in ("stream", "from", "to")),
        *(Column(head=phrase(f"circuits_told.{key}"), unit=unit) for key, unit in units.items()),
    )
    rows: list[tuple[Cell, ...]] = []
    for stream in streams_told(done):
        flow, solids = float(stream.flow), float(np.sum(stream.solids))
        if flow <= 0:
            continue
        fines = "" if solids <= 0 else per_cent(float(stream.solids[1]) / solids)
        dissolved: Cell = "" if float(stream.water) <= 0 else number(
            edge, "dissolved_concentration", stream.dissolved / stream.water
        )  # fmt: skip
        rows.append((
            stream.name.replace("_", " "), stream.source, stream.sink, number(edge, "mass_flow_per_width", flow),
            per_cent(solids / flow) if solids else "", fines, dissolved,
        ))  # fmt: skip
    return Table(key="circuit-streams", columns=heads, rows=tuple(rows), caption=phrase("circuits_told.streams"))


def record(result: Result) -> dict[str, Any] | None:
    """The circuits in base SI; nothing where the machine has none or no sheet is formed."""
    if result.machine.circuit is None or "circuit" not in result.parts:
        return None
    done = result.parts.circuit
    return {
        "components": ["long", "fines", "ash"],
        "nodes": {
            name: {"temperature": plain(done.warmth.held[name]), "temperature_free": plain(done.warmth.free[name])}
            for name in done.warmth.held
        },
        "streams": [
            {"name": s.name, "from": s.source, "to": s.sink, "flow": plain(s.flow), "water": plain(s.water),
             "solids": plain(s.solids), "dissolved": plain(s.dissolved)}
            for s in streams_told(done)
        ],
        "rounds": done.balance.rounds,
    }  # fmt: skip
