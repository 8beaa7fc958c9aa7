"""Moves that never arrive are told, also where no need asks for them."""

from __future__ import annotations

import re

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.analysis.words import the
from simbot.physics.assumptions import physics_remarks
from simbot.report.summary import breaks
from simbot.routine.match import play
from simbot.studies.time_lost import seconds_of, stood_still

WEAK = {
    "motors": {
        "coil": {
            "voltage": "12 V", "free_speed": "6000 rpm", "free_current": "0.3 A", "stall_torque": "0.1 N*m",
            "stall_current": "9 A", "rotor_inertia": "9e-6 kg*m^2", "source": "illustrative",
        }
    },
    "mechanisms": {
        "lift": {
            "kind": "slide", "incline": "90 deg", "motors": "1 x coil", "gearing": [{"ratio": "1:1"}],
            "drum_diameter": "40 mm",
            "moving_mass": "5 kg", "travel": ["0 m", "0.5 m"], "control": {"loop": "full_effort", "window": "10 mm"},
        }
    },
}  # fmt: skip


def test_a_timed_wait_for_what_never_arrives_is_a_finding(tmp_path):
    steps = [{"move": {"lift": "0.4 m"}}, wait("300 ms")]
    plan = a_plan(tmp_path, steps, "2 s", robot=WEAK, start={"lift": "0 m"})
    (state,) = api.run(plan).states
    (found,) = [one for one in state.findings if one.kind == "never_arrived"]
    assert (found.mechanism, found.fails, found.late_us) == ("lift", False, None)
    assert "waits for the lift, which ends at 0 m, not 0.4 m" in found.text


def test_so_is_one_that_the_next_command_takes_over_at_its_end_and_not_before(tmp_path):
    up, down = {"move": {"lift": "0.4 m"}}, {"move": {"lift": "0 m"}}
    plan = a_plan(
        tmp_path, [up, wait("300 ms"), down, wait("100 ms")], "2 s", robot=WEAK, start={"lift": "0 m"}
    )
    told = [one.text for one in api.run(plan).states[0].findings if one.kind == "never_arrived"]
    assert len(told) == 1 and "which ends at 0 m, not 0.4 m" in told[0]
    early = [up, {"together": [[wait("300 ms")], [wait("100 ms"), down]]}]
    plan = a_plan(tmp_path, early, "2 s", robot=WEAK, start={"lift": "0 m"})
    assert not [one for one in api.run(plan).states[0].findings if one.kind == "never_arrived"]


TANK, STROKE = 0.5e-3, 0.7853981633974483 * 0.02**2 * 0.1  # m^3
PISTON = {
    "kind": "cylinder", "bore": "20 mm", "stroke": "100 mm", "tank": "0.5 l", "supply": "4 bar", "time": "0.2 s",
    "least_pressure": "2.5 bar",
}  # fmt: skip


def test_a_tank_that_runs_out_is_told_at_the_first_stroke_that_fails(tmp_path):
    """Without a regulator tank and cylinder share what there is, the outer air in its end space and hose too."""
    pressure, dead, number = 4e5 + 101325.0, 0.1 * STROKE, 0
    while (pressure := (pressure * TANK + 101325.0 * dead) / (TANK + dead + STROKE)) - 101325.0 >= 2.5e5:
        number += 1
    robot = {"motors": WEAK["motors"], "mechanisms": {"flap": PISTON}}
    steps = [each for word in ("out", "in") for each in ({"move": {"flap": word}}, wait("250 ms"))]
    plan = a_plan(tmp_path, [{"repeat": 10, "steps": steps}], "9 s", robot=robot, start={"flap": "in"})
    (state,) = api.run(plan).states
    found = [one for one in state.findings if one.kind == "never_arrived"]
    first = min(found, key=lambda one: one.at_us)
    assert 3 < number < 19
    assert first.at_us == number * 250_000  # the commands: one every 250 ms, on ticks of 10 ms
    word = "out" if number % 2 == 0 else "in"
    assert (
        f"which stops on its way to {word} (its air ends at {(pressure - 101325.0) / 1e5:.3g} bar"
        in first.text
    )
    assert not [one for one in state.findings if "ends at ," in one.text]


def test_a_routine_that_hangs_does_not_pass(tmp_path):
    steps = [{"move": {"lift": "0.4 m"}}, wait("arrival")]
    run = api.run(a_plan(tmp_path, steps, "2 s", robot=WEAK, start={"lift": "0 m"}))
    (state,) = run.states
    (found,) = [one for one in state.findings if one.kind == "never_arrived"]
    assert "stands from 0.000 s to the end of only, 2.0 s: it waits for the lift" in found.text
    assert not state.passes and run.weakest_state_that_passes is None
    assert state.moves[0].stuck and breaks(state.moves[0])


