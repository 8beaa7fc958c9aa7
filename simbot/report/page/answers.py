"""The answers: a sentence a question and plan, and the evidence for each in miniature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from simbot.analysis.results import Finding, MoveResult
from simbot.report.document import Document
from simbot.report.page import marks, say
from simbot.report.page.parts import PlanPart, Studies
from simbot.report.page.svg import drawing, percent, tag, words

Pieces = list[tuple[str, str]]  # class ("", "strong", "alarm", "a", "b") and text


@dataclass(frozen=True)
class Answer:
    """One question."""

    key: str
    about: str
    says: tuple[Pieces, ...]
    notes: tuple[str, ...]
    evidence: str  # a drawing, or nothing
    command: str = ""  # that would answer it, where it is not answered


def answers(parts: list[PlanPart], studies: Studies) -> list[Answer]:
    return [_which_plan(parts, studies), _which_timers(parts, studies), _what_breaks(parts)]


# --- which plan ---------------------------------------------------------------------------------------


def _which_plan(parts: list[PlanPart], studies: Studies) -> Answer:
    given = " ".join(part.given for part in parts)
    if studies.compare is not None:
        return _compared(studies.compare)
    if len(parts) > 1:
        text = "Not compared here: no comparison stands among the studies."
        return Answer(
            "plan", "Which plan", ([("", text)],), (), "", f"simbot compare {given} --json DIR/compare.json"
        )
    match = studies.match.get(parts[0].plan.name)
    if match is None:
        text = "One plan is on this page, so there is nothing to compare it with. What it scores on average:"
        return Answer(
            "plan", "Which plan", ([("", text)],), (), "", f"simbot match {given} --json DIR/match.json"
        )
    points = match["points"]
    text = f" scores {say.plain(points['mean'], 1)} points a match on average."
    note = f"{match['runs']} matches, seed {match['seed']}, battery {say.listed(match['battery'])}."
    return Answer("plan", "Which plan", ([("strong", match["plan"]), ("", text)],), (note,), _ranges([match]))


def _compared(document: Document) -> Answer:
    plans = document["plans"]
    best = max(range(len(plans)), key=lambda number: plans[number]["points"]["mean"])
    name = plans[best]["name"]
    pairs = [pair for pair in document["pairs"] if name in (pair["first"], pair["second"])]
    closest = min(pairs, key=lambda pair: abs(pair["difference"]["value"]))
    first = closest["first"] == name
    other = closest["second"] if first else closest["first"]
    apart, interval = abs(closest["difference"]["value"]), closest["difference"]["interval"]
    won = closest["chance_first_wins"]["value"]
    wins = won if first else 1.0 - won - closest["chance_tie"]
    means = {plan["name"]: plan["points"]["mean"] for plan in plans}
    score = f"{say.plain(means[name], 1)} to {say.plain(means[other], 1)}"
    if closest["settled"]:
        says: Pieces = [
            ("strong", name),
            ("", f" scores more than {other}: "),
            ("strong", f"{apart:.1f} points"),
            ("", " a match"),
        ]
    else:
        says = [
            ("", "Too close to say: "),
            ("strong", name),
            ("", " is "),
            ("strong", f"{apart:.1f} points"),
            ("", f" ahead of {other}"),
        ]
    says.append(("", f", {score}, and wins {100 * wins:.0f} of 100 matches."))
    notes = []
    if interval is not None:
        low, high = (interval[0], interval[1]) if first else (-interval[1], -interval[0])
        sure = (
            "a rule that looks again and again settles the sign"
            if closest["settled"]
            else "0 is not ruled out for good"
        )
        notes.append(
            f"{name} less {other}: {say.signed(low, 1)} to {say.signed(high, 1)} points (95 %); {sure}."
        )
    luck = f"seed {document['seed']}, battery {say.listed(document['battery'])}"
    notes.append(f"{document['runs']} matches of each under the same luck, {luck}.")
    return Answer("plan", "Which plan", (says,), tuple(notes), _ranges(plans))


def _ranges(plans: list[Document]) -> str:
    """p10, p50 and p90 of each plan on one axis."""
    low = min(plan["points"]["p10"] for plan in plans)
    high = max(plan["points"]["p90"] for plan in plans)
    room = (high - low) * 0.08 or 1.0
    whole = high - low + 2 * room
    out, told = [], []
    for number, plan in enumerate(plans):
        points, y = plan["points"], 34 + 34 * number
        name = plan.get("name") or plan["plan"]
        ink = ink_of(number)
        x = {key: percent(points[key] - low + room, whole) for key in ("p10", "p50", "p90")}
        out.append(words(name, 0, y - 12, f"strong fill-{ink}", dx=3))
        out.append(tag("line", x1=x["p10"], x2=x["p90"], y1=y, y2=y, class_=f"range {ink}"))
        for key in ("p10", "p90"):
            out.append(tag("line", x1=x[key], x2=x[key], y1=y - 4, y2=y + 4, class_=f"tick {ink}"))
        out.append(tag("circle", cx=x["p50"], cy=y, r=4.5, class_=f"fill-{ink}"))
        out.append(words(say.plain(points["p50"]), x["p50"], y - 8, "strong halo", "middle"))
        told.append(
            f"{name}: {say.plain(points['p10'])}, {say.plain(points['p50'])}, {say.plain(points['p90'])}"
        )
    label = f"Points that one match in ten stays below, half of them, and one in ten goes above. {'; '.join(told)}."
    return drawing(out, 34 * len(plans) + 12, label)


def ink_of(number: int) -> str:
    """Class of a plan's lines: the first solid in a, the second dashed in b, further ones in ink, dotted."""
    return ("ink-a", "ink-b")[number] if number < 2 else "ink-c"


