"""Cases from practice. All figures: common practice, no source; good to about 10 %."""

# ruff: noqa: E501 - a plan reads better with one step a line

from __future__ import annotations

import pytest

from simbot import api
from simbot.scenario.errors import SimbotError
from simbot.studies.knobs import knobs_of, with_timers
from simbot.studies.rule import Rule
from simbot.studies.tune import tune

SERVO_ARM = """
    arm: {kind: servo, speed: 0.23 s/60deg, stall_torque: 13 kgf*cm, at: 6 V, rail: rail, travel: [0 deg, 180 deg], range: 180 deg, window: 3 deg, named: {down: 0 deg, up: 180 deg}}
    lift: {kind: measured, time: 0.5 s}
  order:
    - {mechanism: lift, may_move_when: {arm: below 20 deg}}
"""
RAILS = "\n  rails:\n    rail: {voltage: 6 V, current_limit: 5 A, regulator: switching}"


def test_an_arm_timed_2000_up_and_300_down(folder):
    """A servo of 180 degrees at 0.23 s/60deg: 0.69 s without load; the lift starts while the arm is still out."""
    body = (
        "  autonomous:\n    - move: {arm: up}\n    - wait: 2000 ms\n    - move: {arm: down}\n    - wait: 300 ms\n"
        "    - move: {lift: low}\n    - wait: 560 ms\n"
    )
    plan = folder.write(body, SERVO_ARM, "{arm: down, lift: high}", more=RAILS)
    result = tune(plan)
    up, down, _ = result.timers
    assert 0.39e6 <= up.floor_us <= 1.0e6
    assert 2 <= up.now_us / up.arrival_us <= 5 and "gives time away" in up.reason
    assert {state.verdict for state in down.states} == {"impossible"}
    assert down.suggested_us >= down.arrival_us + 50_000 and down.suggested_us > 690_000
    knobs = knobs_of(plan)
    values = [timer.suggested_us for timer in result.timers]
    for ran, breaks in ((plan, True), (with_timers(plan, knobs, values), False)):
        kinds = {one.kind for state in api.run(ran).states for one in state.findings}
        assert ("order_broken" in kinds) == breaks


LIFT = """
    lift:
      kind: slide
      rigging: cascade
      stages: 1
      motors: 2 x gearmotor
      gearing: [{ratio: 1:1, efficiency: 75 %}]
      drum_diameter: 38 mm
      moving_mass: 3.2 kg
      friction: 8 N
      travel: [0 m, 0.9 m]
      control: {loop: full_effort, window: 15 mm}
    claw: {kind: measured, time: 0.2 s}
"""
GEARMOTOR = """
  motors:
    gearmotor: {voltage: 12 V, free_speed: 312 rpm, stall_torque: 24.3 kgf*cm, stall_current: 9.2 A, source: illustrative}"""
THREE = """
      at_13_5: {open_circuit: 13.5 V, resistance: 0.1 ohm}
      at_12_5: {open_circuit: 12.5 V, resistance: 0.1 ohm}
      at_11_5: {open_circuit: 11.5 V, resistance: 0.1 ohm}"""


def test_a_lift_by_time_fails_first_where_the_next_step_comes_at_2_0_s(folder):
    """Arrives after 1.65 s at 13.5 V, 1.83 at 12.5, 2.05 at 11.5; one element waits 2.6 s, another 2.0 s."""
    game = """
simbot: 1
game:
  name: bench
  field: {length: 3 m, width: 3 m}
  periods: {autonomous: 30 s}
  elements: {puck: {}}
  places:
    bin: {pose: [1 m, 1 m, 0 deg], takes: puck, points: 5}
"""
    place = "place: {into: bin, by: {claw: open}, needs: {lift: 0.9 m within 15 mm}, count: 1, else: dropped}"
    body = (
        f"  autonomous:\n    - move: {{lift: 0.9 m}}\n    - wait: 2600 ms\n    - {place}\n    - wait: 300 ms\n"
        f"    - move: {{lift: 0 m}}\n    - wait: 3000 ms\n    - move: {{lift: 0.9 m, claw: shut}}\n    - wait: 2000 ms\n    - {place}\n    - wait: 300 ms\n"
    )
    plan = folder.write(
        body,
        LIFT,
        "{lift: 0 m, claw: shut, holds: {claw: [puck, puck]}}",
        states=THREE,
        more=GEARMOTOR,
        game=game,
    )
    result = tune(plan)
    first = result.timers[0]
    second = next(timer for timer in result.timers if timer.now_us == 2_000_000)
    arrivals = [state.arrival_us * 1e-6 for state in first.states]
    assert arrivals == pytest.approx([1.65, 1.83, 2.05], rel=0.1)
    assert {state.verdict for state in first.states} == {"slack"}
    assert [totals.passes for totals in result.before.values()] == [True, True, False]
    assert second.states[2].consequence == "breaking"
    assert second.suggested_us >= second.arrival_us + 50_000 > 2_000_000
    assert all(totals.passes for totals in result.after.values())
    assert first.suggested_us < 2_600_000