def test_a_control_that_swings_for_ever_is_told(tmp_path):
    """P on what is seen 80 ms late swings where p times its speed at full effort is far above pi/2 over the delay."""
    control = {
        "loop": "position",
        "p": "40 /m",
        "latency": "80 ms",
        "window": "2 mm",
        "slower_than": "1 mm/s",
    }
    lift = {**WEAK["mechanisms"]["lift"], "incline": "0 deg", "moving_mass": "1 kg", "control": control}
    robot = {"motors": WEAK["motors"], "mechanisms": {"lift": lift}}
    steps = [{"move": {"lift": "0.25 m"}}, wait("arrival")]
    (state,) = api.run(a_plan(tmp_path, steps, "12 s", robot=robot, start={"lift": "0 m"})).states
    (found,) = [one for one in state.findings if one.kind == "never_arrived"]
    assert found.fails and "has not settled there although it could be there in 0." in found.text


def driven(tmp_path, turn, later=(), first=None, ends="6 s"):
    """Half a turn in place against friction, then what follows in the next period."""
    drive = {
        "kind": "mecanum", "motors": "4 x coil", "gearing": [{"ratio": "20:1"}], "wheel_diameter": "100 mm",
        "wheelbase": "300 mm", "track": "300 mm", "grip": 0.9, "friction": "30 N",
        "control": {"loop": "position", "p": "5 /m", "d": "0.7 s/m", "slower_than": "0.1 m/s"}, **turn,
    }  # fmt: skip
    robot = {"motors": WEAK["motors"], "mass": "12 kg", "mechanisms": {"drive": drive}}
    game = {"periods": {"only": "6 s", "then": ends}}
    steps = [{"drive": ["1 m", "1 m", "180 deg"]}, wait("arrival")] if first is None else [{"first": first}]
    start = {"pose": ["1 m", "1 m", "0 deg"]}
    return a_plan(tmp_path, steps, game=game, robot=robot, start=start, then=list(later))


BACK = [{"drive": ["1 m", "1 m", "0 deg"]}, wait("2 s")]


def test_a_drive_held_by_its_own_control_fails_from_where_it_stands(tmp_path):
    """Also where the next period sends it elsewhere; what it takes is p times how far off, over the window."""
    run = api.run(driven(tmp_path, {}, BACK))
    (state,) = run.states
    found = state.findings[0]
    assert (found.kind, found.fails, state.passes) == ("never_arrived", True, False)
    assert 500_000 < found.at_us < 3_000_000
    stood = re.search(
        r"stands from ([\d.]+) s to the end of only, ([\d.]+) s: it waits for the drive", found.text
    )
    assert float(stood[1]) + float(stood[2]) == pytest.approx(6.0, abs=0.06)
    assert float(stood[1]) == pytest.approx(found.at_us * 1e-6, abs=1e-3)
    off, window, least, now = map(
        float,
        re.search(
            r"([\d.]+) deg from the end of its turn, outside its window of ([\d.]+) deg; at the window's edge a "
            r"`turn: p` of ([\d.]+) /rad would push as hard as it is pushed there \(([\d.]+) /rad now, taken from ",
            found.text,
        ).groups(),
    )
    assert now == pytest.approx(5.0 * 0.3, rel=1e-3)
    assert least == pytest.approx(now * off / window, rel=0.05)
    turn = {"turn": {"p": f"{1.6 * least} /rad", "d": "0.34 s/rad"}}
    (other,) = api.run(driven(tmp_path, turn)).states
    assert other.passes


def test_a_drive_cut_on_its_way_is_not_stuck(tmp_path):
    steps = [
        {"drive": ["1 m", "1 m", "180 deg"]},
        wait("2 s"),
        *BACK,
        wait("1.6 s"),
        *BACK[:1],
        wait("arrival"),
    ]
    plan = driven(tmp_path, {"turn": {"p": "8 /rad", "d": "0.5 s/rad"}}, steps)
    (state,) = api.run(plan).states
    assert state.passes and not any(move.stuck for move in state.moves)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_a_drive_in_whose_turn_the_match_ends_is_not_stuck(tmp_path, share):
    """After the floor's time and before the arrival it is still on its way: no failure of the plan."""
    turn, back = {"turn": {"p": "8 /rad", "d": "0.9 s/rad"}}, [BACK[0], wait("arrival")]
    move = api.run(driven(tmp_path, turn, back)).states[0].moves[1]
    assert move.floor_us < 0.9 * move.arrival_us
    ends_us = round(move.floor_us + share * (move.arrival_us - move.floor_us))
    (cut,) = api.run(driven(tmp_path, turn, back, ends=f"{ends_us / 1e6} s")).states
    assert cut.passes and not cut.findings and not any(one.stuck for one in cut.moves)


