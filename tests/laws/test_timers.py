"""Laws of timers: a longer one that was snug breaks nothing, all arrivals leave nothing short, tuned stays tuned."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.studies.knobs import knobs_of, with_timers
from simbot.studies.tune import tune

SLOW = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
TIMES = st.integers(50, 900)


@st.composite
def routines(draw):
    """A few rounds of picking and placing beside a flap that the place needs: times of moves and waits [ms]."""
    return [
        {
            "hand": draw(TIMES),
            "pause": draw(st.integers(1, 1500)),
            "other": draw(st.integers(1, 1500)),
            "last": draw(st.integers(1, 1500)),
        }
        for _ in range(draw(st.integers(1, 3)))
    ]


def steps_of(rounds, arrivals=False):
    def waits(time):
        return {"wait": "arrival"} if arrivals else wait(f"{time} ms")

    steps = []
    for index, one in enumerate(rounds):
        word = "up" if index % 2 == 0 else "down"
        steps += [
            pick(),
            waits(one["pause"]),
            {"move": {"other": word}},
            waits(one["other"]),
            place(needs={"other": word}),
            waits(one["last"]),
        ]
    return steps


def written(folder, rounds, arrivals=False, lasts="100 s"):
    hand = f"{rounds[0]['hand']} ms"
    mechanisms = {
        "hand": {"kind": "measured", "time": hand},
        "other": {"kind": "measured", "time": "0.4 s"},
    }
    return a_plan(Path(folder), steps_of(rounds, arrivals), lasts=lasts, robot={"mechanisms": mechanisms})


def failing(plan):
    return {(one.kind, one.line) for one in api.run(plan).states[0].findings if one.fails}


@SLOW
@given(routines(), st.integers(0, 2), st.integers(1, 2000))
def test_a_longer_timer_makes_nothing_fail_that_passed(rounds, which, more):
    """With time left in the period: every wait of the routine as tuned, snug, and one of them longer."""
    with TemporaryDirectory() as folder:
        plan = written(folder, rounds)
        knobs = knobs_of(plan)
        by_line = {timer.line: timer.suggested_us for timer in tune(plan, timers_alone=True).timers}
        values = [by_line[knob.line] for knob in knobs]
        snug = with_timers(plan, knobs, values)
        assert not failing(snug)
        values[which * len(knobs) // 3] += more * 1000
        assert not failing(with_timers(plan, knobs, values))


@SLOW
@given(routines())
def test_a_plan_of_arrivals_has_no_short_timer_and_nothing_to_tune(rounds):
    with TemporaryDirectory() as folder:
        plan = written(folder, rounds, arrivals=True)
        run = api.run(plan)
        assert not failing(plan)
        assert not [
            move for state in run.states for move in state.moves if move.verdict in ("short", "impossible")
        ]
        result = tune(plan)
        assert result.timers == () and result.early == () and result.before == result.after


@SLOW
@given(routines())
def test_a_tuned_plan_tuned_again_stays_as_it_is(rounds):
    with TemporaryDirectory() as folder:
        plan = written(folder, rounds)
        knobs = knobs_of(plan)
        first = {timer.line: timer.suggested_us for timer in tune(plan, timers_alone=True).timers}
        tuned = with_timers(plan, knobs, [first[knob.line] for knob in knobs])
        again = tune(tuned, timers_alone=True)
        assert all(abs(timer.suggested_us - timer.now_us) <= 1000 for timer in again.timers)
        assert again.before == again.after


def test_where_the_clock_runs_out_a_longer_timer_does_harm_and_tune_says_so(tmp_path):
    """Two rounds fit into the period with 100 ms to spare: what is said of a later start holds for a longer wait."""
    rounds = [{"hand": 200, "pause": 250, "other": 450, "last": 250}] * 2
    lasts = 2 * (250 + 450 + 250) - 250  # the last place is made then
    plan = written(tmp_path, rounds, lasts=f"{lasts + 100} ms")
    start = tune(plan).start
    assert start.fits_us == {"full": 100_000} and start.stairs[0].points == 1.0
    knobs = knobs_of(plan)
    values = [knob.now_us for knob in knobs]
    points = [
        api.run(with_timers(plan, knobs, [values[0] + more, *values[1:]])).states[0].points["total"]
        for more in (0, 100_000, 110_000)
    ]
    assert points == [2.0, 2.0, 1.0]
