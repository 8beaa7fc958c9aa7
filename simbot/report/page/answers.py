"""The answers: a sentence a question and plan, and the evidence for each in miniature."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.analysis.results import Finding, MoveResult
from simbot.report.document import Document
from simbot.report.labels import digits_apart
from simbot.report.page import say
from simbot.report.page.evidence import batteries, changes, is_breaking, ms_of, ranges
from simbot.report.page.parts import PlanPart, Studies
from simbot.report.summary import sure_where

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
    return Answer("plan", "Which plan", ([("strong", match["plan"]), ("", text)],), (note,), ranges([match]))


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
    luck = f"seed {document['seed']}, battery {say.listed(document['battery'])}"
    played = f"{document['runs']} matches of each under the same luck, {luck}."
    if closest["chance_tie"] == 1.0:
        says: Pieces = [
            ("strong", name),
            ("", f" and {other} are equal: they score the same in every match."),
        ]
        return Answer("plan", "Which plan", (says,), (played,), ranges(plans))
    digits = digits_apart(apart)
    if closest["settled"]:
        says = [
            ("strong", name),
            ("", f" scores more than {other}: "),
            ("strong", f"{apart:.{digits}f} points"),
            ("", " a match"),
        ]
    else:
        says = [
            ("", "Too close to say: "),
            ("strong", name),
            ("", " is "),
            ("strong", f"{apart:.{digits}f} points"),
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
            f"{name} less {other}: {say.signed(low, digits)} to {say.signed(high, digits)} points (95 %); {sure}."
        )
    notes.append(played)
    return Answer("plan", "Which plan", (says,), tuple(notes), ranges(plans))


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
    return Answer("timers", "Which timers", tuple(says), tuple(notes), changes(drawn[:3]), missing)


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
                    f"{lead}{' and '.join(timer['moves'])}, line {timer['line']}, from {ms_of(timer['now_s'])} to ",
                )
            )
            pieces.append(("strong", f"{ms_of(timer['suggested_s'])} ms"))
    for wait in tuned.get("missing_waits", ()):  # older files have none
        if len(pieces) > 1:
            pieces.append(("", "; "))
        pieces += [
            ("alarm", "put in"),
            ("", f" a wait before line {wait['line']}, for the {say.listed(wait['needs'])}, of "),
            ("strong", f"{ms_of(wait['wait_s'])} ms"),
        ]
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


# --- what breaks first --------------------------------------------------------------------------------


def _what_breaks(parts: list[PlanPart]) -> Answer:
    says: list[Pieces] = []
    evidence = ""
    for part in parts:
        pieces, cause = _breaks(part)
        says.append(pieces)
        if cause is not None and not evidence:
            evidence = batteries(part, cause)
    return Answer("breaks", "What breaks first", tuple(says), (), evidence)


def _breaks(part: PlanPart) -> tuple[Pieces, MoveResult | None]:
    """What fails as the battery falls: the first finding on the strongest battery that fails."""
    name = part.plan.name
    states = [ran.state for ran in part.ran]
    failing = [ran for ran in part.ran if not ran.state.passes]
    if not failing:
        names = [ran.state.name for ran in part.ran]
        every = (
            f"on every battery, {names[0]} to {names[-1]}"
            if len(names) > 1
            else f"on its battery, {names[0]}"
        )
        every += sure_where(states)
        return [("strong", f"{name}: "), ("", f"nothing; every need is met {every}.")], None
    first = failing[0].state
    found = next(one for one in first.findings if one.fails)
    weakest = part.run.weakest_state_that_passes
    only = "only" if weakest == part.ran[0].state.name else "and stronger"
    unsure = "".join(f", {one.passes_if}" for one in states if one.name == weakest and one.passes_if)
    held = f"passes on {weakest} {only}{unsure}; " if weakest else "passes on no battery; "
    cause = _cause(part, found)
    what = "it fails"
    if cause is not None and cause.margin_us is not None and cause.margin_us < 0:
        what = f"{cause.label} is {say.ms(-cause.margin_us)} ms short"
    elif found.kind == "never_arrived" and cause is not None:
        what = f"{cause.label} never arrives"
    elif found.late_us:
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
        and not move.asked_too_soon  # its timer stands behind what it breaks
    ]
    return before[-1] if before else None
