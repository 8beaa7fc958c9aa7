"""Prints all ratios as markdown tables: `python tests/benchmarks/table.py`."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent / "checks"), str(HERE)]

from simbot.physics.compiled import by_numba  # noqa: E402

by_numba()  # entries of its own are timed too

import bench_fit  # noqa: E402
import bench_kinds  # noqa: E402
import bench_matches  # noqa: E402
import bench_moves  # noqa: E402
import bench_processes  # noqa: E402
import bench_studies  # noqa: E402
import bench_sweeps  # noqa: E402
from bench_time import Ratio  # noqa: E402


def table(what: str, baseline: str, ratios: Iterable[Ratio]) -> None:
    print(f"| {what} | simbot | {baseline} | ratio |\n|---|---|---|---|")
    for ratio in ratios:
        print(ratio.row())
    print()


def main() -> None:
    moves = [bench_moves.measure(case) for case in bench_moves.CASES]
    both = (ratio for one in moves for ratio in (one.equally_accurate, one.as_shipped))
    table("one move, right to 1e-6", "scipy LSODA", both)
    table("one move of a kind", "the slide's", (ratio for ratio, _ in bench_kinds.measure()))
    matches = [bench_matches.measure(name) for name in bench_matches.PLANS]
    table("a match", "bare simpy", (ratio for _, *two in matches for ratio in two))
    table("three unknowns, 60 measurements", "60 predictions", bench_fit.measure())
    table("one mechanism alone", "reading its file as often", [bench_sweeps.measure()])
    chance = [bench_studies.against_a_skeleton(name) for name in ("lanterns", "tins")]
    table("a match with chance", "bare simpy", chance)
    table("a study", "one worker", [bench_studies.scaling()])
    table("a comparison", "2 000 skeletons, times 25", [bench_studies.compared_to_a_point()[0]])
    print(f"20 000 matches: {bench_studies.peak_mb('small', 20_000):.0f} MB at most")
    print(f"a record of the demo: {bench_studies.record_bytes('lanterns'):.0f} bytes\n")
    table("a fresh process", "import numpy", bench_processes.measure())
    took, spent = bench_processes.first_run()
    print(
        f"the first run on a machine, which compiles the physics: {took:.0f} s, {spent:.0f} s of a processor"
    )


if __name__ == "__main__":
    main()
