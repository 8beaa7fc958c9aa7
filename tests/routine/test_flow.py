"""Steps that try, choose, race, look and share the field; every instant can be worked out on paper."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.analysis.states import state_result
from simbot.physics.kinds import KINDS
from simbot.physics.luck import Drawn
from simbot.physics.plant import Plant
from simbot.routine import sequencer
from simbot.routine.match import play
from simbot.scenario.check import plan_doubts
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan

POSE = ["1 m", "1 m", "0 deg"]


def run(plan, luck=None):
    trace, _ = (
        play(plan, plan.robot.battery[0]) if luck is None else play(plan, plan.robot.battery[0], luck=luck)
    )
    return trace


def sent(trace):
    return [(move.label, move.move.start_us // 1000) for move in trace.moves]


def early(**more):
    """A pick that is refused: its need is not met."""
    return pick(needs={"other": "down"}, **more)


def test_a_try_is_begun_anew_and_then_the_other_thing_is_done(tmp_path):
    steps = [
        {"try": [early(), wait("0.3 s"), {"move": {"other": "up"}}], "tries": 3,
         "otherwise": [{"move": {"other": "aside"}}, wait("0.2 s")]},
        wait("0.1 s"),
    ]  # fmt: skip
    trace = run(a_plan(tmp_path, steps))
    # a refused pick fails at once; what follows it in the try is left, and the try begins anew
    assert sent(trace) == [("hand to shut", 0)] * 3 + [("other to aside", 0)]
    assert [(each.number, each.of) for each in trace.failures] == [(1, 3), (2, 3), (3, 3)]


def test_a_try_ends_at_its_time_limit_and_what_stands_around_it_fails_too(tmp_path):
    inner = {"try": [{"move": {"hand": "shut"}}, wait("5 s")], "tries": 4, "at_most": "1.5 s"}
    steps = [
        {
            "try": [inner, {"move": {"other": "up"}}],
            "otherwise": [{"move": {"other": "aside"}}, wait("0.2 s")],
        }
    ]
    trace = run(a_plan(tmp_path, steps))
    assert sent(trace) == [("hand to shut", 0), ("other to aside", 1500)]
    assert trace.waits[0].cut and trace.failures[0].why == "its time ran out"


def test_an_arrival_on_the_tick_of_the_limit_counts(tmp_path):
    steps = [{"try": [{"move": {"hand": "shut"}}, wait("arrival")], "at_most": "0.2 s"}, wait("0.1 s")]
    assert run(a_plan(tmp_path, steps)).failures == ()


def test_a_try_waits_for_a_pick_that_still_closes(tmp_path):
    steps = [{"try": [pick()]}, {"when": {"holds": {"hand": "ball"}}, "do": [place(), wait("0.2 s")]}]
    trace = run(a_plan(tmp_path, steps))
    assert [each.at_us for each in trace.deliveries] == [200_000]


def test_conditions_are_asked_when_the_step_is_reached(tmp_path):
    def chosen(when, before=()):
        steps = [
            *before,
            {"when": when, "do": [{"move": {"other": "yes"}}], "otherwise": [{"move": {"other": "no"}}]},
        ]
        stations = {"bin": {"pose": POSE, "gives": "ball", "stock": 1}}
        places = {"box": {"pose": POSE, "takes": "ball", "points": 4, "room": 1}}
        plan = a_plan(tmp_path, [*steps, wait("0.3 s")], game={"stations": stations, "places": places})
        return run(plan).moves[-1].label == "other to yes"

    fetched = [pick(), wait("0.3 s")]
    done = [*fetched, place(), wait("0.3 s")]
    assert chosen({"holds": {"hand": "nothing"}}) and not chosen({"holds": {"hand": "nothing"}}, fetched)
    assert chosen({"holds": {"hand": "ball"}}, fetched) and not chosen({"holds": {"hand": "2 ball"}}, fetched)
    assert chosen({"not": {"holds": {"hand": "anything"}}}) and chosen(
        {"holds": {"hand": "anything"}}, fetched
    )
    assert chosen({"stock": {"bin": 1}}) and not chosen({"stock": {"bin": 1}}, fetched)
    assert chosen({"room": {"box": 1}}) and not chosen({"room": {"box": 1}}, done)
    assert chosen({"points": "at_least 4"}, done) and chosen({"points": "below 4"}, fetched)
    assert chosen({"clock": "before 0.31 s"}, fetched) and chosen({"clock": "after 0.3 s"}, fetched)
    assert not chosen({"clock": "before 99.7 s before_end"}, fetched)
    assert not chosen({"clock": "after 0 s", "points": "at_least 1"})


def test_the_first_branch_through_cuts_the_others(tmp_path):
    steps = [
        {"first": [[wait("1 s")], [{"move": {"hand": "shut"}}, wait("arrival")], [wait("2 s")]]},
        {"move": {"other": "up"}}, wait("3 s"),
    ]  # fmt: skip
    trace = run(a_plan(tmp_path, steps))
    assert sent(trace) == [("hand to shut", 0), ("other to up", 200)]
    assert [record.cut for record in trace.waits] == [False, True, True, False]


def test_a_branch_that_is_cut_at_the_instant_at_which_it_would_begin_does_not(tmp_path):
    steps = [
        {"first": [[{"move": {"hand": "shut"}}], [{"move": {"other": "up"}}, wait("1 s")]]}, wait("3 s"),
    ]  # fmt: skip
    trace = run(a_plan(tmp_path, steps))
    assert sent(trace) == [("hand to shut", 0)]
    assert [record.cut for record in trace.waits] == [False]


def test_a_repeat_is_left_and_so_is_a_period(tmp_path):
    leave = {"when": {"clock": "after 1 s"}, "do": [{"leave": "repeat"}]}
    steps = [{"repeat": "until period_end", "steps": [wait("0.4 s"), leave]}, {"move": {"other": "up"}}, wait("1 s"),
             {"leave": "period"}, {"move": {"other": "down"}}]  # fmt: skip
    assert sent(run(a_plan(tmp_path, steps))) == [("other to up", 1200)]


def test_a_repeat_is_left_from_inside_a_try(tmp_path):
    steps = [{"repeat": "until period_end", "steps": [{"try": [pick(), wait("0.3 s"), {"leave": "repeat"}],
                                                       "tries": 3}, wait("1 s")]},
             place(), wait("0.2 s")]  # fmt: skip
    trace = run(a_plan(tmp_path, steps))
    # by hand: it holds at 0.2 s, the repeat is left at 0.3 s, what comes after the try in it is not done
    assert [(each.at_us, each.number) for each in trace.deliveries] == [(300_000, 1)]
    assert len(trace.picks) == 1 and trace.failures == ()


LEAVE = [{"leave": "repeat"}]
NESTED = {"a": [{"run": "b"}], "b": [{"when": {"points": "at_least 0"}, "do": LEAVE}]}


@pytest.mark.parametrize(("steps", "routines", "told"), [
    ([{"run": "out"}], {"out": LEAVE}, "out leaves a repeat, and there is none around it"),
    ([{"run": "a"}], NESTED, "a leaves a repeat, and there is none around it"),
    ([{"repeat": 2, "steps": [{"together": [[{"run": "out"}], [wait("1 s")]]}]}], {"out": LEAVE},
     "out leaves a repeat"),
    ([{"repeat": 2, "steps": [{"run": "out"}]}], {"out": [{"first": [LEAVE, [wait("1 s")]]}]},
     "there is no repeat around it"),
])  # fmt: skip
def test_a_routine_that_leaves_a_repeat_wants_one_around_its_run(tmp_path, steps, routines, told):
    with pytest.raises(ScenarioError) as caught:
        a_plan(tmp_path, [*steps, wait("1 s")], routines=routines)
    assert told in str(caught.value)


def test_a_routine_leaves_the_repeat_that_it_is_run_in(tmp_path):
    steps = [{"repeat": 3, "steps": [wait("0.3 s"), {"run": "a"}]}, {"move": {"other": "up"}}, wait("1 s")]
    assert sent(run(a_plan(tmp_path, steps, routines=NESTED))) == [("other to up", 300)]


def test_a_wait_at_the_begin_of_a_try_times_what_was_commanded_before_it(tmp_path):
    steps = [{"move": {"other": "up"}},
             {"try": [wait("arrival"), pick(needs={"other": "up"}), wait("0.3 s")]}]  # fmt: skip
    trace = run(a_plan(tmp_path, steps))
    # stopwatch: the other takes 0.2 s, and the pick begins when it is there
    assert sent(trace) == [("other to up", 0), ("hand to shut", 200)]
    assert trace.needs[0].met and trace.waits[0].moves == (0,)


def test_what_still_closes_does_not_keep_a_try_that_is_left(tmp_path):
    steps = [
        {"repeat": 5, "steps": [{"try": [pick(), {"leave": "repeat"}]}]},
        {"move": {"other": "up"}},
        wait("1 s"),
    ]
    assert sent(run(a_plan(tmp_path, steps))) == [("hand to shut", 0), ("other to up", 0)]


def test_a_step_begins_when_another_mechanism_has_passed_a_point_of_its_way(tmp_path):
    steps = [{"move": {"hand": "shut"}}, wait("until hand past 60 %"), {"move": {"other": "up"}}, wait("1 s")]
    trace = run(a_plan(tmp_path, steps))
    assert sent(trace) == [("hand to shut", 0), ("other to up", 120)]
    assert trace.waits[0].purpose == "passing" and trace.waits[1].moves == (0, 1)


def test_a_slide_is_seen_past_a_height_on_the_next_tick(tmp_path):
    robot = {
        "motors": {"m": {"voltage": "12 V", "free_speed": "300 rpm", "stall_torque": "2 N*m", "stall_current": "9 A",
                         "free_current": "0.2 A", "rotor_inertia": "1e-5 kg*m^2", "internal_ratio": 20}},
        "mechanisms": {
            "lift": {"kind": "slide", "motors": "1 x m", "gearing": [], "drum_diameter": "40 mm",
                     "moving_mass": "1 kg", "travel": ["0 m", "0.6 m"],
                     "control": {"loop": "full_effort", "window": "10 mm"}},
            "other": {"kind": "measured", "time": "0.2 s"}, "hand": {"kind": "measured", "time": "0.2 s"},
        },
    }  # fmt: skip
    steps = [
        {"move": {"lift": "0.5 m"}},
        wait("until lift past 0.3 m"),
        {"move": {"other": "up"}},
        wait("arrival"),
    ]
    steps += [
        {"move": {"lift": "0 m"}},
        wait("until lift past 50 %"),
        {"move": {"other": "down"}},
        wait("arrival"),
    ]
    plan = a_plan(tmp_path, steps, robot=robot)
    trace, plant = play(plan, plan.robot.battery[0])
    for index, above in ((1, True), (3, False)):
        at = trace.moves[index].move.start_us
        here, before = plant.position("lift", at), plant.position("lift", at - 10_000)
        point = 0.3 if above else (trace.moves[2].move.start_position + trace.moves[2].move.target) / 2
        assert before < point <= here if above else here <= point < before


def test_a_passing_that_nothing_brings_about_is_told(tmp_path):
    passing = wait("until other past 60 %")
    plan = a_plan(tmp_path, [passing, {"move": {"hand": "x"}}, wait("1 s")], lasts="10 s")
    (doubt,) = plan_doubts(plan)
    assert doubt.key == "wait" and "nothing sends the other anywhere" in doubt.text
    battery = plan.robot.battery[0]
    trace, plant = play(plan, battery)
    (found,) = state_result(plan, battery, plant, trace).findings
    assert found.kind == "never_arrived" and found.line == doubt.line
    assert (
        "waited to the end of its period for the other to pass 60 % of its way, and no step sent it"
        in found.text
    )


def test_a_passing_that_comes_or_is_cut_by_another_branch_is_no_finding(tmp_path):
    passing = wait("until other past 60 %")
    steps = [{"first": [[passing], [{"move": {"hand": "x"}}, wait("arrival")]]},
             {"move": {"other": "up"}}, passing, wait("1 s")]  # fmt: skip
    plan = a_plan(tmp_path, steps)
    assert not plan_doubts(plan)
    trace, plant = play(plan, plan.robot.battery[0])
    assert not state_result(plan, plan.robot.battery[0], plant, trace).findings


ROUND = [{"move": {"other": "up"}}]


@pytest.mark.parametrize(("steps", "told"), [
    ([{"repeat": "until period_end", "steps": [wait("arrival")]}], "no time passes: it never ends"),
    ([*ROUND, {"repeat": "until period_end", "steps": [{"run": "still"}]}], "no time passes: it never ends"),
    ([{"repeat": "until period_end", "steps": [{"try": [wait("until 3 s")], "tries": 5}]}], "it never ends"),
    ([{"repeat": 10000, "steps": [{"repeat": 200, "steps": ROUND}]}, wait("1 s")], "2000000 steps"),
])  # fmt: skip
def test_a_repeat_in_which_no_time_can_pass_is_refused(tmp_path, steps, told):
    with pytest.raises(ScenarioError) as caught:
        a_plan(tmp_path, steps, routines={"still": [wait("arrival")]})
    assert told in str(caught.value) and len(caught.value.problems) == 1


def test_repeats_in_which_time_passes_are_none_of_those(tmp_path):
    full = {"when": {"holds": {"hand": "ball"}}, "do": [wait("1 s")], "otherwise": [{"leave": "repeat"}]}
    for steps in (
        [*ROUND, wait("arrival"), {"move": {"other": "down"}}, wait("arrival")],
        [{"sense": "eye", "every": "1 s", "at_most": "1 s"}],
        [wait("until 100 s")],
        [{"when": {"clock": "before 100 s"}, "do": [wait("1 s")]}],
        [full],
    ):
        plan = a_plan(tmp_path, [{"repeat": "until period_end", "steps": steps}, wait("1 s"), pick()])
        assert not [doubt for doubt in plan_doubts(plan) if doubt.key in ("when", "repeat")]


def test_a_repeat_that_stops_taking_time_is_doubted_and_then_stopped(tmp_path):
    only = {"when": {"clock": "before 2 s"}, "do": [wait("1 s")]}
    plan = a_plan(tmp_path, [{"repeat": "until period_end", "steps": [only]}])
    (doubt,) = [doubt for doubt in plan_doubts(plan) if doubt.key == "when"]
    assert "once its condition is not so, the repeat of line" in doubt.text
    with pytest.raises(ScenarioError, match="the repeat never ends"):
        run(plan)


def when(do, **conditions):
    return {"when": conditions, "do": do}


A_SECOND = [wait("1 s", **{"for": "stagger"})]
SOON = {"clock": "before 30 s"}
EMPTY, FULL, BALL = ({"holds": {"hand": what}} for what in ("nothing", "2 ball", "ball"))


@pytest.mark.parametrize(("steps", "told"), [
    ([when(A_SECOND, **EMPTY), when(A_SECOND, **BALL)], ""),
    ([when(A_SECOND, **EMPTY), when(A_SECOND, **FULL)], "line 7 asks is not so and what line 11 asks is not so"),
    ([when(A_SECOND, **FULL), when(A_SECOND, **{"not": FULL})], ""),
    ([when(A_SECOND, clock="before 30 s"), when(A_SECOND, clock="after 30 s")], ""),
    ([when(A_SECOND, clock="before 30 s"), when(A_SECOND, clock="after 40 s")], "the repeat of line"),
    ([when(A_SECOND, clock="after 0 s")], ""),
    ([when(A_SECOND, points="at_least 0")], ""),  # nothing takes any
    ([{"try": [{"move": {"other": "up"}}], "otherwise": A_SECOND}], "where nothing in its `try` fails"),
    ([when(A_SECOND, stock={"bin": 1})], ""),  # no end of them
    ([when(A_SECOND, room={"box": 1}), when(A_SECOND, points="below 5"), when(A_SECOND, points="at_least 5")], ""),
    ([when(A_SECOND, points="below 5"), when(A_SECOND, points="at_least 6")], "the repeat of line"),
    ([when([{"let_go": "hand"}], **BALL), when(A_SECOND, **{"not": BALL})], ""),
    ([{**when([when(A_SECOND, points="below 5")], **EMPTY), "otherwise": A_SECOND}], "asks is so and what line"),
    ([{**when([], **EMPTY), "otherwise": A_SECOND}], "once its condition is so"),
    # a pick that is refused fails its try at once; one that closes is waited for
    ([{"try": [early(), *A_SECOND], "otherwise": [{"move": {"other": "up"}}]}], "where its `try` fails at once"),
    ([{"try": [early(), *A_SECOND]}], "where its `try` fails at once"),
    ([{"try": [early(), *A_SECOND], "otherwise": A_SECOND}], ""),
    ([{"try": [*A_SECOND, early()], "otherwise": [{"move": {"other": "up"}}]}], ""),
    ([{"try": [pick(), wait("arrival")], "otherwise": [{"move": {"other": "up"}}]}], ""),
    ([{"try": [early(), *A_SECOND], "otherwise": [{"leave": "repeat"}]}], ""),
    ([{"try": [{"run": "early"}], "otherwise": [{"move": {"other": "up"}}]}], "where its `try` fails at once"),
    ([{"try": [{"try": [early(), *A_SECOND], "otherwise": A_SECOND}]}], ""),
    ([{**when(A_SECOND, **SOON), "otherwise": [{"try": [early(), *A_SECOND]}]}], "where a `try` fails at once, once"),
    # what picks and places change is asked
    ([when([{"try": [place(needs={"other": "down"}), *A_SECOND]}], **BALL), when(A_SECOND, **{"not": BALL})], ""),
    ([{**when(A_SECOND, **SOON), "otherwise": [place()]}], "once its condition is not so"),
    ([{**when(A_SECOND, **SOON), "otherwise": [pick()]}], "once its condition is not so"),
    ([{**when(A_SECOND, **BALL), "otherwise": [pick()]}], ""),
    ([{**when([{"move": {"other": "up"}}, *A_SECOND], **SOON), "otherwise": [wait("arrival")]}], "is not so"),
    ([{**when(A_SECOND, **SOON), "otherwise": [{"move": {"other": "up"}}, wait("arrival")]}], ""),
    ([{"repeat": 3, "steps": [{**when(A_SECOND, **SOON), "otherwise": [{"leave": "repeat"}]}]}], "is not so"),
    ([place(), wait("until 30 s")], "it comes to rounds in which no time passes"),
])  # fmt: skip
def test_a_repeat_that_stops_taking_time_is_doubted_of_any_number_of_conditions(tmp_path, steps, told):
    hold = [pick(), wait("0.3 s")]
    routines = {"early": [early(), wait("1 s")]}
    plan = a_plan(tmp_path, [{"repeat": "until period_end", "steps": steps}, *hold], routines=routines)
    doubts = [doubt.text for doubt in plan_doubts(plan) if doubt.key in ("when", "repeat")]
    assert len(doubts) == bool(told) and all(told in doubt for doubt in doubts)


def test_routines_are_given_words(tmp_path):
    routines = {"go": {"with": ["what", "time"], "steps": [{"move": {"other": "$what"}}, wait("$time")]}}
    steps = [{"run": "go", "with": {"what": "up", "time": "0.5 s"}},
             {"run": "go", "with": {"what": "down", "time": "1 s"}},
             {"move": {"hand": "x"}}, wait("1 s")]  # fmt: skip
    trace = run(a_plan(tmp_path, steps, routines=routines))
    assert sent(trace) == [("other to up", 0), ("other to down", 500), ("hand to x", 1500)]


@pytest.mark.parametrize(("steps", "routines", "words"), [
    ([{"run": "go"}], {"go": {"with": ["what"], "steps": []}}, "go has to be given what"),
    ([{"run": "go", "with": {"wht": "up", "what": "x"}}], {"go": {"with": ["what"], "steps": []}}, "did you mean"),
    ([{"run": "go", "with": {"what": "up"}}],
     {"go": {"with": ["what"], "steps": [{"run": "go", "with": {"what": "up"}}]}}, "runs itself"),
    ([{"run": "go", "with": {"what": "up"}}],
     {"go": {"with": ["what"], "steps": [{"run": "go", "with": {"what": "$what up"}}]}}, "go runs itself, given"),
    ([{"run": "go", "with": {"what": "up"}}],
     {"go": {"with": ["what"], "steps": [{"run": "on", "with": {"to": "$what up"}}]},
      "on": {"with": ["to"], "steps": [{"run": "go", "with": {"what": "$to"}}]}}, "runs itself, through go"),
    ([{"leave": "repeat"}], {}, "there is no repeat around it"),
    ([{"first": [[wait("1 s")]]}], {}, "at least two branches"),
    ([{"sense": "eye", "every": "3 s", "at_most": "1 s"}], {}, "it is over before its first look"),
    ([{"when": {"hold": {"hand": "ball"}}, "do": [wait("1 s")]}], {}, "there is no such condition"),
    ([{"when": {"seen": "eye"}, "do": [wait("1 s")]}], {}, "there is no such sense"),
    ([pick(tries=3), wait("1 s")], {}, "needs `each`"),
    ([{"sense": "eye", "of": "bin", "every": "50 ms", "latency": "80 ms ± 9 ms", "at_most": "1 s"}], {},
     "latency: every run takes this time as it is written"),
    ([wait("until lfit past 60 %")], {}, "there is no such mechanism"),
    ([{"when": {"clock": "before 101 s"}, "do": []}], {}, "outside the match, given: '101 s'; would do: 0 s to 100 s"),
    ([{"when": {"clock": "after 101 s before_end"}, "do": []}], {}, "outside the match, given: '101 s before_end'"),
])  # fmt: skip
def test_mistakes_in_such_steps_are_told(tmp_path, steps, routines, words):
    with pytest.raises(ScenarioError, match=words):
        a_plan(tmp_path, steps, routines=routines)


@pytest.mark.parametrize(("step", "words"), [
    ({"when": {}, "do": [wait("1 s")]}, ("there is nothing in it, given: 'an empty mapping'", "holds, clock")),
    ({"when": {"not": {"not": {"points": "at_least 3"}}}, "do": [wait("1 s")]}, ("a second `not` takes back",)),
    ({"try": [wait("1 s")], "trys": 3}, ("did you mean 'tries'",)),
    ({"first": {"a": 1}}, ("a list is wanted",)),
])  # fmt: skip
def test_a_mistake_in_such_a_step_is_one_message(tmp_path, step, words):
    with pytest.raises(ScenarioError) as caught:
        a_plan(tmp_path, [step, wait("1 s")])
    (problem,) = caught.value.problems
    assert all(each in str(problem) for each in words), str(problem)


def test_looking_takes_its_looks_and_its_latency(tmp_path):
    look = {"sense": "eye", "of": "bin", "every": "50 ms", "latency": "80 ms", "at_most": "1 s"}
    then = {
        "when": {"seen": "eye"},
        "do": [{"move": {"other": "yes"}}],
        "otherwise": [{"move": {"other": "no"}}],
    }
    steps = [look, then, wait("0.3 s")]
    assert sent(run(a_plan(tmp_path, steps))) == [("other to yes", 130)]
    empty = {"stations": {"bin": {"pose": POSE, "gives": "ball", "stock": 0}}}
    assert sent(run(a_plan(tmp_path, steps, game=empty))) == [("other to no", 1000)]
    # seen with 30 % at each look: at the k-th with (1-p)^(k-1) p, and not in 20 looks with 0.7^20 = 0.0008
    plan = a_plan(tmp_path, [{**look, "sees": "30 %"}, then, wait("0.3 s")])
    begun = [run(plan, Drawn(1, 0, n)).moves[0].move.start_us / 1e6 for n in range(600)]
    looks = [(at - 0.08) / 0.05 for at in begun]
    assert sum(looks) / 600 == pytest.approx(1 / 0.3, abs=4 * 2.8 / 600**0.5 + 0.2)  # ticks add up to 10 ms


def test_each_look_sees_what_is_there_at_its_instant(tmp_path):
    look = {"sense": "eye", "of": "bin", "every": "50 ms", "latency": "80 ms", "at_most": "1 s"}
    then = {
        "when": {"seen": "eye"},
        "do": [{"move": {"other": "yes"}}],
        "otherwise": [{"move": {"other": "no"}}],
    }
    steps = [pick(), wait("arrival"), look, then, wait("0.3 s")]
    bins = {"bin": {"pose": POSE, "gives": "ball", "stock": 1, "refill": "1 per 0.5 s"}}
    # taken at 0.2 s, brought at 0.5 s: the look at 0.5 s is the first to see it
    assert sent(run(a_plan(tmp_path, steps, game={"stations": bins}))) == [
        ("hand to shut", 0),
        ("other to yes", 580),
    ]
    # somebody else takes the only one at 0.1 s, before the first look at 0.15 s
    bins = {"bin": {"pose": POSE, "gives": "ball", "stock": 1}}
    others = {"neighbour": {"uses": "bin", "begins": "0 s", "every": "60 s", "stays": "0.1 s", "takes": 1}}
    slow = {**look, "every": "150 ms", "at_most": "0.6 s"}
    trace = run(a_plan(tmp_path, [slow, then, wait("0.3 s")], game={"stations": bins}, others=others))
    assert sent(trace) == [("other to no", 600)]


def test_a_hand_over_is_held_by_both_for_a_while(tmp_path):
    over = {
        "hand_over": {
            "from": "hand",
            "by": {"other": "shut"},
            "release": {"hand": "open"},
            "both_hold": "150 ms",
        }
    }
    steps = [over, wait("1 s"), {"place": {"into": "box", "by": {"other": "open"}}}, wait("0.2 s")]
    trace = run(a_plan(tmp_path, steps, start={"hand": "shut", "other": "open", "holds": {"hand": "ball"}}))
    assert sent(trace) == [("other to shut", 0), ("hand to open", 350), ("other to open", 1000)]
    assert len(trace.deliveries) == 1


def test_what_counts_at_the_end_and_what_costs_points(tmp_path):
    game = {
        "at_end": {"up": {"points": 5, "best_of": "flag"}, "half": {"points": 2, "best_of": "flag"},
                   "shut": {"points": 1}},
        "penalties": {"missed": 3}, "possession": {"limit": 1, "penalty": 4},
        "bonuses": {"pair": {"each": {"box": 2}, "points": 10}},
    }  # fmt: skip
    end = {"up": {"other": "up"}, "half": {"other": "up"}, "shut": {"hand": "shut"}}
    twice = [pick(), wait("0.3 s"), place(), wait("0.3 s")] * 2
    steps = [*twice, early(), wait("0.3 s"), pick(), wait("0.3 s"), {"move": {"hand": "open"}}, wait("0.3 s"),
             pick(), wait("0.3 s"), {"move": {"other": "up"}}, wait("0.3 s")]  # fmt: skip
    trace = run(a_plan(tmp_path, steps, game=game, at_end=end))
    assert [(award.kind, award.name, award.points) for award in trace.awards] == [
        ("penalty", "missed", -3), ("penalty", "possession", -4), ("end", "up", 5), ("end", "shut", 1),
    ]  # fmt: skip
    assert [each.bonus for each in trace.deliveries] == [0, 10]


@pytest.mark.parametrize("nothing", [{}, None])
def test_what_counts_at_the_end_and_nothing_makes_so_is_a_mistake(tmp_path, nothing):
    pose = {"pose": ["2 m", "1 m", "0 deg"], "within": "0.3 m"}
    with pytest.raises(ScenarioError) as caught:
        a_plan(tmp_path, [], game={"at_end": {"up": {"points": 5}}}, at_end={"up": nothing})
    (problem,) = caught.value.problems
    assert problem.key == "plan.at_end.up" and problem.line > 1
    # where the game states a pose, that makes it so
    game = {"at_end": {"parked": {"points": 5, **pose}}}
    assert a_plan(tmp_path, [], game=game, at_end={"parked": {}}).at_end == {"parked": ()}


@pytest.mark.parametrize(
    ("phase_us", "begin"), [(8_000, "5 ms"), (8_000, "8 ms"), (0, "5 ms"), (8_000, "9 ms")]
)
def test_an_endgame_before_the_first_tick_is_not_taken_over_by_the_first_period(tmp_path, phase_us, begin):
    endgame = {"begin": begin, "steps": [wait("20 ms"), {"move": {"other": "up"}}]}
    steps = [wait("20 ms"), {"move": {"hand": "shut"}}]
    plan = a_plan(tmp_path, steps, "2 s", endgame=endgame)
    trace = sequencer.run(
        plan, Plant(plan.robot, plan.robot.battery[0], plan.start, 2_000_000, phase_us=phase_us)
    )
    assert [one.label for one in trace.moves] == ["other to up"]
    # and a short first period not by the one before it
    game = {"periods": {"first": "5 ms", "only": "2 s"}}
    plan = a_plan(tmp_path, steps, game=game, first=[wait("50 ms"), {"move": {"other": "down"}}])
    trace = sequencer.run(
        plan, Plant(plan.robot, plan.robot.battery[0], plan.start, 2_005_000, phase_us=phase_us)
    )
    assert [one.label for one in trace.moves] == ["hand to shut"]


DRIVE = {
    "motors": {"m": {"voltage": "12 V", "free_speed": "400 rpm", "stall_torque": "2 N*m", "stall_current": "9 A",
                     "free_current": "0.2 A", "rotor_inertia": "1e-5 kg*m^2", "internal_ratio": 15}},
    "mechanisms": {
        "drive": {"kind": "mecanum", "motors": "4 x m", "wheel_diameter": "96 mm", "wheelbase": "300 mm",
                  "track": "300 mm", "grip": 0.8,
                  "control": {"loop": "position", "p": "6 /m", "d": "0.8 s/m", "window": "20 mm",
                              "slower_than": "60 mm/s"}},
        "hand": {"kind": "measured", "time": "0.2 s"}, "other": {"kind": "measured", "time": "0.2 s"},
    },
}  # fmt: skip
START = {"pose": ["2 m", "1 m", "0 deg"], "hand": "open", "other": "open"}


def test_a_station_takes_one_robot_at_a_time(tmp_path):
    # deterministic contention, 5 s each: somebody is there from 0 s to 5 s; who comes at 2 s begins at 5 s
    others = {"neighbour": {"uses": "bin", "every": "60 s", "stays": "5 s"}}
    steps = [wait("2 s", **{"for": "stagger"}), {"drive": "bin"}, wait("arrival"), pick(), wait("5 s")]
    trace = run(a_plan(tmp_path, steps, robot=DRIVE, start=START, others=others))
    assert [(q.where, q.from_us, q.to_us, q.why) for q in trace.queues] == [
        ("bin", 2_000_000, 5_000_000, "taken")
    ]
    assert trace.moves[0].move.start_us == 5_000_000


def test_a_partner_plays_its_own_plan_on_the_same_field(tmp_path):
    stations = {"bin": {"pose": POSE, "gives": "ball", "stock": 1}}
    steps = [{"drive": "bin"}, wait("arrival"), pick(), wait("0.3 s"), place(), wait("0.3 s"),
             {"drive": ["2 m", "1 m", "0 deg"]}, wait("arrival")]  # fmt: skip
    a_plan(tmp_path, steps, robot=DRIVE, start=START, game={"stations": stations})
    (tmp_path / "plan.yaml").rename(tmp_path / "second.yaml")
    plan = a_plan(tmp_path, steps, robot=DRIVE, start=START, game={"stations": stations},
                  others={"friend": {"plan": "second.yaml"}})  # fmt: skip
    trace = run(plan)
    assert trace.partner is not None
    # the first has the bin until it leaves; the other waits there, and then there is no ball left
    assert len(trace.deliveries) == 1 and not trace.partner.deliveries
    taken = next(queue for queue in trace.partner.queues if queue.why == "taken")
    leaves = trace.moves[-1].move.start_us
    assert taken.from_us == 0 and taken.to_us == leaves
    assert any(queue.why == "empty" for queue in trace.partner.queues)


HANDS = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other")}
GIVE = {
    "hand_over": {"from": "hand", "by": {"other": "shut"}, "release": {"hand": "wide"}, "both_hold": "2 s"}
}
LADEN = {"hand": "shut", "other": "open", "holds": {"hand": "ball"}}


@pytest.mark.parametrize("begins", ["0.7 s", "0.9 s", "1 s"])
def test_the_release_of_a_hand_over_carries_on_after_its_period(tmp_path, begins):
    """It belongs to the hand over, as its closing does; both go on when the period's steps are cut."""
    game = {"periods": {"only": "1 s", "second": "9 s"},
            "places": {"box": {"pose": POSE, "takes": "ball", "points": {"only": 1, "second": 1}}}}  # fmt: skip
    plan = a_plan(tmp_path, [wait(begins), GIVE, wait("5 s")], game=game, start=LADEN, second=[wait("4 s")])
    trace = run(plan)
    at = round(1000 * float(begins.split()[0]))
    assert sent(trace) == [("other to shut", at), ("hand to wide", at + 2200)]


