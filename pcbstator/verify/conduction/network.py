"""Walls of holes and terminals as a network of conductances, and boards joined by wires and pins as one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from pcbstator.verify.conduction.mesh import FloatArray, IndexArray

Pair = tuple[str, str]


class Wire(NamedTuple):
    """A wire or pin between two terminals [ohm]; of none it makes them one."""

    start: str
    end: str
    resistance: float


@dataclass(frozen=True, eq=False)
class Network:
    """Conductances [S] between contacts, entries that add up; node: the contact that stands for each, where several are
    at one voltage; taps: contact of each terminal.
    """

    conductances: coo_array
    node: IndexArray
    taps: Mapping[str, int]

    def driven(self, currents: Sequence[Mapping[str, float]]) -> FloatArray:
        """Voltages (contacts, k) [V] with these currents into terminals [A]; nan where nothing leads them out again."""
        count, node = len(self.node), self.node
        entries = self.conductances
        joined = coo_array((entries.data, (node[entries.row], node[entries.col])), shape=(count, count))
        into = np.zeros((count, len(currents)))
        for column, one in enumerate(currents):
            for name, current in one.items():
                into[node[self.taps[name]], column] += current
        _, piece = connected_components(joined, directed=False)
        whole, found = joined.tocsc(), np.zeros_like(into)
        for own in np.unique(piece[node[list(self.taps.values())]]):
            members = np.flatnonzero(piece == own)
            closed = np.flatnonzero(np.abs(into[members].sum(axis=0)) < 1e-9)
            found[members] = np.nan
            found[members[:1, None], closed] = 0.0
            if len(members) > 1 and len(closed):
                inner = whole[:, members[1:]].tocsr()[members[1:]].tocsc()
                found[members[1:, None], closed] = splu(inner).solve(into[members[1:, None], closed])
        return np.asarray(found[node])

    def resistances(self, names: Sequence[str] = ()) -> dict[Pair, float]:
        """Resistance [ohm] between each pair of terminals, the others open; nan where nothing joins them."""
        pairs = list(combinations(names or self.taps, 2))
        found = self.driven([{start: 1.0, end: -1.0} for start, end in pairs])
        return {
            (start, end): float(found[self.taps[start], column] - found[self.taps[end], column])
            for column, (start, end) in enumerate(pairs)
        }


def joined_networks(
    networks: Sequence[Network], names: Sequence[Mapping[str, str]], wires: Sequence[Wire]
) -> tuple[Network, list[int]]:
    """Networks as one, and the number of the first contact of each.

    names: of each one's terminals in the whole, by their own; wires: between terminals of the whole. Wires between
    terminals that are not there are left out.

    >>> part = Network(coo_array(np.array([[0.5, -0.5], [-0.5, 0.5]])), np.arange(2), {"A": 0, "B": 1})  # two ohms
    >>> names = [{"A": "A", "B": "X"}, {"A": "Y", "B": "B"}]
    >>> whole, _ = joined_networks([part, part], names, [Wire("X", "Y", 0.25)])
    >>> round(whole.resistances(["A", "B"])["A", "B"], 9)
    4.25
    """
    first = np.cumsum([0, *(len(network.node) for network in networks)]).tolist()
    taps = {
        own[name]: tap + start
        for network, own, start in zip(networks, names, first, strict=False)
        for name, tap in network.taps.items()
        if name in own
    }
    rows = [network.conductances.row + start for network, start in zip(networks, first, strict=False)]
    columns = [network.conductances.col + start for network, start in zip(networks, first, strict=False)]
    values = [network.conductances.data for network in networks]
    node = np.concatenate([network.node + start for network, start in zip(networks, first, strict=False)])
    for start, end, resistance in wires:
        if start not in taps or end not in taps:
            continue
        a, b = node[taps[start]], node[taps[end]]
        if resistance > 0.0:
            rows.append(np.array([a, b, a, b]))
            columns.append(np.array([a, b, b, a]))
            values.append(np.array([1.0, 1.0, -1.0, -1.0]) / resistance)
        else:
            node[node == b] = a
    count = len(node)
    entries = (np.concatenate(rows), np.concatenate(columns))
    return Network(coo_array((np.concatenate(values), entries), shape=(count, count)), node, taps), first[:-1]
