"""What `simbot move` prints: one mechanism alone, for whoever builds it. 80 columns, plain characters."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence
from math import ceil, degrees, isinf
from pathlib import PurePath
from typing import IO

from simbot.analysis.move_results import Fall, Holding, MoveNumbers, OneMove, Pull, StateNumbers, Turning, Way
from simbot.analysis.one_move import CAUSES, RPM
from simbot.physics.build import DRIVES, LIFTS_ROBOTS, SPINNING
from simbot.physics.spreads import spread_paths
from simbot.report.bars import SCALES_MS
from simbot.report.chart import chart
from simbot.scenario.model import MechanismSpec, Remark
from simbot.scenario.positions import turns_inside

WIDTH = 80
BAR = 46
GUARD_S = 0.05  # between the end of a pull and the end of the match, beside what a team wants to spare
MEANINGS = {
    "control": "effort is not full towards the target",
    "current_limit": "a limit of the controller",
    "grip": "wheels at their grip",
    "slack": "the cord is slack",
    "sag": "voltage lost before the motors",
    "torque": "voltage over their windings: near stall",
    "speed": "voltage of their back-EMF: near free speed",
}


def print_move(
    move: OneMove, remarks: Sequence[Remark], battery: str, until: float | None, stream: IO[str]
) -> None:
    """Print one mechanism; `battery` is the state whose course is drawn."""
    for line in move_lines(move, remarks, battery, until):
        print(line, file=stream)


def move_lines(move: OneMove, remarks: Sequence[Remark], battery: str, until: float | None) -> Iterator[str]:
    drawn = next(state for state in move.states if state.name == battery)
    yield from _head(move, remarks)
    yield ""
    yield from _bars(move)
    yield ""
    yield from _course(move, drawn)
    for number in range(len(drawn.moves)):
        yield ""
        yield from _move(move, number)
    yield ""
    yield from _meanings(move)
    if drawn.holdings:
        yield ""
        yield from _holding(move)
    if drawn.turning is not None:
        yield ""
        yield from _turning(move)
    if drawn.pulls:
        yield ""
        yield from _pull(move, until)
    if drawn.times:
        yield ""
        yield from _times(move)
    if move.tables is not None:
        yield ""
        yield from _tables(move)
    yield ""
    yield "Before it moves"
    for caution in cautions_of(move):
        yield from _wrapped(caution, " - ")


# --- words --------------------------------------------------------------------------------------------


def _wrapped(text: str, lead: str = " ") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_on_hyphens=False
    )


def place(move: OneMove, q: float) -> str:
    """A position: `0.42 m`, `61.3 deg`."""
    return f"{round(degrees(q), 1) + 0.0:g} deg" if move.unit == "rad" else f"{q:.4g} m"


def others_told(move: OneMove) -> str:
    """Where the mechanisms stand that its load hangs on: `arm at -20 deg`."""
    turn = {name for name in move.others if move.robot.mechanisms[name].coordinate == "angle"}
    return ", ".join(
        f"{name} at {f'{degrees(q):.4g} deg' if name in turn else f'{q:.4g} m'}"
        for name, q in move.others.items()
    )


def _spins(move: OneMove) -> bool:
    """Whether it only turns on, at a speed that is told in rpm."""
    return "travel" not in move.spec.values and move.spec.kind not in DRIVES


def _plain(value: float) -> str:
    """Three digits at least, without a power of ten."""
    return f"{value:.0f}" if abs(value) >= 99.95 else f"{value:.3g}"


def _speed(move: OneMove, v: float) -> str:
    return f"{degrees(v):.4g} deg/s" if move.unit == "rad" else f"{v:.3g} m/s"


def load_name(load: float) -> str:
    if load == 0.0:
        return "nothing in hand"
    return f"{load * 1000:.4g} g in hand" if load < 1.0 else f"{load:.4g} kg in hand"


def way_name(move: OneMove, way: Way) -> str:
    if "speed" in move.spec.values and move.spec.kind in SPINNING:
        return f"up to its {move.spec.values['speed'] * RPM:.4g} rpm"
    if "travel" not in move.spec.values and move.spec.kind not in DRIVES:
        return "up to 95 % of its steady speed"
    if move.spec.kind in DRIVES:
        return f"turn by {place(move, way.target)}" if way.turning else f"{place(move, way.target)} ahead"
    return f"{place(move, way.start)} to {place(move, way.target)}"


def about(spec: MechanismSpec, remarks: Sequence[Remark]) -> list[Remark]:
    """Remarks on a mechanism, its motor and its rail."""
    use = spec.values.get("motors")
    keys = [f"robot.mechanisms.{spec.name}", *([f"robot.motors.{use.motor}"] if use else [])]
    rail = spec.rail
    if rail is not None:
        keys.append(f"robot.rails.{rail}")
    return [
        remark
        for remark in remarks
        if any(f"robot.{remark.key.removeprefix('robot.')}.".startswith(f"{key}.") for key in keys)
    ]


def cautions_of(move: OneMove) -> Iterator[str]:
    """What can hurt here, and who decides."""
    holdings = [one for state in move.states for one in state.holdings]
    if move.spec.kind in LIFTS_ROBOTS:
        yield (
            f"A {move.spec.kind} that lifts a robot: whatever stands under it can be crushed when a cord, knot or "
            "gear lets go or the power ends. Nobody reaches under a hanging robot; try it low first, over something "
            "soft."
        )
    if move.spec.kind == "flywheel":
        yield (
            "A flywheel keeps turning and throws hard: glasses on, nobody in front of it or level with its rim, and "
            "hands off until it stands."
        )
    if any(not one.holds_off_surely for one in holdings):
        yield (
            "It does not surely hold without power: it can fall when the battery goes, the robot is disabled or "
            "a wire comes off. Block it before hands go near."
        )
    if any(one.locks for one in holdings):
        yield (
            "A linkage over its centre holds in the model because nothing in it gives. A real one flexes, wears and is "
            "shaken: let a stop carry the push and a latch or pin keep it there, and nobody be underneath."
        )
    heat = max((one.heat_w for one in holdings), default=0.0)
    if heat >= 5.0:
        yield (
            f"Holding heats its motors with up to {heat:.0f} W, and they have no fan: they get too hot to touch, "
            "weaker, and burn out in the end."
        )
    yield (
        "Whatever moves pinches: hands, hair and cords stay clear of gears, cords, joints and stops; first run "
        "slowly, one of you at the stop. A motor that is stalled burns."
    )
    yield (
        "A simulated time is never permission. The event's rules, its inspectors and the qualified adult "
        "beside the robot decide what may run."
    )


def _head(move: OneMove, remarks: Sequence[Remark]) -> Iterator[str]:
    title = f"{move.spec.name} of {move.robot.name}: {move.spec.kind}, alone on the battery"
    where = PurePath(move.robot.path).name
    yield f"{title}{where:>{max(WIDTH - len(title), len(where) + 2)}}"
    yield from _wrapped(
        "NOMINAL: nothing else moves, cold motors, every number at the middle of its spread; only floors take "
        "the favourable ends. From rest."
    )
    if move.others:
        yield from _wrapped(
            "What it carries or leans on stands still meanwhile, where a plan that does not place it begins, at the "
            f"lower end of its travel: {others_told(move)}. Elsewhere its load is another one."
        )
    names = list(
        dict.fromkeys(
            ".".join(map(str, path)) if path[0] != "battery" else f"battery.{battery.name}.{path[1]}"
            for battery in move.robot.battery
            for path in spread_paths(move.robot, battery, move.spec.name, move.spec.kind in DRIVES)
        )
    )
    if move.spec.values.get("wraps"):
        yield from _shorter_ways(move)
    if names:
        yield from _wrapped(f"With a spread: {', '.join(names)}.")
    known = about(move.spec, remarks)
    yield from _wrapped(f"Assumed or doubtful: {len(known) or 'nothing'}.")
    for remark in known:
        text = f"{remark.key.removeprefix('robot.')}: {remark.text}".replace("±", "+/-")
        yield from _wrapped(text, "  - ")


def _shorter_ways(move: OneMove) -> Iterator[str]:
    """Of what turns on: where a plan would take another way than the one from and to what is written here."""
    low, high = (float(end) for end in move.spec.values["travel"])
    for way in move.ways:
        nearest = min(turns_inside(way.target, low, high), key=lambda each: abs(each - way.start))
        if abs(nearest - way.start) < abs(way.target - way.start) - 1e-9:
            stays = abs(nearest - way.start) < 1e-9
            goes = "it stays there" if stays else f"it goes to {place(move, nearest)} instead"
            yield from _wrapped(
                f"{way_name(move, way)} is taken as written; in a plan whole turns are added to a target so that "
                f"the way is the shortest: from {place(move, way.start)} {goes}."
            )


# --- times --------------------------------------------------------------------------------------------


def _bars(move: OneMove) -> Iterator[str]:
    """Floors and arrivals of every way and state on one scale."""
    longest = max((one.arrival_s or one.floor_s or 0.0) for state in move.states for one in state.moves)
    scale = next((ms for ms in SCALES_MS if longest * 1000 <= ms * (BAR - 2)), SCALES_MS[-1])
    axis = f"|1 column = {scale} ms"
    yield f"{'':13}{axis:<{BAR + 1}} floor [ms] arrival"
    for number, first in enumerate(move.states[0].moves):
        yield f" {way_name(move, first.way)}, {load_name(first.load)}"
        for state in move.states:
            one = state.moves[number]
            arrival = "never" if one.arrival_s is None else f"{one.arrival_s * 1000:.0f}"
            floor = "-" if one.floor_s is None else f"{one.floor_s * 1000:.0f}"
            yield f"   {state.name[:9]:<9} |{_bar(one, scale):<{BAR}} {floor:>9} {arrival:>8}"
    yield "  # floor, nothing is faster  - still moving  o arrival  ? never arrives"
    for state in move.states:
        for one in state.moves:
            if one.reason:
                seen = one.first_inside_s
                inside = (
                    "" if seen is None else f"; it is inside for the first time after {seen * 1000:.0f} ms"
                )
                yield from _wrapped(
                    f"{state.name}, {way_name(move, one.way)}, {load_name(one.load)}: never for good, {one.reason}"
                    f"{inside}."
                )
            for reset in one.resets:
                yield from _wrapped(
                    f"{state.name}, {way_name(move, one.way)}, {load_name(one.load)}: {reset}."
                )


def _bar(one: MoveNumbers, scale: int) -> str:
    floor = int((one.floor_s or 0.0) * 1000 / scale + 0.5)
    if one.arrival_s is None:
        return ("#" * floor + "--?")[:BAR]
    arrival = max(int(one.arrival_s * 1000 / scale + 0.5), floor)
    bar = "#" * floor + "-" * (arrival - floor) + "o"
    return bar if len(bar) <= BAR else bar[: BAR - 1] + "~"


def _course(move: OneMove, drawn: StateNumbers) -> Iterator[str]:
    """Position over time, all ways with nothing in hand."""
    ways = [one for one in drawn.moves if one.load == 0.0]
    marks = "*+"
    spins = _spins(move)
    told = "; ".join(f"{mark} {way_name(move, one.way)}" for mark, one in zip(marks, ways, strict=False))
    what = "How fast it turns" if spins else "Where it is"
    yield f"{what}, {drawn.name}, nothing in hand: {told}"[:WIDTH]
    factor, unit = (degrees(1.0), "deg") if move.unit == "rad" else (1.0, "m")
    if spins:
        factor, unit = RPM, "rpm"
    lines = [
        (mark, one.series.t, (one.series.v if spins else one.series.q) * factor)
        for mark, one in zip(marks, ways, strict=False)
    ]
    yield from chart(lines, unit)


def _rows(
    move: OneMove, title: str, rows: Sequence[tuple[str, Callable[[StateNumbers], str]]]
) -> Iterator[str]:
    names = "".join(f"{state.name[:11]:>12}" for state in move.states)
    yield f"{title:<44}{names}" if len(title) <= 43 else title
    if len(title) > 43:
        yield f"{'':44}{names}"
    for label, value in rows:
        values = [value(state) for state in move.states]
        if any(text not in ("-", "0 %") for text in values):
            yield f" {label:<43}" + "".join(f"{text:>12}" for text in values)


def _move(move: OneMove, number: int) -> Iterator[str]:
    first = move.states[0].moves[number]

    def of(form: Callable[[MoveNumbers], str]) -> Callable[[StateNumbers], str]:
        return lambda state: form(state.moves[number])

    def share(cause: str) -> Callable[[StateNumbers], str]:
        return of(lambda one: f"{100 * one.limited_by[cause]:.0f} %")

    def stall(one: MoveNumbers) -> str:
        return "none will do" if one.stall_share_max is None else f"{100 * one.stall_share_max:.0f} %"

    unit, factor = ("deg/s", degrees(1.0)) if move.unit == "rad" else ("m/s", 1.0)
    if _spins(move):
        unit, factor = "rpm", RPM
    rows: list[tuple[str, Callable[[StateNumbers], str]]] = [
        ("energy from the battery [J]", of(lambda one: f"{one.energy_j:.1f}")),
        ("  heat in the motors' windings [J]", of(lambda one: f"{one.heat_j:.1f}")),
        (
            "  into weight and springs [J]",
            of(lambda one: f"{one.lifting_j:.1f}" if abs(one.lifting_j) >= 0.05 else "-"),
        ),
        ("battery current, peak [A]", of(lambda one: f"{one.current_peak_a:.1f}")),
        ("current of one motor, peak [A]", of(lambda one: f"{one.motor_peak_a:.1f}")),
        ("lowest bus voltage [V]", of(lambda one: f"{one.bus_min_v:.2f}")),
        (f"top speed [{unit}]", of(lambda one: _plain(one.speed_max * factor))),
        ("stall share, at its worst", of(stall)),
        *((f"held back by {cause.replace('_', ' ')}", share(cause)) for cause in CAUSES),
    ]
    yield from _rows(move, f"{way_name(move, first.way)}, {load_name(first.load)}", rows)
    if first.stall_share_max and "travel" in move.spec.values:
        yield from _wrapped(f"The stall share is worst at {place(move, first.stall_at)}.")


def _meanings(move: OneMove) -> Iterator[str]:
    seen = [
        cause
        for cause in CAUSES
        if any(one.limited_by[cause] >= 0.005 for state in move.states for one in state.moves)
    ]
    yield from _wrapped(
        "Held back by, in % of the time, adding up to 100: "
        + "; ".join(f"{cause.replace('_', ' ')}, {MEANINGS[cause]}" for cause in seen)
        + ". Full effort's time is shared out as its voltage is."
    )
    yield from _wrapped(
        "Stall share: load and friction at rest, over what the stalled motors bring on their own sag. Above "
        "100 % it does not start; above 50 % it is slow, hot and at the mercy of the battery (common practice, "
        "no source)."
    )


# --- at rest ------------------------------------------------------------------------------------------


def _holding(move: OneMove) -> Iterator[str]:
    for number, load in enumerate(move.loads):
        group = [state.holdings[number] for state in move.states]
        yield from _teeth(move, group)
        yield from _over_centre(move, load, group[0])
        if any(not one.holds_off for one in group):
            yield from _held_by_current(move, number, load, group)
        elif all(one.holds_off_surely for one in group):
            teeth = any(one.onto_tooth is not None for one in group)
            how = "its teeth, friction" if teeth else "friction"
            yield from _wrapped(
                f"With {load_name(load)} it holds wherever it stands with the power off, at the ends of all spreads "
                f"too: by {how}, gears that lock or a brake.",
                "",
            )
        else:
            yield from _wrapped(
                f"With {load_name(load)} it holds with the power off at the middle of all spreads, and NOT at their "
                "unfavourable ends: do not rely on it.",
                "",
            )


def _teeth(move: OneMove, group: list[Holding]) -> Iterator[str]:
    drop = max((one.onto_tooth for one in group if one.onto_tooth is not None), default=None)
    if drop is not None:
        yield from _wrapped(
            f"Above its first tooth, with its pawl in, it drops by at most {place(move, drop)} and a tooth holds it.",
            "",
        )


def _over_centre(move: OneMove, load: float, one: Holding) -> Iterator[str]:
    for lock in one.locks:
        push = "push along its slide towards the crank" if lock.inwards else "pull along its slide outwards"
        held = "It needs no current there"
        if lock.motor_current_a > 0.0:
            held = f"Its own load takes it off the stop unless each motor holds it with {lock.motor_current_a:.2f} A"
        past = place(move, abs(lock.stop - lock.centre))
        yield from _wrapped(
            f"Over its centre, against its stop at {place(move, lock.stop)} ({past} past the dead centre), "
            f"{load_name(load)}: a {push} does not drive it back in the model. {held}.",
            "",
        )


def _holds(one: Holding) -> str:
    return "yes" if one.holds_off_surely else "barely" if one.holds_off else "NO"


def _held_by_current(move: OneMove, number: int, load: float, group: list[Holding]) -> Iterator[str]:
    def of(form: Callable[[Holding], str]) -> Callable[[StateNumbers], str]:
        return lambda state: form(state.holdings[number])

    yield from _rows(
        move,
        f"Holding, {load_name(load)}",
        [
            ("holds with the power off", of(_holds)),
            ("current of one motor to hold, at least [A]", of(lambda one: f"{one.motor_current_a:.2f}")),
            (
                "battery current [A]",
                of(
                    lambda one: "too much" if isinf(one.battery_current_a) else f"{one.battery_current_a:.2f}"
                ),
            ),
            ("heat in all its motors [W]", of(lambda one: f"{one.heat_w:.1f}")),
        ],
    )
    yield from _wrapped(f"Worst at {place(move, group[0].at)}; friction at rest helps to hold.")
    fall = group[0].fall
    if fall is not None:
        yield from _wrapped(_fall(move, fall))


def _fall(move: OneMove, fall: Fall) -> str:
    def goes(lasts: float | None, speed: float) -> str:
        length = "is still moving after 10 s" if lasts is None else f"takes {lasts:.2f} s"
        return f"{length} and is as fast as {_speed(move, speed)}"

    alike = fall.loose_speed_max == fall.speed_max
    off = "its controller off or a wire off" if alike else "its controller off (whose diodes brake it)"
    text = (
        f"Let go at {place(move, fall.start)}, {off}, it back-drives to {place(move, fall.end)}, "
        f"{goes(fall.lasts_s, fall.speed_max)}"
    )
    if not alike:
        text += f"; with a wire off it {goes(fall.loose_s, fall.loose_speed_max)}"
    return text + ("." if fall.braked_s is None else f"; with the motors shorted {fall.braked_s:.2f} s.")


def _turning(move: OneMove) -> Iterator[str]:
    def of(form: Callable[[Turning], str]) -> Callable[[StateNumbers], str]:
        return lambda state: "-" if state.turning is None else form(state.turning)

    def told(value: float | None, digits: int, otherwise: str = "-") -> str:
        return otherwise if value is None else f"{value:.{digits}f}"

    throws = move.states[0].turning is not None and move.states[0].turning.left is not None
    rows: list[tuple[str, Callable[[StateNumbers], str]]] = [
        ("steady speed at full effort [rpm]", of(lambda one: f"{one.steady * RPM:.4g}")),
    ]
    if throws:
        rows += [
            ("an element leaves with [m/s]", of(lambda one: told(one.thrown, 2))),
            ("and takes of its speed", of(lambda one: f"{100 * (1 - (one.left or 0.0)):.2f} %")),
            ("which is back after [s]", of(lambda one: told(one.back_s, 3, "never"))),
        ]
    rows.append(("an element is pulled in within [s]", of(lambda one: told(one.pull_in_s, 3))))
    yield from _rows(move, "A throw at its own speed" if throws else "Turning freely", rows)
    if throws:
        yield from _wrapped("Back at full effort, from the speed that the element leaves it.")
    elif any(state.turning is not None and state.turning.pull_in_s is not None for state in move.states):
        yield from _wrapped("Pulled in by the rollers at their steady speed, which it does not slow down.")
    elif move.spec.kind in SPINNING:
        yield from _wrapped("How long it pulls in an element is not asked: no `pull_in`.")


def last_start_before_end(pull: Pull) -> float | None:
    """How long before the end of the match a pull must start [s], to the next 0.1 s; None: it never gets there."""
    return None if pull.reached_s is None else ceil((pull.reached_s + GUARD_S) * 10.0 - 1e-9) / 10.0


def last_start_at(pull: Pull, until: float | None) -> float | None:
    """The same on the match clock [s]; None: no end is given, or it takes longer than there is until then."""
    before = last_start_before_end(pull)
    return None if before is None or until is None or before > until else until - before


def _pull(move: OneMove, until: float | None) -> Iterator[str]:
    way = move.ways[0]
    for number, load in enumerate(move.loads):

        def of(form: Callable[[Pull], str], number: int = number) -> Callable[[StateNumbers], str]:
            return lambda state: form(state.pulls[number])

        def at(pull: Pull) -> str:
            last = last_start_at(pull, until)
            if last is None:
                return "-" if until is None or pull.reached_s is None else "none"
            return f"{last:.1f}"

        def seconds(value: float | None) -> str:
            return "never" if value is None else f"{value:.2f}"

        yield from _rows(
            move,
            f"Pull sheet, {place(move, abs(way.target - way.start))}, {load_name(load)}",
            [
                (
                    "stall share",
                    of(lambda one: "-" if one.stall_share is None else f"{100 * one.stall_share:.0f} %"),
                ),
                ("steady speed [m/s]", of(lambda one: f"{one.speed:.3f}")),
                ("time [s]", of(lambda one: seconds(one.reached_s))),
                ("stays there", of(lambda one: "NO" if one.time_s is None else "yes")),
                ("holds with the power off", of(lambda one: _holds(one.holds))),
                (
                    "last start before the end of the match [s]",
                    of(lambda one: seconds(last_start_before_end(one))),
                ),
                ("last start, on the match clock [s]", of(at)),
            ],
        )
    late = [
        state.name
        for state in move.states
        if until is not None
        and any(one.reached_s is not None and last_start_at(one, until) is None for one in state.pulls)
    ]
    if late:
        on = " and ".join([", ".join(late[:-1]), late[-1]] if len(late) > 1 else late)
        yield from _wrapped(f"By {until:g} s it cannot be done on {on}: it takes longer than that.")
    sags = any(
        one.time_s is None and one.reached_s is not None for state in move.states for one in state.pulls
    )
    if sags:
        yield from _wrapped(
            "Where it does not stay it gets there and sags back out of its window; time and last start count to when "
            "it first gets there. Teeth finer than its window, a brake or gears that lock keep it there, with the "
            "power off too; a position loop does as long as there is power, and the motors get hot."
        )
    yield from _wrapped(
        "The last start leaves 50 ms and nothing for a missed hook, a second try or a driver's late hand: take "
        "off what you want to spare."
    )


def _times(move: OneMove) -> Iterator[str]:
    way = move.ways[0]
    rail = move.spec.rail
    volts = "the battery" if rail is None else f"{move.robot.rails[rail].voltage:g} V of {rail}"
    yield from _rows(
        move,
        f"Moves from {place(move, way.start)}: angle, arrival [ms]",
        [
            (
                f"{degrees(angle):.4g} deg",
                lambda state, number=number: (  # type: ignore[misc]
                    "never"
                    if state.times[number][1] is None
                    else f"{ceil(1000 * state.times[number][1] - 1e-6)}"
                ),
            )
            for number, (angle, _) in enumerate(move.states[0].times)
        ],
    )
    frame = float(move.spec.values["frame"])
    yield from _wrapped(
        f"On {volts}, nothing in hand, counted from the command with half a signal frame; the worst frame is "
        f"{500 * frame:.0f} ms later. Arrived means within its window for good."
    )
    if way.target in (float(end) for end in move.spec.values["travel"]):
        yield from _wrapped(
            "The last angle ends at a stop of its travel, which keeps it from swinging past its window."
        )


def _tables(move: OneMove) -> Iterator[str]:
    tables = move.tables
    assert tables is not None
    angle = move.unit == "rad"
    mass, force, ratio, speed = ("kg m^2", "N m", "", "deg/s") if angle else ("kg", "N", "1/m", "m/s")
    yield f"At {tables.volts:.4g} V without sag, motors at {tables.celsius:.4g} degrees C, {load_name(tables.load)}"
    if tables.magnets is None:
        yield "(their sheet names no magnets: field as it is cold, as in a run)"
    else:
        yield f"({tables.magnets} magnets, whose field falls as they warm)"
    yield "(stalled: less gears' losses and motors' friction; free speed: less the latter)"
    yield f"{'position':>9}{'inertia':>11}{'with rotors':>12}{'load':>10}{'ratio':>10}{'stalled':>11}{'free speed':>12}"
    units = ("deg" if angle else "m", mass, mass, force, ratio, force, speed)
    yield "".join(f"{unit:>{width}}" for unit, width in zip(units, (9, 11, 12, 10, 10, 11, 12), strict=True))
    factor = degrees(1.0) if angle else 1.0
    for row in tables.rows:
        yield (
            f"{row.q * factor:9.4g}{row.mass:11.4g}{row.moved:12.4g}{row.load:10.4g}{row.ratio:10.4g}"
            f"{row.force:11.4g}{row.speed * factor:12.4g}"
        )