@pytest.mark.parametrize("both", ["0.5 s", "3 s"])
def test_a_program_that_resets_forgets_the_release_of_a_hand_over(tmp_path, both):
    """Off from 1 s to 2 s: what was to be let go in that time or after it stays in both hands."""
    motor = {"voltage": "12 V", "free_speed": "5300 rpm", "stall_torque": "2 N*m", "stall_current": "40 A"}
    lift = {"kind": "slide", "motors": "2 x big", "gearing": [{"ratio": "12:1"}], "drum_diameter": "40 mm",
            "moving_mass": "3 kg", "travel": ["0 m", "0.8 m"], "control": {"loop": "full_effort"}}  # fmt: skip
    resets = {"below": "12 V", "back_above": "12.5 V", "back_after": "1 s", "stops": "program"}
    robot = {"motors": {"big": motor}, "mechanisms": {**HANDS, "lift": lift}}
    give = {"hand_over": {**GIVE["hand_over"], "both_hold": both}}
    steps = [wait("0.7 s"), give, wait("0.3 s"), {"move": {"lift": "0.5 m"}}, wait("5 s")]

    def moves(**brown_out):
        plan = a_plan(tmp_path, steps, "9 s", robot={**robot, **brown_out}, start={**LADEN, "lift": "0 m"})
        return [label for label, _ in sent(run(plan))]

    assert moves() == ["other to shut", "lift to 0.5 m", "hand to wide"]
    assert moves(brown_out={"controller": resets}) == ["other to shut", "lift to 0.5 m"]


