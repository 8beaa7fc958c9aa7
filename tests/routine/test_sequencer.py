"""What follows what, and when: every corner of waits, branches, periods, picks and places.

The mechanisms are stopwatches and straight lines, so that every instant can be worked out by hand.
"""

from __future__ import annotations

import pytest
from plans import (
    drive,
    hand_over,
    move,
    need,
    pick,
    place,
    plan,
    repeat,
    run_routine,
    sequence,
    spot,
    station,
    together,
    wait,
)
from stopwatch import StopwatchPlant, plant_for, straight, words

from simbot.routine.sequencer import run
from simbot.routine.trace import Trace
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Plan

HELD = {"hand": ("peg",)}


def carried_out(given: Plan, **tracks: object) -> tuple[Trace, StopwatchPlant]:
    """Run with a hand that takes 0.2 s, a lift and an arm at 1 m/s with a window of 10 mm, unless given."""
    usual = {"hand": words(0.2), "other": words(0.2), "lift": straight(1.0), "arm": straight(1.0),
             "drive": straight(1.0)}  # fmt: skip
    plant = plant_for(given, **{**usual, **tracks})
    return run(given, plant), plant


def starts(trace: Trace) -> list[tuple[str, float]]:
    return [(record.move.mechanism, record.move.start_us / 1e6) for record in trace.moves]


def ends(trace: Trace) -> list[float]:
    return [record.ended_us / 1e6 for record in trace.waits]


def times(trace: Trace) -> list[list[str]]:
    """What each wait times, by mechanism."""
    return [[trace.moves[index].move.mechanism for index in record.moves] for record in trace.waits]


# --- waits ------------------------------------------------------------------------------------------------


def test_a_wait_ends_on_the_first_tick_at_or_after_it() -> None:
    trace, _ = carried_out(plan(wait(0.03), wait(0.04), wait(0.0)))
    assert ends(trace) == [0.04, 0.08, 0.08]


def test_commands_do_not_block() -> None:
    trace, _ = carried_out(plan(move(lift=0.5, arm=0.2), drive(1.0), wait(0.1), move(lift=0.0)))
    assert starts(trace) == [("lift", 0.0), ("arm", 0.0), ("drive", 0.0), ("lift", 0.1)]


def test_a_timer_that_runs_out_does_not_stop_the_mechanism() -> None:
    _, plant = carried_out(plan(move(lift=0.5), wait(0.1), lasts=(1.0,)))
    assert plant.position("lift", 100_000) == pytest.approx(0.1)
    assert plant.position("lift", 900_000) == 0.5


def test_a_wait_for_arrival_waits_for_all_since_the_wait_before() -> None:
    trace, _ = carried_out(plan(move(lift=0.11), move(arm=0.21), wait(), move(lift=0.0), wait()))
    assert ends(trace) == [0.2, 0.3]
    assert times(trace) == [["lift", "arm"], ["lift"]]


def test_a_routine_is_inlined_for_waits() -> None:
    given = plan(move(lift=0.11), run_routine("rest"), routines={"rest": sequence(move(arm=0.21), wait())})
    trace, _ = carried_out(given)
    assert ends(trace) == [0.2]
    assert times(trace) == [["lift", "arm"]]


def test_a_wait_for_arrival_after_nothing_ends_at_once() -> None:
    trace, _ = carried_out(plan(wait(), move(lift=0.11)))
    assert ends(trace) == [0.0]


@pytest.mark.parametrize(("limit", "end", "seen"), [(0.09, 0.1, True), (0.07, 0.08, False), (0.2, 0.1, True)])
def test_a_limit_on_the_tick_of_the_arrival_is_arrival(limit: float, end: float, seen: bool) -> None:
    trace, _ = carried_out(plan(move(lift=0.11), wait(at_most=limit)))
    assert ends(trace) == [end]
    assert trace.waits[0].seen is seen
    assert trace.waits[0].missing == (() if seen else ("lift",))


def test_only_what_has_not_arrived_is_missing_when_a_limit_runs_out() -> None:
    trace, _ = carried_out(plan(move(lift=0.03, arm=0.5), wait(at_most=0.1)))
    assert trace.waits[0].missing == ("arm",)
    assert times(trace) == [["lift", "arm"]]