# --- which timers -------------------------------------------------------------------------------------


def _which_timers(parts: list[PlanPart], studies: Studies) -> Answer:
    says: list[Pieces] = []
    notes: list[str] = []
    drawn: list[tuple[str, Document]] = []
    missing = ""
    for part in parts:
        tuned = studies.tune.get(part.plan.name)
        if tuned is None:
            missing = missing or f"simbot tune {part.given} --json DIR/tune-{part.plan.name}.json"
            says.append([("strong", part.plan.name), ("", ": not tuned here.")])
            continue
        pieces, shown = _timers(part.plan.name, tuned)
        says.append(pieces)
        drawn += [(part.plan.name, timer) for timer in shown]
        notes.append(_gain(part.plan.name, tuned))
    return Answer("timers", "Which timers", tuple(says), tuple(notes), _changes(drawn[:3]), missing)


def is_breaking(timer: Document) -> bool:
    return any(state["consequence"] == "breaking" for state in timer["states"].values())


def _timers(name: str, tuned: Document) -> tuple[Pieces, list[Document]]:
    changed = [
        timer
        for timer in tuned["timers"]
        if timer["suggested_s"] is not None and timer["suggested_s"] != timer["now_s"]
    ]
    broken = [timer for timer in changed if is_breaking(timer)]
    longer = [timer for timer in changed if timer["suggested_s"] > timer["now_s"] and timer not in broken]
    shorter = sorted(
        (timer for timer in changed if timer["suggested_s"] < timer["now_s"]),
        key=lambda timer: timer["times"] * (timer["suggested_s"] - timer["now_s"]),
    )
    pieces: Pieces = [("strong", f"{name}: ")]
    for word, class_, timers in (("lengthen", "alarm", broken), ("shorten", "strong", shorter[:3])):
        if not timers:
            continue
        if len(pieces) > 1:
            pieces.append(("", "; "))
        pieces.append((class_, word))
        for index, timer in enumerate(timers):
            lead = ", " if index else " "
            pieces.append(
                (
                    "",
                    f"{lead}{' and '.join(timer['moves'])}, line {timer['line']}, from {_ms(timer['now_s'])} to ",
                )
            )
            pieces.append(("strong", f"{_ms(timer['suggested_s'])} ms"))
    left = len(tuned["timers"]) - len(changed)
    rest = []
    if shorter[3:]:
        rest.append(f"{len(shorter[3:])} more can be shorter")
    if longer:
        rest.append(f"{len(longer)} {'has' if len(longer) == 1 else 'have'} less than the guard to spare")
    if left:
        rest.append(f"leave the other {left}" if changed else f"leave all {left} as they are")
    if rest:
        pieces.append(("", ("; " if len(pieces) > 1 else "") + "; ".join(rest)))
    elif len(pieces) == 1:
        pieces.append(("", "it has no timers"))
    pieces.append(("", "."))
    return pieces, [*broken, *shorter]