def test_a_defender_and_an_allowance_lengthen_expected_runs_only(tmp_path):
    steps = [{"drive": "bin", "allowance": "50 %"}, wait("arrival"), {"move": {"other": "up"}}, wait("0.2 s")]
    others = {"guard": {"defends": "100 %", "delay": "2 s"}}
    plan = a_plan(tmp_path, steps, robot=DRIVE, start=START, others=others)
    nominal, drawn = run(plan), run(plan, Drawn(1, 0, 0))
    took = nominal.waits[0].ended_us - nominal.moves[0].move.start_us
    assert not nominal.queues and drawn.queues[0].why == "held_up"
    begins = drawn.moves[0].move.start_us
    assert 2_000_000 <= begins <= 2_020_000
    assert drawn.waits[0].ended_us - begins == pytest.approx(1.5 * took, abs=25_000)


@pytest.mark.parametrize("first", [True, False])
def test_at_a_periods_end_no_old_routine_takes_what_a_new_one_frees(tmp_path, first):
    """One robot leaves the bin as its second period begins; the other's first one waited for it, and is over."""
    game = {"periods": {"only": "2 s", "second": "3 s"},
            "places": {"box": {"pose": POSE, "takes": "ball", "points": {"only": 1, "second": 1}}}}  # fmt: skip
    stays = {"start": {**START, "pose": POSE}, "only": [wait("5 s")],
             "second": [{"drive": ["2 m", "2 m", "0 deg"]}, wait("1 s")]}  # fmt: skip
    comes = {"start": START, "only": [{"drive": "bin"}, wait("arrival")],
             "second": [{"move": {"hand": "shut"}}, wait("1 s")]}  # fmt: skip
    plans = [stays, comes] if first else [comes, stays]
    for one, name, others in zip(reversed(plans), ("second.yaml", "plan.yaml"), ({}, FRIEND), strict=True):
        steps = one["only"]
        rest = {key: value for key, value in one.items() if key != "only"}
        plan = a_plan(tmp_path, steps, robot=DRIVE, game=game, **rest, **others)
        (tmp_path / "plan.yaml").rename(tmp_path / name)
    trace = run(plan)
    waiting = trace.partner if first else trace
    assert [(one.label, one.period) for one in waiting.moves] == [("hand to shut", "second")]
    assert [(one.why, one.to_us) for one in waiting.queues] == [("taken", 2_000_000)]


