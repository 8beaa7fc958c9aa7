"""Days that are begun before they are asked for: none twice, and what is not wanted is dropped."""

from __future__ import annotations

from concurrent.futures import Future

from stopwatches import a_plan, pick, place, wait

from simbot.studies import workers
from simbot.studies.workers import Team, play_day


class Slow:
    """A pool whose tasks are done when somebody asks for what they came to."""

    def __init__(self):
        self.begun = []

    def submit(self, play, *what):
        self.begun.append(task := Task(play, what))
        return task

    def shutdown(self, *, wait, cancel_futures):
        pass


class Task(Future):
    def __init__(self, play, what):
        super().__init__()
        self.play, self.what = play, what

    def result(self, timeout=None):
        if not self.done():
            self.set_result(self.play(*self.what))
        return super().result(timeout)


def test_days_that_were_begun_are_played_once_and_others_are_dropped(tmp_path):
    steps = [pick(), wait("0.3 s"), place(succeeds="70 %"), wait("0.3 s")]
    plan = a_plan(tmp_path, [{"repeat": 2, "steps": steps}])
    days = [(plan, [(10 * day, "full")]) for day in range(5)]
    with Team((), 1, 1) as team:
        team.players.pool = pool = Slow()
        team.ahead(days[:3])
        assert len(pool.begun) == 3 and not any(task.done() for task in pool.begun)
        asked = [days[1], days[4], days[0]]
        assert list(team.play_days(asked)) == [play_day(plan, 1, matches) for _, matches in asked]
        assert [task.what[2] for task in pool.begun] == [days[k][1] for k in (0, 1, 2, 4)]
        assert len({id(task.what[0]) for task in pool.begun}) == 1  # packed once
        assert pool.begun[2].cancelled()
        list(team.play_days(days[2:3]))  # it is begun anew
        assert len(pool.begun) == 5


def test_alone_nothing_is_begun(tmp_path, monkeypatch):
    monkeypatch.setattr(workers, "play_day", lambda *what: 1 / 0)
    plan = a_plan(tmp_path, [wait("0.3 s")])
    with Team((), 1, 1) as team:
        team.ahead([(plan, [(0, "full")])])
