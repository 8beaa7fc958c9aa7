"""The battery of a robot file: stated, measured, by chemistry, and what may be missing."""

from __future__ import annotations

import pytest

from simbot.report.understood import understood_lines

STATES = """    states:
      fresh:     {open_circuit: 13.8 V, resistance: 0.11 ohm}
      mid-event: {open_circuit: 13.2 V, resistance: 0.15 ohm ± 20 %}
      tired:     {open_circuit: 12.6 V, resistance: 0.25 ohm ± 20 %}
"""


def battery(folder, text):
    folder.edit("robot", STATES, text)
    plan, remarks = folder.load()
    return plan.robot.battery, [remark for remark in remarks if "battery" in remark.key]


def test_volts_at_rest_and_under_a_load(folder):
    states, _ = battery(
        folder, "    states: {ours: {resting: 13.1 V ± 0.02 V, loaded: 11.9 V, load: 10 A}}\n"
    )
    assert [state.name for state in states] == ["ours"]
    assert states[0].open_circuit == 13.1
    assert states[0].resistance == pytest.approx(0.12)
    assert states[0].resistance.spread == pytest.approx(0.002)
    assert (states[0].polarisation, states[0].capacity, states[0].falls) == (0.0, None, 0.0)


def test_a_chemistry_stands_for_three_states_and_says_so(folder):
    states, remarks = battery(folder, "    chemistry: nimh\n")
    assert [state.name for state in states] == ["fresh", "mid-event", "tired"]
    assert states[0].open_circuit == pytest.approx(13.9) and states[2].resistance == pytest.approx(0.275)
    assert [remark.kind for remark in remarks] == ["assumed"] * 3
    assert "10 cells" in remarks[0].text and "from memory" in remarks[0].text


def test_resistance_of_a_chemistry_against_a_published_cell(folder):
    """A nickel-metal-hydride cell of 1 Ah has about 0.06 ohm (after Larminie 2003, Table 1 of BMC Chem. 6 (S1) S2,
    read): ten of 3 Ah about 0.2 ohm, which lies between a pack in mid-event and a tired one.
    """
    states, _ = battery(folder, "    chemistry: nimh\n")
    ohms = {state.name: float(state.resistance) for state in states}
    assert ohms["fresh"] < ohms["mid-event"] < 10 * 0.06 / 3.0 < ohms["tired"]


def test_six_cells_of_another_chemistry(folder):
    states, _ = battery(folder, "    chemistry: lead_acid\n    cells: 6\n")
    assert states[1].open_circuit == pytest.approx(12.6, abs=0.01)
    assert states[1].resistance == pytest.approx(0.019, abs=1e-4)


def test_what_sinks_slowly_and_with_charge(folder):
    more = "    capacity: 3000 mAh\n    falls: 1.2 V\n    polarisation: {share: 50 %, settling: 15 s}\n"
    states, _ = battery(folder, STATES + more)
    assert states[1].capacity == pytest.approx(10800.0)
    assert states[1].falls == 1.2
    assert states[1].polarisation == pytest.approx(0.075)
    assert states[1].settling == 15.0


def test_a_settling_time_that_is_not_given_is_an_assumption(folder):
    _, remarks = battery(folder, STATES + "    polarisation: {share: 50 %}\n")
    assert "20 s" in remarks[0].text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("    cells: 10\n", ["chemistry: nimh"]),
        ("    chemistry: nihm\n", ["'nihm'", "nimh"]),
        ("    states: {ours: {resting: 11 V, loaded: 11.9 V, load: 10 A}}\n", ["'11.9 V'", "11 V"]),
        (STATES + "    falls: 1 V\n", ["capacity: 3 Ah"]),
        (STATES + "    capacity: 3000\n", ["'3000'", "Ah or mAh"]),
        ("    states: {}\n", ["at least one state"]),
    ],
)  # fmt: skip
def test_mistakes(folder, text, words):
    folder.edit("robot", STATES, text)
    problems = folder.problems()
    assert len(problems) == 1
    assert all(word in str(problems[0]) for word in words), str(problems[0])


def test_all_of_it_is_told_back(folder):
    more = "    capacity: 3000 mAh\n    falls: 1.2 V\n    polarisation: {share: 50 %, settling: 15 s}\n"
    folder.edit("robot", STATES, STATES + more + "  fuse: {rating: 20 A}\n  brown_out: {controller: 6.8 V}\n")
    plan, remarks = folder.load()
    text = " ".join(" ".join(understood_lines(plan, remarks)).split())
    for told in (
        "mid-event: 13.2 V behind 0.15 ohm, 0.075 ohm more within 15 s, 1.2 V less when 3 Ah are taken",
        "fuse 20 A, time constant 2 s",
        "resets controller: below 6.8 V of the bus",
    ):
        assert told in text
