"""The page as a reader meets it: what it asks for, what it shows, what it does by mouse, key and script reader."""

from __future__ import annotations

import json
import re
from math import degrees
from pathlib import Path

import jsonschema
import pytest
from study_documents import compare, worth

from simbot.api import run
from simbot.physics.kinds import KINDS
from simbot.report.document import run_document, schema_text
from simbot.routine.match import play
from simbot.scenario.load import load_plan

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "scenarios" / "night-market"
LANTERNS = ROOT / "scenarios" / "night-market" / "lanterns.yaml"
MINUS = "\N{MINUS SIGN}"
ROWS = """key => [...document.querySelectorAll(`.view[data-view="${key}"] table.all tbody tr`)]
  .map(row => [...row.cells].map(cell => cell.textContent))"""
STICKING_OUT = """() => [...document.querySelectorAll('main svg[role=img]:not(.run) text')]
  .filter(one => one.getClientRects().length && !one.closest('.scroller'))
  .filter(one => one.getBoundingClientRect().right > document.documentElement.clientWidth)
  .map(one => one.textContent)"""
BATTERIES = ("fresh", "mid-event", "tired")


@pytest.fixture(scope="module")
def lanterns():
    return load_plan(LANTERNS, KINDS)[0]


@pytest.fixture(scope="module")
def document(lanterns):
    """The JSON document that `simbot run` writes of the same plan."""
    return run_document(run(lanterns))


@pytest.fixture(scope="module")
def played(lanterns):
    """The run on the battery that is shown first, played anew."""
    battery = next(one for one in lanterns.robot.battery if one.name == "mid-event")
    return play(lanterns, battery)


def number(text: str) -> float:
    return float(text.strip("()").replace(MINUS, "-"))


def choose(page, battery: str) -> None:
    page.locator("fieldset.battery:visible label", has_text=battery).click()


# --- what it asks for and says ----------------------------------------------------------------------


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_request_and_no_console_line(opened, scheme):
    page = opened(color_scheme=scheme)
    for battery in BATTERIES:
        choose(page, battery)
    page.get_by_label("tins", exact=True).check()
    page.locator("#play").click()
    page.wait_for_timeout(300)
    assert page.said == []
    assert page.asked == [page.url]


def test_size(demo):
    assert (demo / "page.html").stat().st_size < 2_000_000


# --- numbers ----------------------------------------------------------------------------------------


def test_every_command_is_that_of_the_document(opened, document):
    page = opened()
    for index, battery in enumerate(BATTERIES):
        rows = page.evaluate(ROWS, f"0-{index}")
        moves = sorted(document["states"][battery]["moves"], key=lambda one: (one["start_at_s"], one["step"]))
        assert len(rows) == len(moves) > 100
        for row, move in zip(rows, moves, strict=True):
            step, label, line, start, floor, arrival, timer, margin, verdict = row[:9]
            assert (int(step), label, int(line)) == (move["step"], move["label"], move["line"])
            assert float(start) == pytest.approx(move["start_at_s"], abs=0.005001)
            for shown, key in ((floor, "floor_s"), (arrival, "arrival_s"), (timer, "timer_s")):
                assert shown == "-" if move[key] is None else number(shown) == round(1000 * move[key])
            if margin:
                assert number(margin) == pytest.approx(1000 * move["margin_s"], abs=0.5001)
            if verdict == "early":
                assert move["verdict"] in ("short", "impossible") and move["seen_arrival_s"] is not None
            elif verdict != "waits for it":
                assert verdict == (move["verdict"] or "not timed")


def test_cycle_and_points_are_those_of_the_document(opened, document):
    page = opened()
    table = page.get_by_role("table", name="The cycle and the points, nominal")
    for battery in BATTERIES:
        cells = (
            table.locator("tr", has_text="lanterns").filter(has_text=battery).locator("td").all_inner_texts()
        )
        state = document["states"][battery]
        assert cells[1:] == [
            str(state["cycles"]), f"{state['cycle_time_s']:.2f}", f"{state['points_per_s']:.3f}",
            f"{state['points']['total']:.0f}", f"{state['bus_min_v']:.2f}", f"{state['battery_energy_j'] / 1000:.2f}",
        ]  # fmt: skip


def test_the_answer_is_that_of_the_comparison(opened):
    page = opened()
    text = page.locator("#answer-plan").inner_text()
    pair = compare()["pairs"][0]
    assert (
        f"lanterns scores more than tins: {pair['difference']['value']:.1f} points a match, 91.4 to 84.1"
        in text
    )
    assert "wins 68 of 100 matches" in text
    assert "+3.1 to +11.5 points (95 %)" in text
    assert "simbot tune" in page.locator("#answer-timers").inner_text()  # the study that is not there


def test_what_breaks_first_is_the_first_finding(opened, document):
    found = document["states"]["mid-event"]["findings"][0]
    text = opened().locator("#answer-breaks").inner_text()
    assert found["text"] in text
    assert "passes on fresh only" in text


