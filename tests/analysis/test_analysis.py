"""Numbers derived from a trace: verdicts, margins, causes, cycles, points and where the time goes.

Straight lines and stopwatches throughout, so that every expected number is worked out by hand.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from plans import (
    drive,
    move,
    need,
    pick,
    place,
    plan,
    repeat,
    spot,
    station,
    wait,
)
from stopwatch import plant_for, straight, words

from simbot.analysis.results import StateResult
from simbot.analysis.states import run_result, state_result
from simbot.analysis.timers import verdict
from simbot.routine.sequencer import run
from simbot.scenario.model import OrderRule, Plan

HELD = {"hand": ("peg",)}


def result(given: Plan, **tracks: object) -> StateResult:
    usual = {"hand": words(0.2), "other": words(0.2), "lift": straight(1.0), "arm": straight(1.0),
             "drive": straight(1.0)}  # fmt: skip
    plant = plant_for(given, **{**usual, **tracks})
    return state_result(given, given.robot.battery[0], plant, run(given, plant))


# --- verdicts ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("timer", "floor", "arrival", "word"),
    [
        (99, 100, 200, "impossible"), (100, 100, 200, "short"), (199, 100, 200, "short"),
        (200, 100, 200, "snug"), (250, 100, 200, "snug"), (251, 100, 200, "slack"),
        (0, None, 1, "short"), (0, 0, 0, "snug"),
        (50, 100, None, "never"), (500, 100, None, "never"),
    ],
)  # fmt: skip
def test_verdicts_at_their_bounds(timer: int, floor: int | None, arrival: int | None, word: str) -> None:
    assert verdict(timer, floor, arrival, guard_us=50) == word


def test_three_times_and_margin_of_a_move() -> None:
    (lift,) = result(plan(move(lift=0.5), wait(0.53))).moves
    assert (lift.arrival_us, lift.timer_us, lift.timer_written_us) == (490_000, 540_000, 530_000)
    assert (lift.margin_us, lift.verdict, lift.consequence) == (50_000, "snug", None)


def test_one_wait_gives_each_of_its_moves_its_own_verdict() -> None:
    lift, arm = result(plan(move(lift=0.5, arm=0.1), wait(0.4))).moves
    assert (lift.verdict, arm.verdict) == ("impossible", "slack")
    assert lift.wait_line == arm.wait_line


def test_what_is_timed_by_no_wait_has_no_verdict() -> None:
    (lift,) = result(plan(move(lift=0.5), wait(2.0), lasts=(1.0,))).moves
    assert (lift.timer_us, lift.margin_us, lift.verdict, lift.wait_line) == (None, None, None, None)


def test_a_move_that_was_taken_over_is_marked_as_cut() -> None:
    first, second = result(plan(move(lift=0.5), wait(0.2), move(lift=0.0), wait(0.5))).moves
    assert (first.cut, first.arrival_us) == (True, 490_000)
    assert second.cut is False


# --- needs downstream -------------------------------------------------------------------------------------


def test_the_margin_that_counts_is_the_smallest_downstream() -> None:
    wide, tight = need("lift", 0.5, within=0.1), need("lift", 0.5, within=0.005)
    (lift, *_) = result(plan(move(lift=0.5), wait(0.6), place(wide, tight), holds=HELD)).moves
    assert lift.need_margin_us == 105_000


def test_a_short_wait_breaks_what_it_comes_before() -> None:
    given = plan(move(lift=0.5), wait(0.4), place(need("lift", 0.5, within=0.02)), wait(0.2), holds=HELD)
    state = result(given, lift=replace(straight(1.0), window=0.05))
    (found,) = state.findings
    assert (state.moves[0].verdict, state.moves[0].consequence) == ("impossible", "breaking")
    assert state.moves[0].need_margin_us == -80_000
    assert (found.kind, found.late_us, found.cause_line, found.fails) == (
        "need_unmet", 80_000, state.moves[0].line, True,
    )  # fmt: skip
    assert found.text == (
        "the hand opened 80 ms before the lift was at 0.5, because step 2 waits 400 ms and the lift needs "
        "450 ms: dropped"
    )
    assert not state.passes


def test_a_short_wait_without_a_need_is_harmless_and_counted() -> None:
    state = result(plan(move(lift=0.5), wait(0.4), place(), holds=HELD))
    assert state.moves[0].consequence == "harmless"
    assert (state.acting_steps, state.acting_steps_without_needs, state.passes) == (1, 1, True)


def test_only_the_latest_command_is_the_cause() -> None:
    given = plan(
        move(lift=0.9),
        wait(0.1),
        move(lift=0.5),
        wait(0.2),
        place(need("lift", 0.5, within=0.02)),
        holds=HELD,
    )
    first, second, _ = result(given).moves
    assert (first.consequence, first.need_margin_us) == ("harmless", None)
    assert (second.consequence, second.need_margin_us) == ("breaking", -180_000)


def test_a_need_that_nothing_was_sent_for_has_no_cause() -> None:
    (found,) = result(plan(wait(0.1), place(need("lift", 0.5, within=0.02)), holds=HELD)).findings
    assert (found.cause_line, found.late_us) == (None, None)
    assert "no step sent the lift there" in found.text


def test_a_lost_pick_is_the_closing_waits_doing() -> None:
    """The lift leaves 20 mm at 0.12 s, the hand would have held at 0.2 s."""
    given = plan(
        pick(need("lift", 0.0, within=0.02)), wait(0.1), move(lift=0.5), wait(0.6), place(), wait(0.3)
    )
    state = result(given)
    lost, empty = state.findings
    assert (lost.kind, lost.at_us, lost.late_us) == ("pick_lost", pytest.approx(120_000, abs=1),
                                                     pytest.approx(80_000, abs=1))  # fmt: skip
    assert "the lift left 0.0, 80 ms before the hand held, because step 2 waits 100 ms" in lost.text
    assert (empty.kind, empty.fails) == ("nothing_held", True)
    assert "the pick of step 1 at 0.000 s came to nothing" in empty.text
    assert state.moves[0].consequence == "breaking"
    assert state.moves[0].need_margin_us == pytest.approx(-80_000, abs=1)


def test_a_pick_that_held_says_how_much_later_it_could_have() -> None:
    given = plan(pick(need("lift", 0.0, within=0.02)), wait(0.4), move(lift=0.5), wait(0.6))
    assert result(given).moves[0].need_margin_us == pytest.approx(220_000, abs=1)


def test_a_pick_that_the_end_of_the_match_left_open_is_no_failure() -> None:
    state = result(plan(wait(0.9), pick(), lasts=(1.0,)))
    assert (state.picks[0].outcome, state.passes) == ("unfinished", True)


def test_a_limit_that_ran_out_is_a_finding_and_no_failure() -> None:
    state = result(plan(move(lift=0.5), wait(at_most=0.3)))
    (found,) = state.findings
    assert (found.kind, found.mechanisms, found.fails) == ("limit_ran_out", ("lift",), False)
    assert (
        found.text
        == "the limit of step 2 ran out after 300 ms before the lift had arrived: the lift needs 490 ms"
    )
    assert state.passes


# --- cycles and points ------------------------------------------------------------------------------------


def test_cycles_run_from_delivery_to_delivery_the_first_from_the_start() -> None:
    given = plan(
        wait(1.0), place(number=1), wait(2.0), place(number=1), wait(3.0), place(number=1),
        holds={"hand": ("peg",) * 3},
    )  # fmt: skip
    state = result(given)
    assert (state.cycles, state.cycle_time_s, state.cycle_time_sd_s) == (
        3,
        pytest.approx(2.0),
        pytest.approx(1.0),
    )
    assert state.points_per_s == pytest.approx(2.5)


def test_points_of_the_endgame_stand_there_and_only_there() -> None:
    given = plan(
        place(number=1), wait(1.5), place(number=1), driver=(wait(0.2), place(number=1), wait(0.2)),
        lasts=(2.0, 2.0), endgame=1.9, holds={"hand": ("peg",) * 3},
    )  # fmt: skip
    assert result(given).points == {"autonomous": 10, "driver_controlled": 0, "endgame": 1, "total": 11}


def test_without_deliveries_there_is_no_cycle() -> None:
    state = result(plan(wait(0.1)))
    assert (state.cycles, state.cycle_time_s, state.points_per_s, state.time) == (0, None, None, None)


def test_every_instant_has_one_owner() -> None:
    """Drive 0.49 s, lift alone to 0.99 s, 40 ms in hand, 110 ms marked, 300 ms of dead wait."""
    given = plan(
        drive(0.5), move(lift=1.0), wait(1.03), wait(0.11, purpose="settling"), wait(0.3), place(), holds=HELD
    )
    time = result(given, drive=straight(1.0)).time
    assert time is not None
    assert time.driving_s == pytest.approx(0.49)
    assert time.moving_s == pytest.approx(0.5)
    assert time.timers_s == pytest.approx(0.05 + 0.12)
    assert time.stations_s == 0.0
    assert time.given_away_s == pytest.approx(0.3)


def test_waiting_at_a_station_is_its_own_time_and_the_slow_unfinished_cycle_is_told() -> None:
    rounds = repeat(pick(), wait(0.2), place(), wait(0.2))
    state = result(plan(rounds, lasts=(5.0,), stations=(station(2),)))
    assert state.deliveries_at_us == (200_000, 600_000)
    assert state.unfinished == (
        "the cycle begun at 0.60 s was unfinished when the match ended, after 4.40 s, 4.20 s of it waiting "
        "at tray; it does not count, though it was slower than the mean of the whole ones, 0.30 s"
    )


def test_waiting_for_a_place_to_be_cleared_is_a_station_share() -> None:
    given = plan(place(number=1), wait(0.2), place(number=1), wait(0.2), holds={"hand": ("peg",) * 2},
                 places=(spot(room=1, clearing=1.0),))  # fmt: skip
    time = result(given).time
    assert time is not None
    assert time.stations_s == pytest.approx(0.8 / 2)


def test_a_routine_that_is_over_leaves_no_unfinished_cycle() -> None:
    assert result(plan(wait(0.1), place(), wait(0.2), holds=HELD)).unfinished == ""


# --- order rules ------------------------------------------------------------------------------------------


def test_an_order_rule_is_watched_while_its_mechanism_moves() -> None:
    """The arm moves from 0.1 s to 0.59 s; the lift passes 0.3 m at 0.3 s."""
    given = plan(move(lift=0.6), wait(0.1), move(arm=0.5), wait(1.0))
    rule = OrderRule("arm", (("lift", "above", 0.3),), 7)
    given = replace(given, robot=replace(given.robot, order=(rule,)))
    state = result(given)
    (found,) = state.findings
    assert (found.kind, found.at_us, found.mechanism) == ("order_broken", 100_000, "arm")
    assert found.late_us == pytest.approx(200_000, abs=1)
    assert (
        "had the arm moving for 200 ms and 0.2 m while the lift was not above 0.3 m: at 0.100 s it was at 0.1 m"
        in found.text
    )
    assert state.passes


def test_a_kept_order_rule_says_nothing() -> None:
    given = plan(move(lift=0.6), wait(0.4), move(arm=0.5), wait(1.0))
    rules = (OrderRule("arm", (("lift", "above", 0.3),), 7),)
    assert result(replace(given, robot=replace(given.robot, order=rules))).findings == ()


# --- states -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("passes", "weakest", "failing"),
    [
        ((True, True, True), "c", ()), ((True, True, False), "b", ("c",)),
        ((False, True, True), None, ("a",)), ((True, False, True), "a", ("b",)),
    ],
)  # fmt: skip
def test_the_weakest_state_has_only_passing_ones_before_it(
    passes: tuple[bool, ...], weakest: str | None, failing: tuple[str, ...]
) -> None:
    given = plan(wait(0.1))
    one = result(given)
    states = tuple(replace(one, name=name, passes=ok) for name, ok in zip("abc", passes, strict=True))
    together = run_result(given, states)
    assert (together.weakest_state_that_passes, together.failing_states) == (weakest, failing)