def test_a_marked_wait_times_nothing_and_leaves_its_commands_to_the_next() -> None:
    trace, _ = carried_out(plan(move(lift=0.11), wait(0.04, purpose="stagger"), move(arm=0.21), wait(0.5)))
    assert times(trace) == [[], ["lift", "arm"]]


def test_a_wait_until_an_instant_and_one_that_is_past() -> None:
    trace, _ = carried_out(plan(wait(until=0.31), wait(until=0.1)))
    assert ends(trace) == [0.32, 0.32]


def test_a_later_command_moves_what_a_wait_for_arrival_sees() -> None:
    """Another branch takes the lift over at 0.1 s, half a metre further: the wait looks there."""
    given = plan(together(sequence(move(lift=0.2), wait()), sequence(wait(0.1), move(lift=0.7))))
    trace, _ = carried_out(given)
    assert ends(trace) == [0.1, 0.7]


# --- branches ---------------------------------------------------------------------------------------------


def test_what_branches_did_not_time_is_timed_after_the_join() -> None:
    given = plan(
        together(sequence(move(lift=0.11), wait(0.1), move(lift=0.0)), sequence(move(arm=0.31))), wait()
    )
    trace, _ = carried_out(given)
    assert times(trace) == [["lift"], ["lift", "arm"]]
    assert ends(trace) == [0.1, 0.3]


def test_branches_join_when_the_last_has_ended() -> None:
    trace, _ = carried_out(plan(together(sequence(wait(0.1)), sequence(wait(0.3))), move(lift=0.1)))
    assert starts(trace) == [("lift", 0.3)]


def test_waits_on_one_tick_go_on_in_the_order_in_which_they_began() -> None:
    given = plan(
        together(
            sequence(wait(0.1), wait(0.2), move(lift=0.1)),
            sequence(wait(0.3), move(arm=0.1)),
            sequence(wait(0.3), move(drive=0.1)),
        )
    )
    trace, _ = carried_out(given)
    assert starts(trace) == [("arm", 0.3), ("drive", 0.3), ("lift", 0.3)]


def test_a_join_goes_on_before_the_next_wait_of_the_same_tick() -> None:
    """The inner waits began first: what follows their join comes before the wait that began later."""
    inner = together(sequence(wait(0.2)), sequence(wait(0.2)))
    given = plan(together(sequence(wait(0.1), wait(0.1), move(arm=0.1)), sequence(inner, move(lift=0.1))))
    trace, _ = carried_out(given)
    assert starts(trace) == [("lift", 0.2), ("arm", 0.2)]


def test_branches_begin_in_file_order_also_nested_ones() -> None:
    inner = together(sequence(move(lift=0.1)), sequence(move(arm=0.1)))
    trace, _ = carried_out(plan(together(sequence(inner), sequence(move(drive=0.1)))))
    assert [name for name, _ in starts(trace)] == ["lift", "arm", "drive"]


def test_what_was_commanded_before_the_branches_waits_for_the_join() -> None:
    trace, _ = carried_out(plan(move(lift=0.5), together(sequence(wait(0.1)), sequence(wait(0.2))), wait()))
    assert times(trace) == [[], [], ["lift"]]
    assert ends(trace)[-1] == 0.5


# --- periods ----------------------------------------------------------------------------------------------


def test_the_last_tick_belongs_to_the_period_that_ends() -> None:
    given = plan(wait(1.0), place(), driver=(move(lift=0.1),), lasts=(1.0, 1.0), holds=HELD)
    trace, _ = carried_out(given)
    assert [(one.at_us, one.period, one.points) for one in trace.deliveries] == [(1_000_000, "autonomous", 5)]
    assert starts(trace) == [("hand", 1.0), ("lift", 1.0)]
    assert trace.cuts == ()


def test_a_period_cuts_its_steps_and_not_the_mechanisms() -> None:
    given = plan(move(lift=5.0), wait(), move(lift=0.0), driver=(wait(0.5),), lasts=(1.0, 1.0))
    trace, plant = carried_out(given)
    assert starts(trace) == [("lift", 0.0)]
    assert plant.position("lift", 2_000_000) == pytest.approx(2.0)
    assert trace.waits[0].cut
    assert [cut.at_us for cut in trace.cuts] == [1_000_000]


def test_all_branches_are_cut() -> None:
    branches = together(sequence(wait(2.0), move(lift=1.0)), sequence(wait(1.02), move(arm=1.0)))
    trace, _ = carried_out(plan(branches, driver=(), lasts=(1.0, 5.0)))
    assert starts(trace) == []
    assert [record.cut for record in trace.waits] == [True, True]