def test_changes_stand_with_their_intervals(opened):
    text = opened().locator("#match").inner_text()
    assert "+9.5 (+7.0 to +12.0)" in text
    assert "+0.4 (\N{MINUS SIGN}0.7 to +1.5), not told from nothing" in text


# --- the replay -------------------------------------------------------------------------------------


@pytest.mark.parametrize("at_ms", [0, 1240, 3380, 3860, 41_200, 104_000, 120_000])
def test_replay_stands_where_the_trace_has_it(opened, played, at_ms):
    _, plant = played
    page = opened()
    page.locator("#instant").evaluate(
        "(slider, at) => { slider.value = at; slider.dispatchEvent(new Event('input')); }", at_ms
    )
    view = page.locator('.view[data-view="0-1"] .beside')
    pose = plant.pose(1000 * at_ms)
    place = view.locator(".robot").get_attribute("transform")
    x, y, turn = map(float, re.match(r"translate\((\S+) (\S+)\) rotate\((\S+)\)", place).groups())
    assert (x, 3200 - y) == pytest.approx((1000 * pose.x, 1000 * pose.y), abs=2.5)
    assert (-turn - degrees(pose.heading)) % 360 == pytest.approx(0, abs=0.5) or (
        -turn - degrees(pose.heading)
    ) % 360 == pytest.approx(360, abs=0.5)
    shown = {
        row.locator("th").inner_text(): row.locator("td").last.inner_text()
        for row in view.locator(".gauges tbody tr").all()
    }
    for name, scale, near in (("lift", 1000.0, 1.0), ("arm", degrees(1), 0.2), ("winch", 1000.0, 1.0)):
        told = number(shown[name].replace("°", "").replace("mm", ""))
        assert told == pytest.approx(scale * plant.position(name, 1000 * at_ms), abs=near)
    assert page.locator("#clock").inner_text() == f"{at_ms / 1000:.2f} s"


def test_playing_takes_true_time_and_moves_both_drawings(opened):
    page = opened()
    assert page.locator("#instant").input_value() == "0"
    before = page.evaluate("performance.now()")
    page.locator("#play").click()
    page.wait_for_timeout(1000)
    page.locator("#play").click()
    lasted = page.evaluate("performance.now()") - before
    at = float(page.locator("#instant").input_value())
    assert 300 < at <= lasted + 50
    share = page.evaluate(
        "getComputedStyle(document.querySelector('.view:not([hidden]) .now')).getPropertyValue('--t')"
    )
    assert float(share) == pytest.approx(100 * at / 120_000, abs=0.02)


def test_steps_are_loop_ticks(opened):
    page = opened()
    for _ in range(3):
        page.locator("#on").click()
    page.locator("#back").click()
    assert page.locator("#instant").input_value() == "40"


# --- keys, scale, reading ---------------------------------------------------------------------------


def test_the_keyboard_reaches_everything(opened, document):
    page = opened()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.className") == "scroll":
            break
    assert page.evaluate("document.activeElement.className") == "scroll"
    read = page.locator("#read")
    page.keyboard.press("Home")
    moves = sorted(document["states"]["mid-event"]["moves"], key=lambda one: one["start_at_s"])
    for move in moves[:3]:
        assert f"Step {move['step']}, {move['label']}, line {move['line']}." in read.inner_text()
        page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowLeft")
    assert (
        "Step 3, arm to out, line 30. Starts at 2.74 s. Floor 594 ms, arrival 652 ms, timer 640 ms."
        in read.inner_text()
    )
    assert "Short, \N{MINUS SIGN}12 ms: breaks what follows." in read.inner_text()
    page.keyboard.press("ArrowUp")  # the lane above: its wait that lies nearest in time
    assert "gripper to open, line 32" in read.inner_text()
    page.keyboard.press("ArrowDown")
    assert "arm to in, line 35" in read.inner_text()
    page.keyboard.press("3")
    assert page.locator('.view[data-view="0-2"] .scroll').evaluate("box => box === document.activeElement")
    page.keyboard.press(" ")
    page.wait_for_timeout(300)
    page.keyboard.press(" ")
    at = int(page.locator("#instant").input_value())
    assert at > 0
    page.wait_for_timeout(200)
    assert int(page.locator("#instant").input_value()) == at


def test_scale(opened):
    page = opened()
    box = page.locator(".view:not([hidden]) .scroll").first
    wide = box.evaluate("box => box.scrollWidth")
    page.locator("#closer").click()
    assert box.evaluate("box => box.scrollWidth") > wide
    page.locator("#whole").click()
    assert box.evaluate("box => box.scrollWidth - box.clientWidth") <= 1


def test_pointing_at_a_wait_reads_it(opened):
    page = opened()
    page.locator('.view[data-view="0-1"] .mv[data-lane="arm"]').first.hover(force=True)
    assert "arm to out, line 30" in page.locator("#read").inner_text()


