"""Ratios to named baselines, measured by turns in one process; `-s` prints them.

Bounds are three times what was measured on a busy machine with two cores: they catch a change of kind, not
a bad afternoon.
"""

from __future__ import annotations

from pathlib import Path
from time import process_time

import bench_fit
import bench_kinds
import bench_matches
import bench_moves
import bench_processes
import bench_studies
import bench_sweeps
import pytest
from bench_time import Ratio

from simbot.physics.kinds import KINDS

pytestmark = pytest.mark.benchmark_ratio


def hold(measured: Ratio, most: float) -> None:
    print(f"\n{measured.row()}", end="")
    assert measured.ratio <= most, measured.row()


MOST_OF_A_MOVE = ((0.09, 0.17), (0.10, 0.18), (0.14, 0.20), (0.008, 0.027), (0.028, 0.031), (0.12, 0.18))


@pytest.mark.parametrize(
    ("case", "most"),
    list(zip(bench_moves.CASES, MOST_OF_A_MOVE, strict=True)),
    ids=[case.name for case in bench_moves.CASES],
)
def test_one_move_against_lsoda(case: bench_moves.Case, most: tuple[float, float]) -> None:
    """The same right-hand side, compiled, for both; both right to a millionth."""
    measured = bench_moves.measure(case)
    for arrival in (measured.shipped, measured.loose, measured.lsoda):
        assert arrival == pytest.approx(measured.right, rel=bench_moves.ACCURACY)
    hold(measured.equally_accurate, most[0])
    hold(measured.as_shipped, most[1])


@pytest.mark.parametrize(
    ("name", "most", "most_analysed"),
    [("mixed controls", 800.0, 1400.0), ("full effort alone", 200.0, 490.0)],
)
def test_match_against_a_bare_skeleton(name: str, most: float, most_analysed: float) -> None:
    """About 180 commands, against simpy with a timeout for each command and each wait."""
    match, trace, analysed = bench_matches.measure(name)
    assert match.commands == pytest.approx(bench_matches.COMMANDS, abs=6)
    assert match.times_us[-1] < bench_matches.LASTS_US  # all its rounds are done
    hold(trace, most)
    hold(analysed, most_analysed)


def test_fresh_processes_against_numpy() -> None:
    """A warm cache: what starting up costs."""
    for measured, most in zip(bench_processes.measure(), (15.0, 8.0, 2.3), strict=True):
        hold(measured, most)


def test_the_first_run_compiles_in_a_bounded_time_of_a_processor() -> None:
    """Of all its processes together, so that a busy machine is held to the same."""
    took, spent = bench_processes.first_run()
    print(f"\n| the first run | {took:.0f} s | {spent:.0f} s of a processor |", end="")
    assert spent < 35.0  # measured: 20 s


def test_moves_of_every_kind_against_the_slide() -> None:
    """Every kind with physics has its row; tables cost more than constants, and stiff contacts more steps."""
    measured = bench_kinds.measure()
    with_physics = {name for name, kind in KINDS.items() if kind.COORDINATE != "word"}
    assert {ratio.name for ratio, _ in measured} == with_physics
    for ratio, steps in measured:
        hold(ratio, 2.2)  # measured: 0.1 to 2.0
        assert steps < 400


def test_fit_of_three_unknowns_against_its_predictions() -> None:
    """Sixty filmed times, files read before: the search and three profiles."""
    for measured, most in zip(bench_fit.measure(), (120.0, 140.0), strict=True):
        hold(measured, most)


def test_a_sweep_of_ratios_against_reading_the_file_as_often() -> None:
    """It costs a fraction of reading the robot's file for each value, and under half a second on an idle core."""
    measured = bench_sweeps.measure()
    begin = process_time()
    result = bench_sweeps.swept()
    assert process_time() - begin < 1.0  # measured: 0.34 to 0.41 s
    assert len(result.points) == bench_sweeps.RATIOS and all(point.looks for point in result.points)
    hold(measured, 0.9)


@pytest.mark.parametrize("name", ["lanterns", "tins"])
def test_match_with_chance_against_a_bare_skeleton(name: str) -> None:
    """Drawn, played and boiled down to its record."""
    hold(bench_studies.against_a_skeleton(name), 2500.0)


def test_a_comparison_to_a_point_against_2000_skeletons() -> None:
    """Common luck: far fewer matches than two studies of their own would take for a difference so well known."""
    measured, needed = bench_studies.compared_to_a_point()
    hold(measured, 15.0)
    assert 0 < needed < 800


def test_the_robot_of_another_day_costs_next_to_nothing() -> None:
    """So that one match of a day is the best (see `schedule`): a few hundredths of a match."""
    hold(bench_studies.another_day("tins"), 0.15)


def test_two_workers_against_one() -> None:
    """Half the time where both cores are free; the bound is for a machine whose cores are not."""
    hold(bench_studies.scaling(), 1.1)


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read as Linux tells it")
def test_memory_of_many_matches() -> None:
    """A study of 20 000 matches stays under 400 MB; what grows with it are the records.

    Of a plan that is quickly played all 20 000, of the demo a hundred more and the size of its records.
    """
    few, many = (bench_studies.peak_mb("small", runs) for runs in (1000, 20_000))
    demo, more = (bench_studies.peak_mb("lanterns", runs) for runs in (30, 130))
    of_a_record = bench_studies.record_bytes("lanterns")
    print(
        f"\n| peak memory | {few:.0f} MB at 1000, {many:.0f} MB at 20 000 | demo {demo:.0f} MB at 30, "
        f"{more:.0f} MB at 130, {of_a_record:.0f} bytes a record |",
        end="",
    )
    assert many < 400.0 and many - few < 100.0
    assert more < 400.0 and more - demo < 30.0
    assert of_a_record * 20_000 < 100e6