def test_what_no_wait_of_its_period_times_is_timed_by_none() -> None:
    trace, _ = carried_out(plan(move(lift=0.5), driver=(wait(0.5),), lasts=(1.0, 1.0)))
    assert times(trace) == [[]]


def test_a_pick_closes_across_the_end_of_a_period() -> None:
    trace, _ = carried_out(plan(wait(0.9), pick(), driver=(wait(0.5), place()), lasts=(1.0, 1.0)))
    assert trace.picks[0].held_us == 1_100_000
    assert len(trace.deliveries) == 1


def test_the_endgame_cuts_the_routine_after_its_first_instant() -> None:
    given = plan(
        repeat(wait(0.5), move(lift=0.1)), lasts=(3.0,), endgame=2.0, begin=(1.0, (move(arm=0.2), wait(0.1)))
    )
    trace, _ = carried_out(given)
    assert starts(trace) == [("lift", 0.5), ("lift", 1.0), ("arm", 1.0)]
    assert [record.period for record in trace.moves] == ["autonomous", "autonomous", "endgame"]


def test_points_of_the_endgames_first_instant_are_the_periods() -> None:
    given = plan(
        wait(1.0), place(number=1), wait(0.02), place(number=1), lasts=(3.0,), endgame=2.0,
        holds={"hand": ("peg", "peg")},
    )  # fmt: skip
    trace, _ = carried_out(given)
    assert [(one.at_us, one.endgame) for one in trace.deliveries] == [(1_000_000, False), (1_020_000, True)]


# --- repeats ----------------------------------------------------------------------------------------------


def test_a_repeat_goes_round_until_its_period_ends() -> None:
    trace, _ = carried_out(plan(repeat(wait(0.3)), lasts=(1.0,)))
    assert [(one.ended_us, one.cut) for one in trace.waits] == [
        (300_000, False), (600_000, False), (900_000, False), (1_000_000, True),
    ]  # fmt: skip


def test_a_counted_repeat_may_take_no_time() -> None:
    trace, _ = carried_out(plan(repeat(move(lift=0.1), times=4), wait(0.1)))
    assert len(trace.moves) == 4
    assert [record.repeat for record in trace.moves] == [0, 1, 2, 3]


@pytest.mark.parametrize("body", [(), (move(lift=0.1),), (wait(0.0),), (wait(),)])
def test_a_repeat_that_takes_no_time_is_a_mistake(body: tuple[object, ...]) -> None:
    loop = repeat(*body)  # type: ignore[arg-type]
    with pytest.raises(ScenarioError, match=rf"plan\.yaml:{loop.line}:.*never ends"):
        carried_out(plan(wait(0.1), loop))


# --- numbers of steps -------------------------------------------------------------------------------------


def test_steps_are_numbered_by_line_in_order_of_first_execution() -> None:
    again = sequence(move(lift=0.1), wait(0.1))
    given = plan(
        wait(0.1), run_routine("again"), run_routine("again"), move(arm=0.1), routines={"again": again}
    )
    trace, _ = carried_out(given)
    assert [record.step for record in trace.moves] == [2, 2, 4]
    assert [record.step for record in trace.waits] == [1, 3, 3]


# --- needs ------------------------------------------------------------------------------------------------


def test_a_met_need_says_since_when() -> None:
    given = plan(move(lift=0.5), wait(0.6), place(need("lift", 0.5, within=0.02)), holds=HELD)
    trace, _ = carried_out(given)
    (checked,) = trace.needs
    assert (checked.met, checked.margin_us, checked.cause) == (True, 120_000, 0)
    assert len(trace.deliveries) == 1


def test_an_unmet_need_says_how_much_later_and_drops_the_element() -> None:
    given = plan(
        move(lift=0.5), wait(0.4), place(need("lift", 0.5, within=0.02)), wait(0.5), place(), holds=HELD
    )
    trace, _ = carried_out(given)
    (checked,) = trace.needs
    assert (checked.met, checked.margin_us) == (False, -80_000)
    assert trace.deliveries == ()
    assert [mishap.kind for mishap in trace.mishaps] == ["nothing_held"]


def test_a_stuck_element_stays_in_the_hand() -> None:
    first = place(need("lift", 0.5, within=0.02), otherwise="stuck")
    trace, _ = carried_out(plan(move(lift=0.5), wait(0.4), first, wait(0.5), place(), holds=HELD))
    assert [one.at_us for one in trace.deliveries] == [900_000]


