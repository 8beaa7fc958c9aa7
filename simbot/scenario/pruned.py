"""A robot's tree with one mechanism and what it names left in it: read again and again, that is the quicker."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from simbot.scenario.yaml_reader import Node

DROPPED = ("order",)


def pruned(root: Node, mechanism: str, keys: Collection[str] = ()) -> Node:
    """A robot file's tree without the mechanisms and motors that this one does not name, directly or by others.

    `keys`: dotted paths that stay, whether they are named or not.
    """
    assert isinstance(root.value, dict)
    robot = root.value["robot"]
    assert isinstance(robot.value, dict)
    inside = {key: node for key, node in robot.value.items() if key not in DROPPED}
    stay = {tuple(key.split(".")[:3]) for key in keys}
    named = {mechanism, *(path[2] for path in stay if len(path) == 3 and path[1] in ("mechanisms", "motors"))}
    groups = {name: _entries(inside.get(name)) for name in ("mechanisms", "motors")}
    waiting = [groups["mechanisms"].get(name) or groups["motors"].get(name) for name in named]
    while waiting:
        node = waiting.pop()
        for word in {word for text in _texts(node) for word in text.split()} - named:
            for group in groups.values():
                if word in group:
                    named.add(word)
                    waiting.append(group[word])
    for name, group in groups.items():
        if name in inside:
            kept = {key: node for key, node in group.items() if key in named}
            inside[name] = replace(inside[name], value=kept)
    return replace(root, value={**root.value, "robot": replace(robot, value=inside)})


def _entries(node: Node | None) -> dict[str, Node]:
    return node.value if node is not None and isinstance(node.value, dict) else {}


def _texts(node: Node | None) -> Iterator[str]:
    """All scalars of a tree."""
    value = None if node is None else node.value
    if isinstance(value, str):
        yield value
    elif value is not None:
        for child in value.values() if isinstance(value, dict) else value:
            yield from _texts(child)