FRIEND = {"others": {"friend": {"plan": "second.yaml"}}}


OFF = ["1 m", "2 m", "0 deg"]
BETWEEN = [
    [{"drive": OFF}, wait("1 s")],
    [{"drive": "tray"}, wait("1 s")],
    [{"run": "aside"}],
]


def delays(tmp_path, put_in, chance="50 % ± 40 %"):
    """How long a defender held up each drive to the bin and to the box, match by match; and what chances it had."""
    there = [{"drive": "bin"}, wait("1 s"), *put_in, {"drive": "box"}, wait("1 s")]
    plan = a_plan(
        tmp_path, [{"repeat": 2, "steps": there}], robot=DRIVE, start=START,
        game={"stations": {"bin": {"pose": POSE, "gives": "ball"}, "tray": {"pose": OFF, "gives": "ball"}}},
        routines={"aside": [{"drive": ["2 m", "2 m", "0 deg"]}, wait("1 s")]},
        others={"guard": {"defends": chance, "delay": "2 s ± 1 s"}},
    )  # fmt: skip
    stood, chances = [], []
    for number in range(30):
        luck = Drawn(1, number // 10, number)
        trace = run(plan, luck)
        held = {queue.to_us: queue.to_us - queue.from_us for queue in trace.queues}
        mine = [one for one in trace.moves if one.label in ("drive to bin", "drive to box")]
        stood.append([held.get(one.move.start_us, 0) for one in mine])
        chances.append(set(luck.chance.values()))
    return stood, chances


@pytest.mark.parametrize("put_in", BETWEEN)
def test_a_drive_put_in_leaves_a_defenders_luck_with_the_others_alone(tmp_path, put_in):
    stood, chances = delays(tmp_path, [])
    assert delays(tmp_path, put_in)[0] == stood
    flat = [each for match in stood for each in match]
    assert 20 < sum(each > 0 for each in flat) < 100 and len(set(flat)) > 15
    assert any(match[0] and not match[1] for match in stood)  # a drive's luck is its own
    # how good he is today is one and the same for all drives of a day
    assert all(len(each) == 1 for each in chances) and len(set.union(*chances)) == 3


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        ([{"drive": "bin", "allowance": "25 %"}, wait("arrival")], False),
        ([{"drive": "bin", "allowance": "25 %"}, wait("2 s")], True),
        ([{"drive": "bin", "allowance": "25 %"}, wait("1 s", **{"for": "settling"}), wait("arrival")], False),
        ([{"together": [[{"drive": "bin", "allowance": "25 %"}], [wait("1 s")]]}, wait("arrival")], False),
        ([{"drive": "bin"}, wait("arrival", allowance="25 %")], True),
        ([{"drive": "bin"}, wait("2 s", allowance="25 %")], False),
    ],
)
def test_an_allowance_without_effect_is_told(tmp_path, steps, told):
    doubts = plan_doubts(a_plan(tmp_path, steps, robot=DRIVE, start=START))
    found = [one for one in doubts if one.key == "allowance"]
    assert bool(found) == told
    assert all("it has no effect" in one.text for one in found)
    if told:  # and so it is
        plan = a_plan(tmp_path, steps, robot=DRIVE, start=START)
        assert run(plan, Still(1, 0, 0)).waits[-1].ended_us == run(plan).waits[-1].ended_us


