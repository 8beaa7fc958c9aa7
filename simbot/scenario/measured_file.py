"""A file of measured values: times of moves, of cycles, and successes out of tries, as a spreadsheet saves them.

One measurement a row under a row of headings, separated by commas, semicolons or tabs; empty lines and what
follows a # are left out. The headings, in any order:

    what      a mechanism (`lift`); a line of the plan that commands something (`line 29`, `line 71 arm`); or
              `cycle`, from one delivery to the next
    from, to  where a mechanism starts, at rest, and goes; of a drive `to` is a distance ahead or an angle
    load      mass that it carries
    value     `1.04 s`, `31 frames`, or `17 of 20` of a pick or place; `value [s]` gives every number its unit.
              Several columns may begin with `value` or `trial`
    rate      `30 fps` or `50 Hz`: of the video or the log; without one a time is a stopwatch's
    error     `0.1 s`: what a single time may be off (k = 2), where the file knows better
    battery   a battery state of the robot
    note      whatever you like
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from simbot.scenario.errors import Fault, Problem, ScenarioError, SimbotError, ValueFault, nearest
from simbot.scenario.given import position_given
from simbot.scenario.measured import FRAMES, STOPWATCH, TRIES, Condition, Measured, text_of
from simbot.scenario.model import ActStep, DriveForStep, DriveStep, EffortStep, MechanismSpec, MoveStep, Plan
from simbot.scenario.parameters import Quantity
from simbot.scenario.plan_file import all_steps
from simbot.scenario.table_cells import Cell, cells_of, without_remark
from simbot.scenario.units import read_quantity
from simbot.scenario.yaml_reader import read_text

HEADINGS = ("what", "from", "to", "load", "value", "rate", "error", "battery", "note")
MOST = 5000  # rows
LONGEST = 10_000  # characters of a line
COMMA_WITHIN = re.compile(r"^(-?\d+),(?!\d{3}\D*$)(\d+)(?=\D*$)")  # three digits may be thousands
DECIMAL_COMMA = re.compile(r"(?:^|,)\s*(\d+,\d+\s*(?:ms|s|mm|cm|m|in|deg|kg|g|frames|fps|Hz))\s*(?:,|$)")


def read_measured(path: Path, plan: Plan, battery: str) -> tuple[Measured, ...]:
    """All measurements of a file.

    Parameters
    ----------
    path : Path
    plan : Plan
        Whose mechanisms, lines and battery states the rows name.
    battery : str
        The state of a row that names none.

    Raises
    ------
    ScenarioError
        With every mistake: line, column, what was given, what would do.
    """
    reader = _Reader(Path(path), plan, battery)
    found = tuple(reader.rows())
    if not found and not reader.problems:
        reader.fail(0, 0, "", Fault("no measurement stands in this file"))
    if reader.problems:
        raise ScenarioError(reader.problems)
    return found


def _with_point(cell: Cell, mark: str) -> Cell:
    """A cell whose number has a decimal comma, where commas part no cells: as spreadsheets save it in many lands."""
    return cell if mark == "," else replace(cell, text=COMMA_WITHIN.sub(r"\1.\2", cell.text))


class _Reader:
    def __init__(self, path: Path, plan: Plan, battery: str) -> None:
        self.path, self.plan, self.battery = path, plan, battery
        self.problems: list[Problem] = []
        self.units: dict[str, str] = {}
        self.commands = _commands(plan)

    def fail(self, line: int, column: int, key: str, fault: Fault) -> None:
        self.problems.append(
            Problem(str(self.path), line, column, key, fault.given, fault.wanted, fault.nearest, fault.text)
        )

    def rows(self) -> Iterator[Measured]:
        lines = read_text(self.path, "a table saved as CSV").splitlines()
        filled = [
            (number, line) for number, line in enumerate(lines, 1) if without_remark(line).strip(" \t,;")
        ]
        if not filled:
            return
        if len(filled) > MOST:
            self.fail(0, 0, "", Fault(f"more than {MOST} rows", str(len(filled))))
            return
        for number, line in filled:
            if len(line) > LONGEST:
                self.fail(number, 1, "", Fault(f"a line of more than {LONGEST} characters"))
                return
        mark = max(",;\t", key=filled[0][1].count)
        headings = self._headings(filled[0][0], cells_of(filled[0][1], mark))
        if headings is None:
            return
        for number, line in filled[1:]:
            comma = DECIMAL_COMMA.search(line) if mark == "," else None
            if comma is not None:
                wanted = "a decimal point, or semicolons between the cells"
                self.fail(number, comma.start(1) + 1, "", Fault("a comma inside a number", comma[1], wanted,
                          comma[1].replace(",", ".")))  # fmt: skip
                continue
            cells = [_with_point(cell, mark) for cell in cells_of(line, mark)]
            if len(cells) > len(headings) and any(cell.text for cell in cells[len(headings) :]):
                extra = next(cell for cell in cells[len(headings) :] if cell.text)
                wanted = f"{len(headings)} columns; a point as decimal sign, or the cell in quotation marks"
                self.fail(
                    number, extra.column, "", Fault("more cells than there are headings", extra.text, wanted)
                )
                continue
            yield from self._row(number, dict(zip(headings, cells, strict=False)))

    def _headings(self, line: int, cells: list[Cell]) -> list[str] | None:
        """Names of the columns; of a column of values with a number of its own."""
        names: list[str] = []
        for number, cell in enumerate(cells):
            match = re.fullmatch(r"([a-z]+)[ _]*(\d*)\s*(?:[\[(]\s*([^\])]+)\s*[\])])?", cell.text.casefold())
            word = match[1] if match else cell.text.casefold()
            word = {"trial": "value", "time": "value", "values": "value", "trials": "value"}.get(word, word)
            if not cell.text:
                names.append(f"note {number}")
                continue
            if word not in HEADINGS:
                wanted = f"a row of headings: {', '.join(HEADINGS)}"
                self.fail(
                    line,
                    cell.column,
                    "",
                    Fault("no such heading", cell.text, wanted, nearest(word, HEADINGS)),
                )
                return None
            name = f"{word} {number}" if word in ("value", "note") else word
            if name in names:
                self.fail(line, cell.column, "", Fault("this heading stands here a second time", cell.text))
                return None
            if match and match[3]:
                self.units[name] = match[3].strip()
            names.append(name)
        for needed in ("what", "value"):
            if not any(name.split()[0] == needed for name in names):
                self.fail(line, 1, "", Fault(f"no column is headed {needed}", None, ", ".join(HEADINGS)))
                return None
        return names

    def _row(self, line: int, row: dict[str, Cell]) -> Iterator[Measured]:
        before = len(self.problems)
        cells = {name: cell for name, cell in row.items() if cell.text}
        if "what" not in cells:
            self.fail(
                line,
                1,
                "what",
                Fault("what was measured is not said", None, "a mechanism, line 29, or cycle"),
            )
            return
        values = [(name, cell) for name, cell in cells.items() if name.startswith("value")]
        if not values:
            self.fail(line, 1, "value", Fault("no value", None, "1.04 s, 31 frames, or 17 of 20"))
            return
        battery = self._battery(line, cells)
        period = self._period(line, cells.get("rate"))
        error = self._quantity(line, "error", cells, "time")
        condition = self._condition(line, cells, battery)
        if condition is None or len(self.problems) > before:
            return
        for name, cell in values:
            found = self._value(line, name, cell, condition, period, error)
            if found is not None:
                yield found

    def _battery(self, line: int, cells: dict[str, Cell]) -> str:
        cell = cells.get("battery")
        if cell is None:
            return self.battery
        names = [state.name for state in self.plan.robot.battery]
        if cell.text not in names:
            self.fail(
                line,
                cell.column,
                "battery",
                Fault("no such battery state", cell.text, ", ".join(names), nearest(cell.text, names)),
            )
        return cell.text

    def _period(self, line: int, cell: Cell | None) -> float:
        """Time of a frame [s]; 0 where no rate is given."""
        if cell is None:
            return 0.0
        match = re.fullmatch(r"([\d.]+)\s*(fps|hz|/s|per second|frames/s|)", cell.text.casefold())
        try:
            if match and float(match[1]) > 0.0:
                return 1.0 / float(match[1])
            return float(read_quantity(cell.text, "time", low=1e-6, high=10.0))
        except (ValueError, ValueFault):
            self.fail(line, cell.column, "rate", Fault("no rate", cell.text, "30 fps, 50 Hz, or 20 ms"))
            return 0.0

    def _quantity(
        self, line: int, key: str, cells: dict[str, Cell], dimension: str, low: float = 0.0
    ) -> Quantity | None:
        cell = cells.get(key)
        if cell is None:
            return None
        text = cell.text
        if key in self.units and re.fullmatch(r"[-+]?[\d.]+(?:[eE][-+]?\d+)?", text):
            text = f"{text} {self.units[key]}"
        try:
            return read_quantity(text.lstrip("±").strip(), dimension, low=low)
        except ValueFault as error:
            self.fail(line, cell.column, key.split()[0], error.fault)
            return None

    # --- what ------------------------------------------------------------------------------------------

    def _condition(self, line: int, cells: dict[str, Cell], battery: str) -> Condition | None:
        what = cells["what"]
        of_line = re.fullmatch(r"line\s*(\d+)(?:\s+(\S+))?", what.text, re.IGNORECASE)
        mechanisms = self.plan.robot.mechanisms
        if of_line or what.text.casefold() in ("cycle", "cycle time"):
            for key in ("from", "to", "load"):
                if key in cells:
                    fault = Fault("goes with a mechanism, not here: the plan says it", cells[key].text)
                    self.fail(line, cells[key].column, key, fault)
        if of_line:
            return self._line(line, what, int(of_line[1]), of_line[2], battery)
        if what.text.casefold() in ("cycle", "cycle time"):
            return Condition("cycle", battery)
        if what.text not in mechanisms:
            wanted = f"{', '.join(mechanisms)}; line 29 of the plan; cycle"
            self.fail(
                line,
                what.column,
                "what",
                Fault("no such thing to measure", what.text, wanted, nearest(what.text, mechanisms)),
            )
            return None
        return self._move(line, what, mechanisms[what.text], cells, battery)

    def _line(self, line: int, what: Cell, number: int, name: str | None, battery: str) -> Condition | None:
        there = self.commands.get(number, {})
        if name is None and len(there) == 1:
            name = next(iter(there))
        if name in there:
            return Condition("line", battery, name, line=number)
        lines = ", ".join(map(str, sorted(self.commands)))
        wanted = (
            f"line {number} and one of {', '.join(there)}" if there else f"a line with a command: {lines}"
        )
        fault = Fault("this line of the plan commands several" if there and name is None else
                      "no such command stands in the plan", what.text, wanted)  # fmt: skip
        self.fail(line, what.column, "what", fault)
        return None

    def _move(
        self, line: int, what: Cell, spec: MechanismSpec, cells: dict[str, Cell], battery: str
    ) -> Condition | None:
        drives = (
            self.plan.robot.mechanisms[spec.name].kind not in ("measured",)
            and "wheel_diameter" in spec.values
        )
        if not drives and "travel" not in spec.values:
            wanted = "a mechanism that goes from one place to another"
            self.fail(line, what.column, "what", Fault("it has no physics that a time could tell of" if
                      spec.kind == "measured" else "it only turns", what.text, wanted))  # fmt: skip
            return None
        load = self._quantity(line, "load", cells, "mass")
        needed = ("to",) if drives else ("from", "to")
        for key in needed:
            if key not in cells:
                self.fail(line, what.column, key, Fault(f"{spec.name} is measured {key} nowhere", None,
                          "a distance ahead or an angle" if drives else "a position, as in 0.62 m"))  # fmt: skip
        if any(key not in cells for key in needed):
            return None
        carried = 0.0 if load is None else float(load)
        if drives:
            return self._drive(line, spec, cells, battery, carried)
        ends = [self._position(line, key, cells[key], spec) for key in needed]
        if ends[0] is None or ends[1] is None:
            return None
        if ends[0] == ends[1]:
            self.fail(line, cells["to"].column, "to", Fault("it starts where it goes", cells["to"].text))
            return None
        return Condition("move", battery, spec.name, ends[0], ends[1], False, carried)

    def _position(self, line: int, key: str, cell: Cell, spec: MechanismSpec) -> float | None:
        try:
            return position_given(key, cell.text, spec)
        except SimbotError as error:
            text = str(error).removeprefix(f"{key} {cell.text}: ")
            self.fail(line, cell.column, key, Fault(text, None if cell.text in text else cell.text))
            return None

    def _drive(
        self, line: int, spec: MechanismSpec, cells: dict[str, Cell], battery: str, load: float
    ) -> Condition | None:
        cell = cells["to"]
        if "from" in cells:
            self.fail(line, cells["from"].column, "from", Fault("a drive starts where it stands; `to` is a "
                      "distance ahead or an angle", cells["from"].text))  # fmt: skip
            return None
        for dimension, most in (("length", 100.0), ("angle", 3.1416)):
            try:
                to = float(read_quantity(cell.text, dimension, low=-most, high=most))
            except ValueFault as error:
                fault = error.fault
                continue
            return Condition("move", battery, spec.name, 0.0, to, dimension == "angle", load)
        self.fail(line, cell.column, "to", fault)
        return None

    # --- value -----------------------------------------------------------------------------------------

    def _value(
        self, line: int, name: str, cell: Cell, condition: Condition, period: float, error: Quantity | None
    ) -> Measured | None:
        of = re.fullmatch(r"(\d+)\s*(?:of|out of|/)\s*(\d+)", cell.text)
        if of:
            return self._tries(line, cell, condition, int(of[1]), int(of[2]))
        text = (
            f"{cell.text} {self.units[name]}"
            if name in self.units and cell.text[-1:].isdigit()
            else cell.text
        )
        frames = re.fullmatch(r"([\d.]+)\s*frames?", text)
        if frames:
            if period <= 0.0:
                fault = Fault("frames without their rate", cell.text, "30 fps in the column rate")
                self.fail(line, cell.column, "value", fault)
                return None
            value = float(frames[1]) * period
        else:
            given = self._quantity(line, name, {name: Cell(text, cell.column)}, "time")
            if given is None:
                return None
            value = float(given)
            error = Quantity(given.spread) if given.spread else error
        if not 0.0 < value < 3600.0:
            self.fail(
                line, cell.column, "value", Fault("no time that a move could take", cell.text, "above 0 s")
            )
            return None
        method = FRAMES if period > 0.0 else STOPWATCH
        stated = None if error is None else float(error)
        return Measured(line, text_of(self.plan, condition), condition, value, method, period, stated)

    def _tries(self, line: int, cell: Cell, condition: Condition, hits: int, tries: int) -> Measured | None:
        acting = condition.kind == "line" and isinstance(
            self.commands[condition.line][condition.mechanism], ActStep
        )
        if not acting:
            wanted = "line 16, where the plan picks or places"
            self.fail(line, cell.column, "value", Fault("only picks and places succeed", cell.text, wanted))
            return None
        if not 0 <= hits <= tries or tries == 0:
            self.fail(line, cell.column, "value", Fault("more successes than tries", cell.text, "17 of 20"))
            return None
        counted = Condition("tries", "", condition.mechanism, line=condition.line)
        text = f"{text_of(self.plan, condition)} succeeds"
        return Measured(line, text, counted, float(hits), TRIES, tries=tries)


def _commands(plan: Plan) -> dict[int, dict[str, object]]:
    """The steps that command something: line -> mechanism -> step."""
    found: dict[int, dict[str, object]] = {}
    for step in all_steps(plan):
        if isinstance(step, MoveStep):
            for goal in step.goals:
                found.setdefault(goal.line, {})[goal.mechanism] = step
        elif isinstance(step, DriveStep | EffortStep | DriveForStep):
            found.setdefault(step.line, {})[step.mechanism] = step
        elif isinstance(step, ActStep):
            found.setdefault(step.line, {})[step.by.mechanism] = step
    return found
