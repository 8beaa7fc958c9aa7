"""The fitted values as a unified diff of the files: each number with its spread, byte for byte the rest.

The files themselves are never written. A spread is the half-width of the 95 % interval, the longer half where they
differ, which is the expanded uncertainty (k = 2) that a ± in a file means.
"""

from __future__ import annotations

from pathlib import Path

from simbot.report.fitted import decimals, limit_text
from simbot.report.patch import Edit, Patch, file_diff, root_of
from simbot.scenario.errors import SimbotError
from simbot.studies.fit_results import FitResult, Fitted

CAUTION = (
    "# First runs after it: slowly, wheels off the ground, hands and faces clear. A simulated time is never\n"
    "# permission: the event's rules, its inspectors and the qualified adult decide.\n"
)


def fit_patch(result: FitResult) -> Patch:
    """The diff; unknowns that are not told stay as they are.

    Raises
    ------
    SimbotError
        Where a file is no longer what was read.
    """
    edits: dict[Path, list[Edit]] = {}
    by_hand = []
    for each in result.fitted:
        if each.estimate is None:
            by_hand.append(
                f"{each.unknown.name}: not told by the measurements, stays {each.unknown.given.text}"
            )
            continue
        if each.limit is not None:
            by_hand.append(f"{each.unknown.name}: {limit_text(each)}, stays {each.unknown.given.text}")
            continue
        edit = _edit(each)
        if edit is None:
            by_hand.append(f"{each.unknown.given.key}: {new_text(each)}")
        else:
            edits.setdefault(each.unknown.given.file.resolve(), []).append(edit)
    root = root_of(edits)
    count = len(result.measured) - len(result.slips)
    head = f"# Fitted to {count} measurements, plan {' '.join(result.plan.name.split())}.\n{CAUTION}"
    lines = [(head + "".join(f"# As it is: {line}\n" for line in by_hand)).encode()]
    for file in sorted(edits):
        lines += file_diff(file, edits[file], root or file.parent)
    return Patch(b"".join(lines), root, sum(map(len, edits.values())), tuple(by_hand))


def new_text(each: Fitted) -> str:
    """A fitted value as a file writes it: `86.1 % ± 2.4 %`."""
    assert each.estimate is not None and each.interval is not None
    given = each.unknown.given
    digits = decimals(each.estimate, each.interval)
    halves = [abs(end - each.estimate) for end in each.interval if end is not None]
    text = f"{each.estimate:.{digits}f} {given.unit}".strip()
    return f"{text} ± {max(halves):.{digits}f} {given.unit}".strip() if halves else text


def _edit(each: Fitted) -> Edit | None:
    """The change of one scalar; None where it does not stand there as it was read (an alias, a folded text)."""
    given = each.unknown.given
    try:
        data = given.file.read_bytes()
    except OSError as error:
        raise SimbotError(f"--patch: {given.file} cannot be read: {error.strerror or error}") from error
    lines = data.decode("utf-8-sig").splitlines(keepends=True)
    if given.line > len(lines):
        raise SimbotError(f"--patch: {given.file} has changed since it was read; run it again")
    mark = len(data) - len(data.decode("utf-8-sig").encode())
    before = "".join(lines[: given.line - 1]) + lines[given.line - 1][: given.column - 1]
    start = mark + len(before.encode())
    rest = data[start:].decode(errors="replace")
    quote = rest[:1] if rest[:1] in ("'", '"') else ""
    old = f"{quote}{given.text}{quote}"
    if not rest.startswith(old):
        return None
    new = f"{quote}{new_text(each)}{quote}"
    return Edit(start, start + len(old.encode()), old.encode(), new.encode())
