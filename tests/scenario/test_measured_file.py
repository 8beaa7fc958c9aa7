"""Files of measured values: every way they may be written, and one clear message for each mistake."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simbot.physics.kinds import KINDS
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan, numbers_given
from simbot.scenario.measured_file import read_measured

PLAN = Path(__file__).parents[2] / "scenarios" / "night-market" / "lanterns.yaml"


@pytest.fixture(scope="module")
def plan():
    return load_plan(PLAN, KINDS)[0]


def line_of(text):
    return next(n for n, line in enumerate(PLAN.read_text(encoding="utf-8").splitlines(), 1) if text in line)


def read(tmp_path, plan, text):
    path = tmp_path / "times.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_measured(path, plan, "mid-event")


def test_times_frames_rates_and_defaults(tmp_path, plan):
    rows = read(tmp_path, plan, (
        "# Thursday, new battery\n"
        "What,From,To,Load,Value,Rate,Error,Battery,Note\n"
        "lift,0 m,620 mm,,1.04 s,,,fresh,\n"
        'lift,0 m,0.62 m,180 g,31 frames,30 fps,,,"quick, but fine"\n'
        "lift,0.62 m,0 m,,900 ms,20 ms,,tired,from the log\n"
        "\n"
        "arm,in,out,,0.7 s ± 0.1 s,,,fresh,   # by phone\n"
        "drive,,1.5 m,,1.9 s,,0.05 s,fresh,\n"
        "drive,,90 deg,,0.8 s,,,,\n"
    ))  # fmt: skip
    one, two, three, four, five, six = rows
    assert (one.line, one.value, one.method, one.period) == (3, 1.04, "stopwatch", 0.0)
    assert (one.condition.battery, one.condition.target, one.condition.load) == ("fresh", 0.62, 0.0)
    assert two.value == pytest.approx(31 / 30) and two.method == "frames" and two.condition.load == 0.18
    assert two.condition.battery == "mid-event"
    assert three.period == 0.02 and three.value == pytest.approx(0.9) and three.method == "frames"
    assert four.error == pytest.approx(0.1) and four.text == "arm in to out"
    assert five.condition.target == 1.5 and not five.condition.turning and five.error == pytest.approx(0.05)
    assert six.condition.turning and six.text == "drive 90 deg"


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_several_trials_a_row_and_units_in_the_heading(tmp_path, plan, mark):
    text = mark.join(["what", "from", "to", "trial 1 [s]", "trial 2 [s]", "trial 3 [s]"]) + "\r\n"
    text += mark.join(["lift", "0 m", "0.62 m", "1.04", "1.06", ""]) + "\r\n"
    rows = read(tmp_path, plan, b"\xef\xbb\xbf" + text.encode())
    assert [row.value for row in rows] == [1.04, 1.06] and rows[0].condition == rows[1].condition


@pytest.mark.parametrize("mark", [";", "\t"])
def test_a_decimal_comma_is_read_where_commas_part_no_cells(tmp_path, plan, mark):
    text = f"what{mark}from{mark}to{mark}value\nlift{mark}0 m{mark}0,62 m{mark}1,05 s\n"
    (row,) = read(tmp_path, plan, text)
    assert row.value == 1.05 and row.condition.target == pytest.approx(0.62)
    with pytest.raises(ScenarioError, match="the decimal sign is a point"):
        read(tmp_path, plan, text.replace("1,05 s", "1,0,5 s"))
    with pytest.raises(ScenarioError, match="the decimal sign is a point"):  # one thousand and fifty, or one?
        read(tmp_path, plan, text.replace("1,05 s", "1,050 ms"))


def test_lines_cycles_and_tries(tmp_path, plan):
    place, double = line_of("into: low_row"), line_of("move: {arm: in, lift: 0.15 m}")
    rows = read(tmp_path, plan, f"what,value\nline {place},17 of 20\nline {double} arm,0.6 s\ncycle,9.1 s\n")
    assert (rows[0].value, rows[0].tries, rows[0].condition.kind) == (17.0, 20, "tries")
    assert (rows[1].condition.line, rows[1].condition.mechanism) == (double, "arm")
    assert rows[2].condition.kind == "cycle"


HEAD = "what,from,to,load,value,rate,battery\n"


@pytest.mark.parametrize(("text", "place", "said"), [
    ("", "", "no measurement"),
    ("what,valu\n", ":1:6", "did you mean 'value'"),
    ("what,from\n", ":1:1", "no column is headed value"),
    ("what,value,value\nlift,1 s\n", None, None),
    ("what,to,to,value\n", ":1:9", "a second time"),
    (HEAD + "lfit,0 m,0.6 m,,1 s,,\n", ":2:1", "did you mean 'lift'"),
    (HEAD + "lift,0 m,0.9 m,,1 s,,\n", ":2:10", "outside the travel"),
    (HEAD + "lift,0 m,0 m,,1 s,,\n", ":2:10", "it starts where it goes"),
    (HEAD + "lift,,0.6 m,,1 s,,\n", ":2:1", "lift is measured from nowhere"),
    (HEAD + "lift,0 m,0.6 m,,1.04,,\n", ":2:17", "a number without its unit"),
    (HEAD + 'lift,0 m,0.6 m,,"1,04 s",,\n', ":2:17", "the decimal sign is a point"),
    (HEAD + "lift,0 m,0.6 m,,1.04 kg,,\n", ":2:17", "1.04 kg"),
    (HEAD + "lift,0 m,0.6 m,,0 s,,\n", ":2:17", "above 0 s"),
    (HEAD + "lift,0 m,0.6 m,,31 frames,,\n", ":2:17", "frames without their rate"),
    (HEAD + "lift,0 m,0.6 m,,31 frames,quick,\n", ":2:27", "30 fps"),
    (HEAD + "lift,0 m,0.6 m,,17 of 20,,\n", ":2:17", "only picks and places succeed"),
    (HEAD + "lift,0 m,0.6 m,,1 s,,tird\n", ":2:22", "did you mean 'tired'"),
    (HEAD + "lift,0 m,0.6 m,,1,04 s,,\n", ":2:17", "did you mean '1.04 s'"),
    (HEAD + "lift,0 m,0.6 m,,1 s,,fresh,more\n", ":2:28", "more cells than there are headings"),
    (HEAD + "hook,free,caught,,0.3 s,,\n", ":2:1", "no physics"),
    (HEAD + "intake,,,,0.3 s,,\n", ":2:1", "only turns"),
    (HEAD + "drive,0 m,1 m,,1 s,,\n", ":2:7", "a drive starts where it stands"),
    (HEAD + "line 1,,,,1 s,,\n", ":2:1", "no such command"),
    (HEAD + "cycle,0 m,,,1 s,,\n", ":2:7", "goes with a mechanism"),
    (HEAD + ",0 m,0.6 m,,1 s,,\n", ":2:1", "what was measured is not said"),
    (HEAD + "lift,0 m,0.6 m,,,,\n", ":2:1", "no value"),
])  # fmt: skip
def test_each_mistake_has_its_message(tmp_path, plan, text, place, said):
    if said is None:
        assert len(read(tmp_path, plan, "what,from,to,value,value\nlift,0 m,0.6 m,1 s,2 s\n")) == 2
        return
    with pytest.raises(ScenarioError) as told:
        read(tmp_path, plan, text)
    assert len(told.value.problems) == 1
    assert said in str(told.value) and f"times.csv{place}" in str(told.value)


def test_a_spreadsheet_s_own_file_is_told_to_be_saved_as_csv(tmp_path, plan):
    with pytest.raises(ScenarioError, match="this is a binary file, a table saved as CSV is wanted"):
        read(tmp_path, plan, b"PK\x03\x04\0\0\0")


def test_all_mistakes_come_at_once(tmp_path, plan):
    with pytest.raises(ScenarioError) as told:
        read(tmp_path, plan, HEAD + "lift,0 m,0.6 m,,1,,\nlift,0 m,0.6 m,,1 s,,\narm,in,up,,1 s,,\n")
    assert [problem.line for problem in told.value.problems] == [2, 4]


def test_numbers_of_the_files_have_their_keys_and_places():
    numbers = {each.key: each for each in numbers_given(PLAN)}
    friction = numbers["robot.mechanisms.lift.friction"]
    line = (PLAN.parent / "robot.yaml").read_text(encoding="utf-8").splitlines()[friction.line - 1]
    assert line[friction.column - 1 :].startswith("6 N ± 25 %") and friction.has_spread
    assert (friction.number, friction.unit) == (6.0, "N")
    assert friction.written(5.25, 0.5, 3) == "5.25 N ± 0.5 N"
    assert numbers["robot.mechanisms.lift.gearing.0.efficiency"].written(81.0) == "81 %"
    assert any(key.startswith("plan.routines.low") and key.endswith("succeeds") for key in numbers)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.sampled_from([
    "what", "from", "to", "value", "rate", ",", ",", ",", ";", "\t", "\n", "\n", '"', "#", "lift", "arm", "0 m",
    "0.6 m", "1", "1 s", "31 frames", "17 of 20", "line 12", "cycle", "30 fps", "±", "é", "1e999 s", "-1 s", "nan s",
    " ", "[s]",
]), max_size=40))  # fmt: skip
def test_anything_else_gives_messages_and_never_anything_but(tmp_path, plan, parts):
    try:
        rows = read(tmp_path, plan, "what,from,to,value,rate\n" + "".join(parts))
    except ScenarioError as error:
        assert error.problems
    else:
        assert rows and all(0.0 <= row.value < 3600.0 for row in rows)
