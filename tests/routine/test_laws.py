"""What holds for every plan, whatever its steps: tried on random ones."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from plans import drive, move, need, pick, place, plan, repeat, sequence, spot, station, together, wait
from stopwatch import plant_for, straight, words

from simbot.analysis.states import state_result
from simbot.routine.sequencer import run
from simbot.scenario.model import Plan, Step

LOOP = 20_000
TIMES = st.sampled_from([0.0, 0.013, 0.02, 0.1, 0.25, 0.7])
PLACES = st.sampled_from([0.0, 0.1, 0.35])


def leaves() -> st.SearchStrategy[Step]:
    needs = st.lists(st.builds(need, st.just("lift"), PLACES, st.just(0.05)), max_size=1)
    return st.one_of(
        st.builds(lambda lift, arm: move(lift=lift, arm=arm), PLACES, PLACES),
        st.builds(drive, PLACES),
        st.builds(wait, TIMES),
        st.builds(lambda limit: wait(at_most=limit), TIMES),
        st.builds(lambda length: wait(length, purpose="settling"), TIMES),
        st.builds(lambda asked: pick(*asked), needs),
        st.builds(lambda asked: place(*asked), needs),
    )


def steps() -> st.SearchStrategy[list[Step]]:
    block = st.lists(leaves(), min_size=1, max_size=4)
    return st.lists(
        st.one_of(
            leaves(),
            st.builds(lambda *branches: together(*(sequence(*one) for one in branches)), block, block),
            st.builds(lambda body: repeat(*body, wait(0.1), times=2), block),
        ),
        min_size=1,
        max_size=8,
    )


def made(autonomous: list[Step], driver: list[Step]) -> Plan:
    return plan(
        *autonomous, driver=(repeat(*driver, wait(0.3)),), lasts=(1.5, 3.0), endgame=1.0, mass=0.2,
        on={"hand": "lift"}, holds={"hand": ("peg",)}, stations=(station(2, (1, 0.77)),),
        places=(spot(room=3, points=5, bonus=4, clearing=0.31),),
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(steps(), steps())
def test_laws(autonomous: list[Step], driver: list[Step]) -> None:
    scenario = made(autonomous, driver)

    def once():  # type: ignore[no-untyped-def]
        plant = plant_for(
            scenario, hand=words(0.2), lift=straight(1.0), arm=straight(0.5), drive=straight(1.0)
        )
        trace = run(scenario, plant)
        return trace, plant, state_result(scenario, scenario.robot.battery[0], plant, trace)

    trace, plant, state = once()

    for (
        record
    ) in trace.waits:  # code goes on at ticks, no sooner than it wanted and no later than the next tick
        if record.cut:
            assert record.ended_us in (1_500_000, 4_500_000)
            continue
        assert record.ended_us % LOOP == 0
        if record.written_us is not None:
            assert 0 <= record.ended_us - record.began_us - record.written_us < LOOP

    timed = [index for record in trace.waits if not record.cut for index in record.moves]
    assert len(timed) == len(set(timed)), "a move is timed by one wait at most"

    at = [record.move.start_us for record in trace.moves]
    assert at == sorted(at)

    held = sum(picked.held_us is not None for picked in trace.picks)
    placed = sum(delivery.number for delivery in trace.deliveries)
    assert placed <= 1 + held, "nothing is placed that was never in hand"
    loads = [mass for _, _, mass in plant.payloads]
    assert all(mass >= 0 for mass in loads)

    assert state.points["total"] == sum(one.points + one.bonus for one in trace.deliveries)
    assert sum(value or 0 for key, value in state.points.items() if key != "total") == state.points["total"]
    if state.time is not None:
        shares = (state.time.driving_s, state.time.moving_s, state.time.stations_s, state.time.timers_s,
                  state.time.given_away_s)  # fmt: skip
        assert min(shares) >= -1e-12
        assert abs(sum(shares) - (state.cycle_time_s or 0.0)) < 1e-9

    assert once()[2] == state, "the same plan gives the same result"