class Still(Drawn):
    """Chance whose loop ticks fall as in a nominal run."""

    def share(self, *key):
        return 0.0 if key == ("phase",) else 0.5


def test_a_place_at_the_first_instant_of_a_period_is_paid_by_that_period(tmp_path):
    """What a routine does belongs to its own period; what is late in the one before still to that."""
    game = {
        "periods": {"only": "2 s", "second": "3 s"},
        "places": {"box": {"pose": POSE, "takes": "ball", "points": {"only": 5, "second": 2}}},
    }
    start = {"hand": "shut", "other": "shut", "holds": {"hand": "ball", "other": "ball"}}
    last = [wait("2 s"), {"place": {"into": "box", "by": {"other": "open"}}}]
    trace = run(a_plan(tmp_path, last, game=game, start=start, second=[place(), wait("0.3 s")]))
    assert [(each.at_us, each.period, each.points) for each in trace.deliveries] == [
        (2_000_000, "only", 5),
        (2_000_000, "second", 2),
    ]


def test_a_limit_that_is_shorter_than_its_tries_is_told(tmp_path):
    # a transfer that is tried again: 500 + 400 + 300 + 200 + 300 + 300 ms, up to three times in all, and a time limit
    # of 2000 ms for all of them (common practice, no source): only one can ever be finished
    again = [wait(f"{ms} ms", **{"for": "settling"}) for ms in (500, 400, 300, 200, 300, 300)]

    def told(limit):
        a_plan(tmp_path, [{"try": [pick(), *again], "tries": 3, "at_most": limit}, wait("1 s")])
        remarks = load_plan(tmp_path / "plan.yaml", KINDS)[1]
        return [remark.text for remark in remarks if remark.key == "at_most"]

    assert told("2000 ms") == [
        "3 tries take 6 s at least, and the limit is 2 s: only 1 of them can be finished"
    ]
    assert told("6 s") == []


