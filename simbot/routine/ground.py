"""The field's stations and places, as far as robots and others stand at them: never two whose outlines overlap."""

from __future__ import annotations

from typing import Any, cast

import simpy
from simpy.resources.resource import Request

from simbot.scenario.footprints import outline, overlap
from simbot.scenario.model import Game, Robot


class Visit(Request):
    """Somebody wants to stand at a station or place, or does."""

    def __init__(self, ground: Ground, where: str, who: object, robot: Robot) -> None:
        self.where, self.who, self.robot = where, who, robot
        super().__init__(ground)


class Ground(simpy.Resource):
    """Whoever asks first stands first; those that are not in one another's way stand side by side."""

    def __init__(self, env: Any, game: Game) -> None:
        super().__init__(env)
        self.poses = {name: one.pose for name, one in game.stations.items()}
        self.poses |= {name: one.pose for name, one in game.places.items()}
        self._known: dict[tuple[str, int, str, int], bool] = {}

    def ask(self, where: str, who: object, robot: Robot) -> Visit:
        return Visit(self, where, who, robot)

    def in_the_way(self, one: Visit, other: Visit) -> bool:
        """Whether two visits cannot be at once."""
        if one.who is other.who:
            return False
        key = (one.where, id(one.robot), other.where, id(other.robot))
        if key not in self._known:
            here, there = (outline(each.robot, self.poses[each.where]) for each in (one, other))
            self._known[key] = one.where == other.where or overlap(here, there)
        return self._known[key]

    def put_first(self, visit: Visit) -> None:
        """Before everybody else who waits: they cannot have it while it is stood on."""
        if visit in self.queue:
            self.queue.remove(visit)
            self.queue.insert(0, visit)

    def _do_put(self, event: Visit) -> bool:  # type: ignore[override]
        here = cast(list[Visit], self.users)
        mine = [visit for visit in here if visit.who is event.who]
        before = [  # who waits for the asker itself to go is not waited for
            visit
            for visit in self.queue[: self.queue.index(event)]
            if not any(self.in_the_way(visit, own) for own in mine)
        ]
        if not any(self.in_the_way(event, other) for other in (*here, *before)):
            self.users.append(event)
            event.usage_since = self._env.now
            event.succeed()
        return True  # those behind it may be in nobody's way