def test_the_missed_connection_is_drawn(opened):
    page = opened()
    view = page.locator('.view[data-view="0-1"]').first
    assert view.locator(".link").count() == 1
    assert view.locator("text.letter").inner_html() == "a"
    assert page.locator('.view[data-view="1-1"]').first.locator(".link").count() == 0


def test_without_script_it_shows_all_runs(opened):
    page = opened(java_script_enabled=False)
    assert page.locator(".view:visible").count() == page.locator(".view").count() == 18
    assert page.locator("#play").is_hidden()


# --- looks ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 360])
def test_axe_finds_nothing(opened, axe, scheme, width):
    page = opened(color_scheme=scheme, viewport={"width": width, "height": 800})
    page.evaluate("() => { for (const one of document.querySelectorAll('details')) one.open = true; }")
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']}).then(done => done.violations)")
    told = [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in found]
    assert told == []


@pytest.mark.parametrize("width", [360, 761, 1024])
def test_nothing_sticks_out(opened, width):
    page = opened(viewport={"width": width, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(STICKING_OUT) == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints(opened, paper):
    page = opened()
    pdf = page.pdf(format=paper)
    assert pdf.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 12
    page.emulate_media(media="print")
    assert page.locator("#play").is_hidden()
    assert page.locator(".view:visible").count() == 4  # each plan's timeline and field on one battery
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"


def test_dark_is_dark(opened):
    page = opened(color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(14, 23, 22)"


def test_names_stay_text(opened, tmp_path, browser):
    """A scenario whose names are markup: nothing of it runs, all of it is shown."""
    from simbot.cli import status

    evil = "<script>document.title='run'</script>\"&amp;'</script>"
    folder = ROOT / "simbot" / "starter"
    for name, said in (("game", "Practice"), ("robot", "Starter"), ("plan", "first plan")):
        text = (folder / f"{name}.yaml").read_text(encoding="utf-8")
        assert f"  name: {said}" in text
        text = text.replace(f"  name: {said}", f"  name: {json.dumps(evil)}")
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    assert status(["report", str(tmp_path / "plan.yaml"), "--out", str(tmp_path / "page.html")]) == 0
    page = opened(tmp_path / "page.html")
    assert page.said == []
    assert evil in page.title()
    assert page.locator("h1").inner_text() == evil[0].upper() + evil[1:]
    assert page.evaluate("document.scripts.length") == 2


OVERPRINTED = """
[...document.querySelectorAll('.evidence svg')].flatMap(drawing => {
  const boxes = [...drawing.querySelectorAll('text')].map(each => [each.textContent, each.getBoundingClientRect()]);
  const place = drawing.getBoundingClientRect();
  const out = boxes.filter(([, box]) => box.right > place.right + 1).map(([text]) => text);
  boxes.forEach(([text, one], at) => boxes.slice(at + 1).forEach(([other, two]) => {
    const over = one.left < two.right - 1 && two.left < one.right - 1;
    if (over && one.top < two.bottom - 5 && two.top < one.bottom - 5) out.push(`${text} / ${other}`);
  }));
  return out;
})"""


@pytest.mark.parametrize("width", [1280, 360])
def test_long_names_of_plans_are_folded_beside_the_answers(opened, tmp_path, width):
    """Neither over the numbers nor out of the drawing."""
    from simbot.cli import status

    names = {
        "lanterns": "high and low with a quick first cycle",
        "tins": "tins_from_the_chute_alone_all_match_long",
    }
    for name in ("game", "robot"):
        (tmp_path / f"{name}.yaml").write_bytes((DEMO / f"{name}.yaml").read_bytes())
    for name, long in names.items():
        text = (
            (DEMO / f"{name}.yaml").read_text(encoding="utf-8").replace(f"name: {name}", f"name: {long}", 1)
        )
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "studies").mkdir()
    text = json.dumps(compare())
    for name, long in names.items():
        text = text.replace(f'"{name}"', f'"{long}"')
    (tmp_path / "studies" / "compare.json").write_text(text, encoding="utf-8")
    plans = [str(tmp_path / f"{name}.yaml") for name in names]
    out = ["--studies", str(tmp_path / "studies"), "--out", str(tmp_path / "page.html")]
    assert status(["report", *plans, *out]) == 0
    page = opened(tmp_path / "page.html", viewport={"width": width, "height": 900})
    assert page.locator("#answer-plan svg text").count() >= 6
    assert page.evaluate(OVERPRINTED) == []


def test_the_points_of_a_match_fit_a_telephone(opened):
    """And a table that does not has a shade where it goes on."""
    page = opened(viewport={"width": 360, "height": 740})
    points = page.get_by_role("region", name="Points of a match")
    assert points.evaluate("each => each.scrollWidth <= each.clientWidth")
    waits = page.get_by_role("region", name="Every wait of lanterns")
    assert "gradient" in waits.evaluate("each => getComputedStyle(each).backgroundImage")


@pytest.mark.parametrize("made", [compare, worth], ids=["compare", "worth"])
def test_the_studies_shown_have_the_published_form(made):
    jsonschema.validate(made(), json.loads(schema_text(made()["document"])))
