"""Which stream leaves which node and enters which: the skeleton on which a survey is reconciled.

A machine's table of streams is one, and a surveyor may write a small file `stream, from, to`. No flows stand here.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import Array
from thinstock.survey.cells import read_cells
from thinstock.survey.faults import SurveyError, nearest
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

OUTSIDE = "outside"
"""Where streams come from or go to that cross the border of the network: no node."""
HEAT = "heat"
"""The component whose "consistency" is heat capacity times temperature, J/kg above 0 K."""


def kind_of(stream: str) -> str:
    """What sort of stream it is, whichever part it is of: "nip_water" of "nip_water: first press"."""
    return stream.partition(":")[0]


def part_of(stream: str) -> str:
    """The part a stream is of, where there may be several of its kind: "first press"."""
    return stream.partition(": ")[2]


@dataclass(frozen=True, eq=False)
class Network:
    """Nodes and the streams that join them."""

    nodes: Mapping[str, tuple[Sequence[str], Sequence[str]]]
    """Name -> (streams in, streams out)."""
    components: Sequence[str] = ()
    """What streams carry, as a share of their mass; none: flows only."""
    clean: Sequence[str] = ()
    """Streams whose solids are exactly zero: fresh water, vapour."""
    same_composition: Sequence[tuple[str, str]] = ()
    """Pairs of streams of the same composition: two sides of a splitter, a silo and what is drawn from it."""
    sources: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """Node -> component -> what the node adds to it per second (shaft power or steam heat in W), known exactly."""

    def __post_init__(self) -> None:
        faults = [*self._shape_faults(), *self._name_faults()]
        if faults:
            raise SurveyError(faults)

    @cached_property
    def streams(self) -> tuple[str, ...]:
        """Names in order of first appearance."""
        return tuple(dict.fromkeys(s for ends in self.nodes.values() for side in ends for s in side))

    @cached_property
    def solids(self) -> tuple[int, ...]:
        """Numbers of the components that add up to the consistency (all but heat)."""
        return tuple(k for k, name in enumerate(self.components) if name != HEAT)

    def incidence(self) -> Array:
        """Nodes x streams: +1 where a stream enters a node, -1 where it leaves it."""
        place = {name: j for j, name in enumerate(self.streams)}
        matrix = np.zeros((len(self.nodes), len(place)))
        for i, (inward, outward) in enumerate(self.nodes.values()):
            matrix[i, [place[s] for s in inward]] = 1.0
            matrix[i, [place[s] for s in outward]] = -1.0
        return matrix

    def added(self) -> Array:
        """Nodes x components: what each node adds per second."""
        matrix = np.zeros((len(self.nodes), len(self.components)))
        for i, node in enumerate(self.nodes):
            for name, amount in self.sources.get(node, {}).items():
                matrix[i, list(self.components).index(name)] = amount
        return matrix

    def parts(self) -> tuple[tuple[str, ...], ...]:
        """The streams of each connected part."""
        label = {name: name for name in self.streams}

        def root(name: str) -> str:
            while label[name] != name:
                name = label[name]
            return name

        for inward, outward in self.nodes.values():
            joined = [*inward, *outward]
            for other in joined[1:]:
                label[root(other)] = root(joined[0])
        groups: dict[str, list[str]] = {}
        for name in self.streams:
            groups.setdefault(root(name), []).append(name)
        return tuple(tuple(g) for g in groups.values())

    def _shape_faults(self) -> list[Fault]:
        faults = []
        entered: dict[str, str] = {}
        left: dict[str, str] = {}
        for node, (inward, outward) in self.nodes.items():
            for side, names in (("enters", inward), ("leaves", outward)):
                if not names:
                    remedy = phrase("survey.network.every_node_needs_stream_in")
                    faults.append(
                        Fault(
                            field=f"node {node}", bound=phrase("survey.network.no_stream_it", side=side), remedy=remedy
                        )
                    )
                seen = entered if side == "enters" else left
                for name in names:
                    if name in seen:
                        other = "twice" if seen[name] == node else f"{seen[name]} too"
                        faults.append(Fault(field=f"stream {name}", value=node, bound=f"{side} {other}"))
                    seen[name] = node
            for name in sorted(set(inward) & set(outward)):
                remedy = phrase("survey.network.node_cannot_feed_itself_directly")
                faults.append(
                    Fault(
                        field=f"stream {name}",
                        value=node,
                        bound=phrase("survey.network.loops_from_node_to_itself"),
                        remedy=remedy,
                    )
                )
        if not self.nodes:
            faults.append(fault_in("survey.network.nodes", "nodes"))
        return faults

    def _name_faults(self) -> list[Fault]:
        faults = []
        known = self.streams
        named = [("clean", s) for s in self.clean] + [("same_composition", s) for p in self.same_composition for s in p]
        for where, name in named:
            if name not in known:
                faults.append(
                    Fault(
                        field=where, value=name, bound=phrase("survey.network.no_stream"), remedy=nearest(name, known)
                    )
                )
        if len(set(self.components)) != len(self.components):
            faults.append(fault_in("survey.network.components", "components", ", ".join(self.components)))
        for node, amounts in self.sources.items():
            if node not in self.nodes:
                faults.append(
                    Fault(
                        field="sources",
                        value=node,
                        bound=phrase("survey.network.no_node"),
                        remedy=nearest(node, self.nodes),
                    )
                )
            for name in amounts:
                if name not in self.components:
                    remedy = nearest(name, self.components)
                    faults.append(
                        Fault(field="sources", value=name, bound=phrase("survey.network.no_component"), remedy=remedy)
                    )
        return faults


def network_from_streams(
    rows: Iterable[Any],
    components: Sequence[str],
    clean: Sequence[str] = (),
    same_composition: Sequence[tuple[str, str]] = (),
    sources: Mapping[str, Mapping[str, float]] | None = None,
) -> Network:
    """The network of a table of streams: rows of (name, from, to), mappings of those, or streams of a machine's result.

    `outside` (or nothing) is no node.
    """
    nodes: dict[str, tuple[list[str], list[str]]] = {}
    faults: list[Fault] = []
    seen: set[str] = set()
    for row in rows:
        name, source, target = _row(row)
        if name in seen:
            faults.append(fault_in("survey.network.stream", "stream", name))
            continue
        seen.add(name)
        if source == target:
            faults.append(fault_in("survey.network.loops_from_node_to_itself_2", f"stream {name}", source))
            continue
        if target != OUTSIDE:
            nodes.setdefault(target, ([], []))[0].append(name)
        if source != OUTSIDE:
            nodes.setdefault(source, ([], []))[1].append(name)
    if faults:
        raise SurveyError(faults)
    return Network(nodes, tuple(components), tuple(clean), tuple(same_composition), sources or {})


def _row(row: Any) -> tuple[str, str, str]:
    if isinstance(row, Mapping):
        parts = (row["name"], row["from"], row["to"])
    elif hasattr(row, "source"):
        parts = (row.name, row.source, row.sink)
    else:
        parts = (row[0], row[1], row[2])
    name, source, target = (str(part or OUTSIDE).strip() for part in parts)
    return name, source or OUTSIDE, target or OUTSIDE


def read_network(path: str | os.PathLike[str]) -> Network:
    """A network from a small file `stream,from,to`.

    Heading lines: `# components: fibre, fines`, `# clean: shower`, `# same composition: tray = overflow; fan = jet`.
    """
    cells = read_cells(Path(path), ("stream", "from", "to"), "streams", "network")
    if cells.faults:
        raise SurveyError(cells.faults)

    def names(text: str, mark: str = ",") -> list[str]:
        return [part.strip() for part in text.split(mark) if part.strip()]

    pairs = []
    for group in names(cells.heading.get("same composition", ""), ";"):
        equal = names(group, "=")
        pairs += [(equal[0], other) for other in equal[1:]]
    return network_from_streams(
        [tuple(row) for _, row in cells.rows],
        names(cells.heading.get("components", "")),
        names(cells.heading.get("clean", "")),
        pairs,
    )