def test_a_limit_that_is_shorter_than_the_tries_of_a_pick_in_it_is_told(tmp_path):
    def told(limit, chance="50 %"):
        grip = pick(succeeds=chance, tries=4, each="0.7 s")
        plan = a_plan(tmp_path, [{"try": [grip, wait("0.3 s")], "at_most": limit}])
        return [remark.text for remark in plan_doubts(plan) if remark.key == "at_most"]

    # by hand: three more tries of 0.7 s, and the wait
    assert told("1 s") == [
        "with all the tries of its acting steps it takes 2.4 s at least, and the limit is 1 s: "
        "the limit cuts it short"
    ]
    assert told("2.4 s") == [] and told("1 s", chance="100 %") == []


def test_a_retry_beside_a_lift_lets_it_leave_too_early(tmp_path):
    """The retry runs beside the lift, which goes after its own wait whether the element is there or not."""
    steps = [{"together": [[pick(succeeds="0 %", tries=3, each="2 s"), wait("0.3 s")],
                           [wait("1 s", **{"for": "stagger"}), {"move": {"other": "up"}}, wait("0.2 s")]]}]  # fmt: skip
    trace = run(a_plan(tmp_path, steps), Drawn(1, 0, 0))
    times = dict(sent(trace))
    assert times["hand to shut"] - times["other to up"] in range(2980, 3001)