def _gain(name: str, tuned: Document) -> str:
    before, after = tuned["before"], tuned["after"]
    weakest = tuned["weakest_state_that_passes"]
    points = _change(say.plain(before["points"]), say.plain(after["points"]), "points")
    text = f"{name} with all changes, nominal on {tuned['battery']}: {points}"
    if before["cycle_time_s"] is not None and after["cycle_time_s"] is not None:
        cycle = _change(f"{before['cycle_time_s']:.2f}", f"{after['cycle_time_s']:.2f}", "s")
        text += f", cycle {cycle}"
    passes = _change(weakest["before"] or "none", weakest["after"] or "none", "")
    text += f"; weakest battery that passes: {passes.strip()}"
    chance = tuned.get("chance")
    if chance is not None:
        gain = chance["gain_points"]
        text += f". With chance {say.signed(gain['value'], 1)} points a match"
        if gain["interval"] is not None:
            text += f" ({say.signed(gain['interval'][0], 1)} to {say.signed(gain['interval'][1], 1)})"
    return f"{text}."


def _change(before: str, after: str, unit: str) -> str:
    return f"{after} {unit}".strip() + ", as before" if before == after else f"{before} to {after} {unit}"


def _ms(duration_s: float) -> str:
    return say.plain(duration_s * 1000)


def _changes(timers: list[tuple[str, Document]]) -> str:
    """Timers as they are and as they would be better, against floor and latest arrival."""
    if not timers:
        return ""
    whole = 1.3 * max(max(one["now_s"], one["suggested_s"], one["arrival_s"] or 0.0) for _, one in timers)
    out, told = [], []
    for number, (name, one) in enumerate(timers):
        y = 54 + 62 * number
        now, better = percent(one["now_s"], whole), percent(one["suggested_s"], whole)
        floor, arrival = one["floor_s"] or 0.0, one["arrival_s"] or 0.0
        alarm = is_breaking(one)
        out.append(words(f"{' and '.join(one['moves'])}, {name}", 0, y - 40, "quiet", dx=3))
        out.append(tag("rect", x=0, y=y - 4.5, width=percent(floor, whole), height=9, class_="solid"))
        out.append(
            tag(
                "rect",
                x=percent(floor, whole),
                y=y - 3.8,
                width=percent(max(arrival - floor, 0), whole),
                height=7.6,
                class_="hollow",
            )
        )
        out.append(tag("circle", cx=percent(arrival, whole), cy=y, r=4, class_="dot"))
        out.append(tag("line", x1=better, x2=better, y1=y - 22, y2=y + 9, class_="post-new"))
        out.append(tag("use", href="#flag-break" if alarm else "#flag", x=now, y=y))
        out.append(
            tag("line", x1=now, x2=better, y1=y - 12, y2=y - 12, class_="shift alarm" if alarm else "shift")
        )
        forward = one["suggested_s"] > one["now_s"]
        out.append(
            tag(
                "use",
                href="#to-right" if forward else "#to-left",
                x=better,
                y=y - 12,
                class_="bad" if alarm else None,
            )
        )
        out.append(
            words(
                _ms(one["now_s"]), now, y - 24, None, "end" if forward else "start", dx=-3 if forward else 12
            )
        )
        out.append(
            words(
                _ms(one["suggested_s"]),
                better,
                y - 24,
                "strong",
                "start" if forward else "end",
                dx=5 if forward else -4,
            )
        )
        told.append(f"{' and '.join(one['moves'])} from {_ms(one['now_s'])} to {_ms(one['suggested_s'])} ms")
    return drawing(out, 62 * len(timers) + 4, "; ".join(told))


