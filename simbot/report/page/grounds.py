"""What the page rests on: values and their spreads, what was assumed, chances, sources, hashes, commands."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from simbot.report.page.parts import PlanPart, Studies
from simbot.report.understood import understood
from simbot.scenario.model import ActStep, DriveStep, Remark, WaitStep
from simbot.scenario.parameters import Quantity
from simbot.scenario.plan_file import all_steps


@dataclass(frozen=True)
class Ground:
    """One group of it; a text each."""

    name: str
    note: str
    lines: tuple[tuple[str, str], ...]  # what it is about, text


def grounds(parts: Sequence[PlanPart]) -> list[Ground]:
    """Everything that was read or assumed, each said once though several plans share it."""
    understood_ = _once(line for part in parts for line in understood(part.plan))
    remarks = _once_remarks(parts)
    out = [
        Ground("As given", "values and spreads of the files; ± holds 95 of 100 cases", tuple(understood_)),
        Ground(
            "Chances",
            "of single steps, and what a driver's step is lengthened by",
            tuple(_once(c for part in parts for c in _chances(part))),
        ),
    ]
    for kind, name, note in (
        ("assumed", "Assumed", "the files do not say"),
        ("doubt", "Doubtful", "please look again"),
        ("follows", "Follows", "from the values"),
    ):
        lines = tuple(
            (_place(remark), f"{remark.key}: {remark.text}") for remark in remarks if remark.kind == kind
        )
        out.append(Ground(name, note, lines))
    return [ground for ground in out if ground.lines]


def _once(lines: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    return list(dict.fromkeys(lines))


def _once_remarks(parts: Sequence[PlanPart]) -> list[Remark]:
    return list(dict.fromkeys(remark for part in parts for remark in part.remarks))


def _place(remark: Remark) -> str:
    name = PurePath(remark.file).name
    return f"{name}, line {remark.line}" if remark.line else name


def _share(value: float) -> str:
    text = f"{100 * float(value):g} %"
    spread = value.spread if isinstance(value, Quantity) else 0.0
    return f"{text} ± {100 * spread:g} %" if spread else text


def _chances(part: PlanPart) -> list[tuple[str, str]]:
    out = []
    file = part.plan.path.name
    for step in all_steps(part.plan):
        where = f"{file}, line {step.line}"
        if isinstance(step, ActStep) and float(step.succeeds) < 1.0:
            tries = f", {step.tries} tries" if step.tries > 1 else ""
            out.append((where, f"succeeds {_share(step.succeeds)}{tries}; else {step.otherwise}"))
        if isinstance(step, DriveStep | WaitStep) and step.allowance:
            out.append(
                (where, f"allowance {_share(step.allowance)}: expected matches only, never the nominal run")
            )
    return out


@dataclass(frozen=True)
class Hashed:
    file: str
    sha256: str


def hashes(parts: Sequence[PlanPart]) -> list[Hashed]:
    """SHA-256 of every file that was read, each once, line ends as on any system."""
    seen: dict[str, str] = {}
    for path in (path for part in parts for path in part.files):
        data = path.read_bytes().replace(b"\r\n", b"\n")
        seen.setdefault(path.as_posix(), hashlib.sha256(data).hexdigest())
    return [Hashed(name, digest) for name, digest in seen.items()]


def commands(parts: Sequence[PlanPart], studies: Studies, out: str) -> list[str]:
    """The commands that make this page again, its studies first."""
    plans = [part.given for part in parts]
    folder = studies.folder
    lines = []
    if folder is not None:
        if studies.compare is not None:
            document = studies.compare
            lines.append(
                f"simbot compare {' '.join(plans)} --seed {document['seed']} --json {folder}/compare.json"
            )
        for part in parts:
            name = part.plan.name
            if name in studies.tune:
                kind = studies.tune[name]["kind"]
                lines.append(f"simbot tune {part.given} --kind {kind} --json {folder}/tune-{name}.json")
            for word, known in (("match", studies.match), ("worth", studies.worth)):
                if name in known:
                    document = known[name]
                    asked = f"--runs {document['runs']} --seed {document['seed']}"
                    if document.get("threshold") is not None:
                        asked += f" --threshold {document['threshold']:g}"
                    lines.append(f"simbot {word} {part.given} {asked} --json {folder}/{word}-{name}.json")
    where = f" --studies {folder}" if folder is not None else ""
    return [*lines, f"simbot report {' '.join(plans)}{where} --out {out}"]