def test_a_wait_that_swallows_the_period_is_doubted(tmp_path):
    (doubt,) = plan_doubts(a_plan(tmp_path, [{"move": {"hand": "shut"}}, wait("800 s")]))
    assert doubt.text == "800 s is no shorter than the longest period (100 s): is 800 ms meant?"
    assert not plan_doubts(a_plan(tmp_path, [{"move": {"hand": "shut"}}, wait("99 s")]))


SHUT = {"hand": "shut", "other": "open"}
STOCK = {"bin": {"pose": POSE, "gives": "ball", "stock": 2}}
EYE = {"sense": "eye", "every": "0.1 s", "at_most": "1 s", "false_alarm": "10 %"}


@pytest.mark.parametrize(("steps", "more", "key", "told"), [
    ([EYE], {}, "false_alarm", "no station is named"),
    ([{**EYE, "of": "bin"}], {}, "false_alarm", "the bin never runs out"),
    ([], {"others": {"x": {"uses": "bin", "every": "2 s", "stays": "5 s"}}}, "others.x", "it never leaves the bin"),
    ([], {"others": {"x": {"defends": "20 %", "delay": "1 s"}}}, "others.x", "the plan never drives"),
    ([], {"game": {"possession": {"limit": 1}}, "start": {**SHUT, "holds": {"hand": ["ball"] * 2}}}, "start.holds",
     "starts with 2 elements in hand, and the game allows 1"),
    ([when([], stock={"bin": 9})], {"game": {"stations": STOCK}}, "when", "what it asks is never so"),
    ([{**when([], stock={"bin": 1}), "otherwise": []}], {}, "when", "is always so: its `otherwise` is never done"),
    ([when([], holds={"other": "ball"}), pick()], {}, "when", "what it asks is never so"),
    ([pick(tries=3, each="1 s")], {}, "tries", "it always succeeds"),
    ([{"try": [{"move": {"hand": "shut"}}, wait("1 s")], "tries": 3}], {}, "try", "nothing in it can fail"),
    ([{"let_go": "other"}, pick()], {}, "let_go", "the other never has anything in hand"),
    ([{"hand_over": {"from": "other", "by": {"hand": "shut"}}}], {}, "hand_over", "the other never has anything"),
])  # fmt: skip
def test_what_has_no_effect_or_cannot_be_is_doubted(tmp_path, steps, more, key, told):
    (doubt,) = [one for one in plan_doubts(a_plan(tmp_path, steps, **more)) if one.key == key]
    assert told in doubt.text and doubt.line > 0