# --- picks ------------------------------------------------------------------------------------------------


def test_a_pick_holds_when_its_hand_has_arrived() -> None:
    trace, _ = carried_out(plan(pick(), wait(0.1), move(lift=0.5), wait(0.3)))
    (picked,) = trace.picks
    assert (picked.begins_us, picked.held_us, picked.outcome) == (0, 200_000, "held")


def test_a_hand_already_there_holds_at_once() -> None:
    trace, _ = carried_out(
        plan(pick(by=("hand", "shut")), place(by=("hand", "open")), positions={"hand": "shut"})
    )
    assert trace.picks[0].held_us == 0
    assert [one.at_us for one in trace.deliveries] == [0]


def test_a_pick_is_lost_when_its_need_is_left_before_it_holds() -> None:
    """The lift sets off at 0.1 s at 1 m/s and has left 20 mm after 20 ms."""
    given = plan(pick(need("lift", 0.0, within=0.02)), wait(0.1), move(lift=0.5), wait(0.5), place())
    trace, _ = carried_out(given)
    (picked,) = trace.picks
    assert picked.held_us is None
    assert picked.lost_us == pytest.approx(120_000, abs=1)
    assert picked.outcome == "missed"
    assert [mishap.kind for mishap in trace.mishaps] == ["nothing_held"]


def test_a_pick_whose_need_is_left_after_it_holds_is_kept() -> None:
    given = plan(pick(need("lift", 0.0, within=0.02)), wait(0.18), move(lift=0.5))
    trace, _ = carried_out(given, hand=words(0.195))
    assert trace.picks[0].held_us == 195_000


def test_a_pick_whose_needs_are_unmet_takes_nothing_though_the_hand_closes() -> None:
    trace, _ = carried_out(plan(pick(need("lift", 0.5, within=0.02)), wait(0.5)))
    assert starts(trace) == [("hand", 0.0)]
    assert (trace.picks[0].refused, trace.picks[0].outcome) == (True, "missed")


def test_a_need_of_the_hand_itself_is_checked_at_the_begin_alone() -> None:
    trace, _ = carried_out(plan(pick(need("hand", "open")), wait(0.3)), hand=words(0.2))
    assert trace.picks[0].refused
    trace, _ = carried_out(plan(pick(need("hand", "open")), wait(0.3), positions={"hand": "open"}))
    assert (trace.picks[0].held_us, trace.needs[0].met) == (200_000, True)


def test_a_hand_that_opens_before_it_has_closed_loses_the_pick() -> None:
    trace, _ = carried_out(plan(pick(), wait(0.1), place()))
    assert trace.picks[0].lost_us == 100_000
    assert [mishap.kind for mishap in trace.mishaps] == ["nothing_held"]


def test_an_open_pick_at_the_end_of_the_match_is_undecided() -> None:
    trace, _ = carried_out(plan(wait(0.9), pick(), lasts=(1.0,)))
    assert (trace.picks[0].held_us, trace.picks[0].lost_us, trace.picks[0].outcome) == (None, None, "")


# --- stations ---------------------------------------------------------------------------------------------


def test_a_pick_at_an_empty_station_waits_at_the_step() -> None:
    """One in stock, one more each 2.01 s from the start of the match on; code acts on ticks."""
    rounds = repeat(pick(), wait(0.3), place(), wait(0.2), times=3)
    trace, _ = carried_out(plan(rounds, stations=(station(1, (1, 2.01)),)))
    assert [picked.begins_us for picked in trace.picks] == [0, 2_020_000, 4_020_000]
    assert [(one.from_us, one.to_us) for one in trace.queues] == [
        (500_000, 2_020_000),
        (2_520_000, 4_020_000),
    ]


def test_refills_end_at_the_stock() -> None:
    rounds = repeat(pick(), wait(0.3), place(), wait(0.2), times=3)
    trace, _ = carried_out(plan(wait(5.0), rounds, stations=(station(2, (1, 1.0)),), lasts=(9.0,)))
    assert [picked.begins_us for picked in trace.picks] == [5_000_000, 5_500_000, 6_000_000]


