"""Many matches with chance: one of them against a bare event skeleton, two workers against one, and memory."""

from __future__ import annotations

import gc
import os
import pickle
import subprocess
import sys
import tracemalloc
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time
from typing import Any

import simpy
from bench_time import Ratio, once, side_by_side
from stopwatches import a_plan, place

from simbot.cli import SELDOM
from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.asked import Asked
from simbot.studies.compare import compared
from simbot.studies.ledger import Ledger
from simbot.studies.match import study
from simbot.studies.one_match import Day, MatchRecord
from simbot.studies.workers import Team, rounds

ROOT = Path(__file__).parents[2]
STATE = "mid-event"
EVERY = 20  # matches between two looks at how fast the machine is


def demo(name: str) -> Plan:
    return load_plan(ROOT / "scenarios" / "night-market" / f"{name}.yaml", KINDS)[0]


def against_a_skeleton(name: str) -> Ratio:
    """A demo match with chance, drawn, played and boiled down, against simpy with as many instants."""
    plan = demo(name)
    day, battery, times_us = a_match_of(plan)
    takes, bare = side_by_side(
        [(lambda: day.record(0, battery), 7), (lambda: skeleton(times_us), 41)], rounds=3
    )
    return Ratio(f"{name}, a match with chance, {len(times_us)} instants", takes, bare)


def a_match_of(plan: Plan) -> tuple[Day, BatteryState, list[int]]:
    """A day, its battery, and the instants of its first match at which something is commanded or a wait ends."""
    battery = next(state for state in plan.robot.battery if state.name == STATE)
    day = Day(plan, 1, 0)
    trace, _ = day.play(0, battery)
    times_us = sorted(
        [record.move.start_us for record in trace.moves]
        + [record.ended_us for record in trace.waits]
        + [queue.to_us for queue in trace.queues]
    )
    return day, battery, times_us


def skeleton(times_us: list[int]) -> None:
    """A bare simulation with so many instants."""
    env = simpy.Environment()

    def steps() -> Any:
        for at_us in times_us:
            yield env.timeout(at_us - env.now)

    env.process(steps())
    env.run()


def compared_to_a_point() -> tuple[Ratio, int]:
    """The demo's two plans compared until their difference is known to a point, on two cores, and the matches it takes.

    Played by one process, drawing of robots and statistics in it, in processor time, which is shared by the two cores.
    The baseline is 2 000 skeletons, by turns with the instants of either plan's match, times 25: some of them again and
    again while the plans play, since a machine that others use is not as fast all the while.
    """
    plans = [demo("lanterns"), demo("tins")]
    asked = Asked(2000, 1, (STATE,), until_halfwidth=1.0)
    matches = [a_match_of(plan) for plan in plans]
    for day, battery, _ in matches:
        day.record(0, battery)
    instants = [times_us for _, _, times_us in matches]
    bare: list[float] = []
    spent = 0.0

    def between(done: int, total: int) -> None:
        nonlocal spent
        if done % EVERY == 0:
            begin = process_time()
            bare.append(bare_run(instants))
            spent += process_time() - begin

    threshold = gc.get_threshold()
    gc.set_threshold(*SELDOM)  # as the command does
    with TemporaryDirectory() as folder, Ledger("compare", plans, asked) as ledger:
        ledger.place = Path(folder) / "kept.json"
        begin = process_time()
        needed = compared(ledger, plans, asked, between).runs
        takes = process_time() - begin - spent
    gc.set_threshold(*threshold)
    whole = 25 * 2000 * sum(bare) / len(bare)
    return Ratio(f"two plans to a point, {needed} matches", takes / 2, whole), needed


def bare_run(instants: list[list[int]], turns: int = 20) -> float:
    """A skeleton, once the processor has it at hand [s]."""
    for times_us in instants:
        skeleton(times_us)
    begin = process_time()
    for _ in range(turns):
        for times_us in instants:
            skeleton(times_us)
    return (process_time() - begin) / (turns * len(instants))


def another_day(name: str) -> Ratio:
    """Drawing the robot of a day and building it, against a match."""
    plan = demo(name)
    battery = next(state for state in plan.robot.battery if state.name == STATE)
    day = Day(plan, 1, 0)
    turn = count()
    draw, play = side_by_side(
        [
            (lambda: Day(plan, 1, next(turn)), 7),
            (lambda: day.record(next(turn) % 10, battery), 7),
        ],
        rounds=3,
    )
    return Ratio(f"{name}, the robot of another day", draw, play)


def scaling(runs: int = 80, turns: int = 2) -> Ratio:
    """The same matches on two workers against one, all processes warm, by turns."""
    plan = demo("lanterns")

    def play(team: Team, count: int) -> list[MatchRecord]:
        return [one for (own,) in team.play(rounds((STATE,), count, 8)) for one in own]

    with Team([plan], 1, 1) as one, Team([plan], 1, 2) as two:
        assert play(one, 40) == play(two, 40)
        takes = [
            [once(lambda team=team: play(team, runs)) for team in (two, one)]  # type: ignore[misc]
            for _ in range(turns)
        ]
    best = [min(each) for each in zip(*takes, strict=True)]
    return Ratio(f"{runs} matches, two workers", *best)


def record_bytes(name: str, matches: int = 40) -> float:
    """What is kept of a demo match as it comes from a worker [bytes]."""
    plan = demo(name)
    battery = next(state for state in plan.robot.battery if state.name == STATE)
    day = Day(plan, 1, 0)
    packed = [pickle.dumps(day.record(number, battery)) for number in range(matches)]
    pickle.loads(packed[0])
    tracemalloc.start()
    kept = [pickle.loads(each) for each in packed]
    total = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    return total / len(kept)


def small_plan() -> Plan:
    """Matches with one placing each, which take no time to play."""
    with TemporaryDirectory() as folder:
        start = {"hand": "shut", "other": "open", "holds": {"hand": ["ball"]}}
        return a_plan(Path(folder), [place(succeeds="50 % ± 40 %")], "1 s", start=start)


def peak_mb(plan: str, runs: int) -> float:
    """Greatest memory of a fresh process that plays a study of a demo plan, or of the small one [MB]; of Linux."""
    done = subprocess.run(
        [sys.executable, __file__, plan, str(runs)],
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
    )
    return float(done.stdout)


def main(name: str, runs: int) -> None:
    plan, state = (small_plan(), "full") if name == "small" else (demo(name), STATE)
    result = study(plan, Asked(runs, 1, (state,)), lambda done, total: None)
    assert result.points.runs == runs
    # ru_maxrss would not do: it begins at what the process that started this one had
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    print(int(status.split("VmHWM:")[1].split()[0]) / 1024)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