LIMITED = {"try": [{"move": {"other": "up"}}, wait("10 s", **{"for": "stagger"})], "at_most": "3 s",
           "otherwise": [{"move": {"hand": "aside"}}]}  # fmt: skip
LATER = wait("8 s", **{"for": "stagger"})


def test_a_limit_ends_with_the_branch_or_period_that_its_try_stands_in(tmp_path):
    # cut after 1 s, its limit of 3 s is nobody's any more: what it would do otherwise is not done
    race = {"first": [[LIMITED, {"move": {"hand": "on"}}], [wait("1 s", **{"for": "stagger"})]]}
    assert sent(run(a_plan(tmp_path, [race, LATER]))) == [("other to up", 0)]
    around = {"try": [LIMITED, {"move": {"hand": "on"}}], "at_most": "1 s"}
    trace = run(a_plan(tmp_path, [around, LATER]))
    assert sent(trace) == [("other to up", 0)] and len(trace.failures) == 1
    game = {"periods": {"first": "1 s", "only": "10 s"}}
    plan = a_plan(tmp_path, [LATER], game=game, first=[LIMITED, {"move": {"hand": "on"}}])
    assert sent(run(plan)) == [("other to up", 0)]
    endgame = {"begin": "1 s", "steps": [LATER]}
    assert sent(run(a_plan(tmp_path, [LIMITED], endgame=endgame))) == [("other to up", 0)]