def test_one_seasons_constants(folder):
    """Slides 1 -> 0.5 s, arm 1 -> 0.6, deposit 1 -> 0.6, intake reverse 0.3 -> 0.15; the transfer keeps 1 s.

    Their sum falls from 4.3 to 2.85 s, 1.45 s a cycle. The moves here take what leaves the new ones 50 ms.
    """
    moves = {
        "slides": (1.0, 0.5),
        "arm": (1.0, 0.6),
        "deposit": (1.0, 0.6),
        "intake": (0.3, 0.15),
        "transfer": (1.0, 1.0),
    }
    mechanisms = "".join(
        f"    {name}: {{kind: measured, time: {new - 0.05:g} s}}\n" for name, (_, new) in moves.items()
    )
    mechanisms += "    hand: {kind: measured, time: 0 s}\n"
    steps = "".join(
        f"        - move: {{{name}: {{}}}}\n        - wait: {old:g} s\n" for name, (old, _) in moves.items()
    )
    there, back = (steps.replace("{}", word).replace("{{", "{").replace("}}", "}") for word in ("on", "back"))
    place = (
        "        - pick: {element: puck, from: tray, by: {hand: shut}}\n        - wait: arrival\n"
        "        - place: {into: bin, by: {hand: open}, else: dropped}\n"
    )
    body = f"  autonomous:\n    - repeat: 3\n      steps:\n{there}{place}{back}{place}"
    start = "{" + ", ".join(f"{name}: back" for name in moves) + ", hand: open}"
    result = tune(folder.write(body, mechanisms, start, loop="10 ms"))
    suggested = {
        label.split(" ")[0]: timer.suggested_us * 1e-6 for timer in result.timers for label in timer.labels
    }
    del suggested["hand"]  # it opens on the way, and takes no time
    assert suggested == {name: new for name, (_, new) in moves.items()}
    before, after = result.before["mid-event"], result.after["mid-event"]
    assert before.cycle_time_s == pytest.approx(4.3) and after.cycle_time_s == pytest.approx(2.85)


OWN = "base - (50*volts - 600)"


def test_a_home_made_rule_is_right_only_near_600_ms():
    """Subtracting 50 ms a volt above 12 V from every sleep, against base * 12 / volts; figures at 13.5 V."""
    own, proportional = Rule(OWN), Rule("base * 12 / volts")
    bases = (100, 350, 600, 1200, 2000)
    assert [own.ms(base, 13.5) for base in bases] == [25, 275, 525, 1125, 1925]
    assert [round(proportional.ms(base, 13.5)) for base in bases] == [89, 311, 533, 1067, 1778]
    assert own.ms(100, 14) == 0
    assert own.ms(2000, 13.5) - proportional.ms(2000, 13.5) == pytest.approx(147, abs=1)
    errors = [abs(own.ms(base, 13.5) - proportional.ms(base, 13.5)) for base in bases]
    assert min(errors) == errors[2] < 10 < sorted(errors)[1]


def test_a_rule_beside_the_moves_and_in_the_whole_plan(folder):
    body = "  autonomous:\n    - move: {lift: 0.9 m}\n    - wait: 2000 ms\n    - move: {claw: open}\n    - wait: 100 ms\n"
    plan = folder.write(body, LIFT, "{lift: 0 m, claw: shut}", states=THREE, more=GEARMOTOR)
    rule = tune(plan, rule=OWN).rule
    lift, claw = rule.timers
    assert [state.rule_us for state in lift.states] == [1_925_000, 1_975_000, 2_025_000]
    assert [state.error_us for state in lift.states] == [
        state.rule_us - state.arrival_us for state in lift.states
    ]
    assert lift.rule_slope == pytest.approx(-0.05) and lift.right_slope == pytest.approx(-0.2, abs=0.04)
    assert claw.right_slope == 0 and [state.verdict for state in claw.states] == ["short"] * 3
    assert list(rule.after) == ["at_13_5", "at_12_5", "at_11_5"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("base -", "not a formula"), ("", "not a formula"), ("__import__('os')", "begins something else"),
        ("base ** 2", "begins something else"), ("base.real", "begins something else"), ("bas + 1", "did you mean 'base'"),
        ("base if volts else 1", "begins something else"), ("max(base)", "two values"), ("base / 0", "divides by zero"),
        ("1e999 * base", "no finite value"), ("base * " * 50 + "base", "at most 200"), ("'a' * base", "begins something else"),
        ("(" * 150 + "base" + ")" * 40, "not a formula"), ("True + base", "begins something else"),
        ("max(base, volts, key=base)", "two values"), ("[base][0]", "begins something else"),
    ],
)  # fmt: skip
def test_a_rule_is_arithmetic_and_nothing_else(text, words):
    with pytest.raises(SimbotError) as caught:
        Rule(text)
    assert words in str(caught.value)


def test_rules_may_use_min_and_max():
    assert Rule("max(base - 50*(volts - 12), 100)").ms(120, 13) == 100
    assert Rule("min(-base, +volts) + 2").ms(5, 12) == -3
