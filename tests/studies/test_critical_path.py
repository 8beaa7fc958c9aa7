"""The critical path method against published tables, and against a library on drawn networks."""

from __future__ import annotations

from graphlib import CycleError

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simbot.studies.critical_path import schedule


def on_nodes(text):
    """`A4; B6<A`: activities on the nodes, with their durations and what they follow."""
    durations, after = {}, {}
    for entry in text.split(";"):
        head, _, before = entry.strip().partition("<")
        durations[head[0]] = int(head[1:])
        after[head[0]] = before.split(",") if before else []
    return durations, after


def on_arrows(text):
    """`1-2:7 2-4:6`: activities on the arrows between events."""
    durations = {}
    for entry in text.split():
        arrow, length = entry.split(":")
        durations[tuple(map(int, arrow.split("-")))] = int(length)
    after = {one: [other for other in durations if other[1] == one[0]] for one in durations}
    return durations, after


# Answers to chapter 8 of a management science textbook, as published with every earliest and latest instant
# (scribd.com/document/47113515, "TaylCh08", problems 2 and 3): length, path of events, slack in that order.
TABLES = [
    ("1-2:7 1-3:10 2-4:6 3-4:5 3-5:4 4-5:3 5-6:2", 20, [1, 3, 4, 5, 6], [2, 0, 2, 0, 4, 0, 0]),
    (
        "1-2:8 1-3:10 1-4:9 2-5:6 2-6:4 3-5:5 4-5:0 4-7:7 5-7:12 5-8:15 6-9:18 7-8:4 8-9:7",
        38,
        [1, 3, 5, 7, 8, 9],
        [1, 0, 6, 1, 8, 0, 6, 11, 0, 1, 8, 0, 0],
    ),
]


@pytest.mark.parametrize(("network", "length", "path", "slack"), TABLES)
def test_published_networks_on_arrows(network, length, path, slack):
    durations, after = on_arrows(network)
    found = schedule(durations, after)
    assert found.length == length
    assert [arrow[0] for arrow in found.path] + [found.path[-1][1]] == path
    assert [found.slack(one) for one in durations] == slack


# A lecture's worked examples (slideplayer.com/slide/3283910): (ES, EF, LS, LF) as printed.
LECTURE = "A4;B6<A;C3<A;D6<B;E14<D;F5<C;G2<E,F;H2<G;I3<G;J4<H,I;K2<J"
SECOND = "A4;B3<A;C5<A;D2<A;E5<B,C;F6<C,D;G4<E,F;H3<G"


def test_a_lectures_networks():
    found = schedule(*on_nodes(LECTURE))
    assert found.length == 41

    def row(name):
        return (
            found.earliest_start[name],
            found.earliest_finish[name],
            found.latest_start[name],
            found.latest_finish[name],
        )

    assert row("C") == (4, 7, 22, 25) and row("F") == (7, 12, 25, 30) and row("H") == (32, 34, 33, 35)
    found = schedule(*on_nodes(SECOND))
    assert (found.length, "".join(found.path)) == (22, "ACFGH")
    assert (row("E"), row("D")) == ((9, 14, 10, 15), (4, 6, 7, 9))


def test_a_textbooks_building_site():
    """Hillier and Lieberman, Introduction to Operations Research, the construction company's project.

    Durations as published; the order of the activities, the 44 weeks and the path from memory.
    """
    durations, after = on_nodes("A2;B4<A;C10<B;D6<C;E4<C;F5<E;G7<D;H9<E,G;I7<C;J8<F,I;K4<J;L5<J;M2<H;N6<K,L")
    found = schedule(durations, after)
    assert (found.length, "".join(found.path)) == (44, "ABCEFJLN")
    slack = {name: found.slack(name) for name in durations if found.slack(name)}
    assert slack == {"D": 4, "G": 4, "H": 4, "I": 2, "K": 1, "M": 4}


@st.composite
def networks(draw):
    count = draw(st.integers(1, 12))
    durations = {name: draw(st.integers(0, 50)) for name in range(count)}
    after = {name: sorted(draw(st.sets(st.integers(0, name - 1)))) if name else [] for name in range(count)}
    return durations, after


@given(networks())
def test_drawn_networks_against_a_graph_library(network):
    durations, after = network
    graph = networkx.DiGraph()
    graph.add_nodes_from(["begin", *durations])
    for name, before in after.items():
        for one in before:
            graph.add_edge(one, name, weight=durations[one])
        if not before:
            graph.add_edge("begin", name, weight=0)
    for name in durations:
        graph.add_edge(name, "end", weight=durations[name])
    found = schedule(durations, after)
    assert found.length == networkx.dag_longest_path_length(graph)
    assert sum(durations[name] for name in found.path) == found.length
    for name in durations:
        longer = {**durations, name: durations[name] + found.slack(name)}
        assert schedule(longer, after).length == found.length
        assert schedule({**longer, name: longer[name] + 1}, after).length == found.length + 1


def test_a_circle_is_refused():
    with pytest.raises(CycleError):
        schedule({"a": 1, "b": 1}, {"a": ["b"], "b": ["a"]})


def test_nothing_is_nothing():
    found = schedule({}, {})
    assert (found.length, found.path) == (0, ())