WRITTEN = {"p": "8 /rad", "d": "0.5 s/rad", "window": "2 deg", "slower_than": "9 deg/s"}


@pytest.mark.parametrize(("turn", "told"), [({"turn": WRITTEN}, 0), ({}, 1)])
def test_check_lists_what_a_turn_takes_from_the_line(tmp_path, turn, told):
    remarks = physics_remarks(driven(tmp_path, turn).robot)
    texts = [one.text for one in remarks if one.key.endswith(".turn")]
    assert len(texts) == told
    for text in texts:  # 5 /m and 0.7 s/m at 0.3 m: half the track and half the wheelbase
        assert "p 1.5 /rad" in text and "d 0.21 s/rad" in text and "window 2 deg" in text


def test_names_that_may_be_plurals_go_with_any_verb():
    assert [the(name) for name in ("lift", "slides", "press", "abacus")] == [
        "the lift", "the mechanism slides", "the press", "the abacus",
    ]  # fmt: skip


def test_a_wait_that_another_branch_cuts_does_not_stand(tmp_path):
    """A time limit written as a branch of its own: it goes on, and match counts nothing that stood."""
    turn = [{"drive": ["1 m", "1 m", "180 deg"]}, wait("arrival")]
    plan = driven(tmp_path, {}, first=[turn, [wait("3 s", **{"for": "settling"})]])
    (state,) = api.run(plan).states
    assert state.passes and not [one for one in state.findings if one.kind == "never_arrived"]
    trace, plant = play(plan, plan.robot.battery[0])
    assert not list(stood_still(trace, plant))


def test_match_counts_what_stands_as_run_does(tmp_path):
    """Also in a period that is not the last, where the next one sends it elsewhere."""
    plan = driven(tmp_path, {}, BACK)
    trace, plant = play(plan, plan.robot.battery[0])
    assert list(seconds_of(stood_still(trace, plant))) == [
        "it stood to the end of a period for the drive, which never arrived"
    ]


def test_what_had_no_time_to_arrive_is_not_stuck(tmp_path):
    """A servo that is sent as the match ends, standing still as yet."""
    hand = {
        "kind": "servo", "speed": "0.2 s/60deg", "stall_torque": "1 N*m", "at": "6 V", "rail": "rail",
        "travel": ["0 deg", "120 deg"],
    }  # fmt: skip
    robot = {
        "motors": {}, "mechanisms": {"hand": hand},
        "rails": {"rail": {"voltage": "6 V", "current_limit": "5 A", "regulator": "switching"}},
    }  # fmt: skip
    steps = [wait("1990 ms"), {"move": {"hand": "100 deg"}}, wait("arrival")]
    plan = a_plan(tmp_path, steps, "2 s", robot=robot, start={"hand": "0 deg"})
    run = api.run(plan)
    assert not [one for one in run.states[0].findings if one.kind == "never_arrived"]
    assert not list(stood_still(*play(plan, plan.robot.battery[0])))


def test_a_timer_is_not_too_short_for_a_need_that_its_move_leads_away_from(tmp_path):
    """The other hand is to be open, and is sent to shut; its timer is 0.1 s too short for that, which does no harm."""
    steps = [
        pick(),
        wait("0.3 s"),
        {"move": {"other": "shut"}},
        wait("0.1 s"),
        place(needs={"other": "open"}),
    ]
    (state,) = api.run(a_plan(tmp_path, steps)).states
    shut = next(move for move in state.moves if move.mechanism == "other")
    assert [need.met for need in state.needs] == [False] and shut.margin_us == -100_000
    assert shut.consequence == "harmless"
    # on its way to where the need asks for it, the same timer breaks what follows
    steps[2:4] = [{"move": {"other": "shut"}}, wait("0.3 s"), {"move": {"other": "open"}}, wait("0.1 s")]
    (state,) = api.run(a_plan(tmp_path, steps)).states
    opened = [move for move in state.moves if move.mechanism == "other"][-1]
    assert opened.consequence == "breaking" and opened.margin_us == -100_000