# --- what breaks first --------------------------------------------------------------------------------


def _what_breaks(parts: list[PlanPart]) -> Answer:
    says: list[Pieces] = []
    evidence = ""
    for part in parts:
        pieces, cause = _breaks(part)
        says.append(pieces)
        if cause is not None and not evidence:
            evidence = _batteries(part, cause)
    return Answer("breaks", "What breaks first", tuple(says), (), evidence)


def _breaks(part: PlanPart) -> tuple[Pieces, MoveResult | None]:
    """What fails as the battery falls: the first finding on the strongest battery that fails."""
    name = part.plan.name
    failing = [ran for ran in part.ran if not ran.state.passes]
    if not failing:
        names = [ran.state.name for ran in part.ran]
        every = (
            f"on every battery, {names[0]} to {names[-1]}"
            if len(names) > 1
            else f"on its battery, {names[0]}"
        )
        return [("strong", f"{name}: "), ("", f"nothing; every need is met {every}.")], None
    first = failing[0].state
    found = next(one for one in first.findings if one.fails)
    weakest = part.run.weakest_state_that_passes
    only = "only " if weakest == part.ran[0].state.name else ""
    held = (
        f"passes on {weakest}{' ' + only.strip() if only else ' and stronger'}; "
        if weakest
        else "passes on no battery; "
    )
    cause = _cause(part, found)
    what = "it fails"
    if cause is not None and cause.margin_us is not None and cause.margin_us < 0:
        what = f"{cause.label} is {say.ms(-cause.margin_us)} ms short"
    elif found.late_us is not None:
        what = f"it is {say.ms(found.late_us)} ms too early"
    pieces: Pieces = [
        ("strong", f"{name}: "),
        ("", f"{held}on {first.name} "),
        ("alarm", what),
        ("", f": {found.text}."),
    ]
    others = [ran.state.name for ran in failing[1:]]
    if others:
        pieces.append(("", f" On {say.listed(others)} it fails as well."))
    return pieces, cause


def _cause(part: PlanPart, found: Finding) -> MoveResult | None:
    state = next(ran.state for ran in part.ran if not ran.state.passes)
    before = [
        move
        for move in state.moves
        if move.line == found.cause_line
        and found.mechanism in (None, move.mechanism)
        and move.start_at_us <= found.at_us
    ]
    return before[-1] if before else None


def _batteries(part: PlanPart, cause: MoveResult) -> str:
    """The same move on every battery against its one timer."""
    same = [
        (
            ran.state.name,
            next(
                (
                    m
                    for m in ran.state.moves
                    if (m.line, m.label, m.repeat) == (cause.line, cause.label, cause.repeat)
                ),
                None,
            ),
        )
        for ran in part.ran
    ]
    rows: list[tuple[str, Any]] = [(name, move) for name, move in same if move is not None]
    whole = 1.15 * max(max(move.arrival_us or 0, move.timer_us or 0) for _, move in rows)
    out, told = [], []
    for number, (name, move) in enumerate(rows):
        y = 32 + 36 * number
        bad = move.margin_us is not None and move.margin_us < 0
        text = f"{name} {say.ms_signed(move.margin_us)} ms"
        out.append(words(text, 0, y - 10, "alarm" if bad else "strong", dx=3))
        out.append(marks.wait(move, whole, y))
        told.append(f"{name}: arrival {say.ms(move.arrival_us)} ms, timer {say.ms(move.timer_us)} ms")
    return drawing(out, 36 * len(rows) + 8, f"{cause.label}, line {cause.line}. {'; '.join(told)}.")