def test_stock_falls_at_the_hold_and_a_lost_pick_takes_nothing() -> None:
    lost = (
        pick(need("lift", 0.0, within=0.02)),
        wait(0.1),
        move(lift=0.5),
        wait(0.9),
        move(lift=0.0),
        wait(0.9),
    )
    trace, _ = carried_out(plan(*lost, pick(), wait(0.3), stations=(station(1),)))
    assert [picked.outcome for picked in trace.picks] == ["missed", "held"]


def test_an_empty_station_without_refill_is_waited_at_to_the_end() -> None:
    trace, _ = carried_out(plan(pick(), wait(0.3), pick(), lasts=(2.0,), stations=(station(1),)))
    assert [(one.from_us, one.to_us) for one in trace.queues] == [(300_000, 2_000_000)]
    assert [cut.at_us for cut in trace.cuts] == [2_000_000]


# --- places -----------------------------------------------------------------------------------------------


def test_a_full_place_without_clearing_drops_the_element() -> None:
    given = plan(place(number=1), wait(0.2), place(number=1), holds={"hand": ("peg", "peg")},
                 places=(spot(room=1, points=7, bonus=2),))  # fmt: skip
    trace, _ = carried_out(given)
    assert [(one.points, one.bonus) for one in trace.deliveries] == [(7, 2)]
    assert [mishap.kind for mishap in trace.mishaps] == ["place_full"]


def test_a_place_being_cleared_is_waited_for_and_earns_its_bonus_again() -> None:
    steps = [step for _ in range(3) for step in (place(number=1), wait(0.2))]
    given = plan(
        *steps, holds={"hand": ("peg",) * 3}, places=(spot(room=1, points=7, bonus=2, clearing=0.55),)
    )
    trace, _ = carried_out(given)
    assert [(one.at_us, one.points, one.bonus) for one in trace.deliveries] == [
        (0, 7, 2), (560_000, 7, 2), (1_120_000, 7, 2),
    ]  # fmt: skip
    assert [(one.from_us, one.to_us) for one in trace.queues] == [(200_000, 560_000), (760_000, 1_120_000)]


def test_several_placed_at_once_are_one_delivery() -> None:
    trace, _ = carried_out(plan(place(), holds={"hand": ("peg",) * 3}))
    assert [(one.number, one.points) for one in trace.deliveries] == [(3, 15)]


def test_what_does_not_fit_any_more_is_dropped() -> None:
    given = plan(place(), holds={"hand": ("peg",) * 3}, places=(spot(room=2, points=1, bonus=9),))
    trace, _ = carried_out(given)
    assert [(one.number, one.points, one.bonus) for one in trace.deliveries] == [(2, 2, 9)]
    assert [mishap.kind for mishap in trace.mishaps] == ["place_full"]


# --- loads ------------------------------------------------------------------------------------------------


def test_what_is_held_loads_the_carrier_from_hold_to_release() -> None:
    given = plan(
        place(number=1), wait(0.3), pick(), wait(0.5), pick(), wait(0.5), place(), wait(0.5),
        mass=0.5, on={"hand": "lift"}, holds={"hand": ("peg",)},
    )  # fmt: skip
    _, plant = carried_out(given)
    assert plant.payloads == [
        (0, "lift", 0.5), (0, "lift", 0.0), (500_000, "lift", 0.5), (800_000, "lift", 1.0),
        (1_300_000, "lift", 0.0),
    ]  # fmt: skip


def test_an_element_without_mass_weighs_nothing() -> None:
    _, plant = carried_out(plan(pick(), wait(0.5), on={"hand": "lift"}))
    assert plant.payloads == []


def test_a_hand_over_passes_the_load_on() -> None:
    given = plan(
        hand_over(need("lift", 0.0, within=0.02), by=("hand", "shut"), giver="other"), wait(0.5), place(),
        mass=0.5, on={"hand": "lift", "other": "arm"}, holds={"other": ("peg",)},
    )  # fmt: skip
    trace, plant = carried_out(given)
    assert plant.payloads == [
        (0, "arm", 0.5), (200_000, "arm", 0.0), (200_000, "lift", 0.5), (500_000, "lift", 0.0),
    ]  # fmt: skip
    assert len(trace.deliveries) == 1


def test_an_empty_giver_hands_nothing_over() -> None:
    trace, _ = carried_out(plan(hand_over(by=("hand", "shut"), giver="other"), wait(0.5)))
    assert trace.picks[0].lost_us == 200_000
    assert "nothing" in trace.picks[0].why
