"""Invented networks of any size with true flows and consistencies, for tests and benchmarks. Not a mill."""

from __future__ import annotations

import numpy as np

from thinstock.survey import Network, Reading, Survey, network_from_streams


def invented_network(streams: int, components: int, seed: int) -> tuple[Network, dict[tuple[str, str], float]]:
    """A chain of nodes with recycles and drains; every node splits flow and components in its own way."""
    generator = np.random.default_rng(seed)
    nodes = max(streams * 2 // 5, 2)
    ends: list[tuple[int, int]] = [(-1, 0)]
    ends += [(i, i + 1 if i + 1 < nodes else -1) for i in range(nodes)]
    while len(ends) < streams:
        a, b = (int(x) for x in generator.integers(-1, nodes, 2))
        if a != b and abs(a - b) < 60:
            ends.append((a, b))
    names = [f"s{j}" for j in range(streams)]
    rows = [(n, "outside" if a < 0 else f"n{a}", "outside" if b < 0 else f"n{b}") for n, (a, b) in zip(names, ends)]
    network = network_from_streams(rows, [f"c{k}" for k in range(components)])
    feeds = [j for j, (a, _) in enumerate(ends) if a < 0]
    true: dict[tuple[str, str], float] = {}
    flow = _carried(ends, nodes, feeds, generator.uniform(20, 100, len(feeds)), generator.uniform(0.2, 1.0, streams))
    for j, name in enumerate(names):
        true[name, "flow"] = flow[j]
    for k in range(components):
        fed = flow[feeds] * generator.uniform(0.002, 0.03, len(feeds))
        carried = _carried(ends, nodes, feeds, fed, flow * generator.uniform(0.7, 1.4, streams))
        for j, name in enumerate(names):
            true[name, f"consistency:c{k}"] = carried[j] / flow[j]
    return network, true


def _carried(ends, nodes, feeds, fed, weight):
    """What each stream carries when every node passes on all it gets, in shares of `weight`."""
    total = np.zeros(nodes)
    for j, (a, _) in enumerate(ends):
        if a >= 0:
            total[a] += weight[j]
    share = np.array([weight[j] / total[a] if a >= 0 else 0.0 for j, (a, _) in enumerate(ends)])
    pass_on = np.eye(nodes)
    entry = np.zeros(nodes)
    for j, (a, b) in enumerate(ends):
        if a >= 0 and b >= 0:
            pass_on[b, a] -= share[j]
    for j, amount in zip(feeds, fed):
        if ends[j][1] >= 0:
            entry[ends[j][1]] += amount
    through = np.linalg.solve(pass_on, entry)
    out = np.array([share[j] * through[a] if a >= 0 else 0.0 for j, (a, _) in enumerate(ends)])
    out[feeds] = fed
    return out


def invented_survey(true: dict[tuple[str, str], float], *, seed: int, read: float, spread: float = 0.03) -> Survey:
    """Readings of a share `read` of all true values, drawn with a relative uncertainty `spread`."""
    generator = np.random.default_rng(seed)
    rows = []
    for (stream, quantity), value in true.items():
        if generator.random() < read:
            noise = 1.0 + spread * generator.standard_normal()
            rows.append(Reading(stream, quantity, value * noise, spread * value))
    return Survey(tuple(rows))
