"""The README's commands and what they print; `python tests/readme.py refresh` writes it and reports/ anew.

A block of shell commands in the README that is followed by a block of plain text prints that text. What a
command line does before its last `&&` makes the environment, and is not run here.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
REPORTS = ROOT / "reports"
PLANS = ("lanterns", "tins")
DEMO = "scenarios/night-market"
LANTERNS, TINS = (f"{DEMO}/{plan}.yaml" for plan in PLANS)
STUDIES = {
    "tune-lanterns": f"simbot tune {LANTERNS}",
    "tune-tins": f"simbot tune {TINS}",
    "match-lanterns": f"simbot match {LANTERNS} --runs 200 --seed 1 --threshold 80",
    "match-tins": f"simbot match {TINS} --runs 200 --seed 1 --threshold 80",
    "compare": f"simbot compare {LANTERNS} {TINS}",
    "worth-lanterns": f"simbot worth {LANTERNS}",
    "sweep-lift": f"simbot sweep {DEMO}/robot.yaml lift ratio=0.8:4:0.2 --to 0.62m",
    "fit-winch": f"simbot fit {LANTERNS} {DEMO}/measured.csv --unknown winch.efficiency",
}
PAGE = f"simbot report {LANTERNS} {TINS} --studies reports/studies --out reports/page.html --figures reports/figures"
BLOCK = re.compile(r"^```(sh|text)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(text: str) -> list[re.Match[str]]:
    return list(BLOCK.finditer(text))


def bare(line: str) -> str:
    """A command line without what makes its environment."""
    return line.split("&&")[-1].strip().replace(".venv/bin/", "")


def commands(text: str) -> list[str]:
    """All command lines of the README, without what makes their environment."""
    lines = [line for match in blocks(text) if match[1] == "sh" for line in match[2].splitlines()]
    return [bare(line) for line in lines if not line.startswith("#")]


def answered(text: str) -> list[tuple[str, str]]:
    """Command lines and the text that stands below them."""
    pairs = pairwise(blocks(text))
    return [(bare(one[2].strip()), two[2]) for one, two in pairs if (one[1], two[1]) == ("sh", "text")]


def run(command: str, *more: str | Path, cwd: Path = ROOT) -> str:
    """What a `simbot ...` command prints."""
    program, *arguments = command.split()
    assert program == "simbot", command
    done = subprocess.run(
        [sys.executable, "-m", "simbot.cli", *arguments, *map(str, more)],
        capture_output=True,
        encoding="utf-8",
        cwd=cwd,
        env={**os.environ, "NO_COLOR": "1"},
        check=True,
    )
    return done.stdout


def refresh() -> None:
    """Write the README's outputs and the demo's reports anew."""
    (REPORTS / "studies").mkdir(parents=True, exist_ok=True)
    told = {
        command: run(command, "--json", REPORTS / "studies" / f"{name}.json")
        for name, command in STUDIES.items()
    }
    text = README.read_text(encoding="utf-8")
    for command, printed in answered(text):
        new = told[command] if command in told else run(command)
        text = text.replace(f"```text\n{printed}```", f"```text\n{new}```")
    README.write_text(text, encoding="utf-8", newline="\n")
    for plan in PLANS:
        printed = run(f"simbot run scenarios/night-market/{plan}.yaml", "--json", REPORTS / f"{plan}.json")
        (REPORTS / f"{plan}.txt").write_text(printed, encoding="utf-8", newline="\n")
    run(f"simbot move {DEMO}/robot.yaml lift", "--figure", REPORTS / "lift.png")
    make_page(ROOT)


def make_page(root: Path) -> None:
    """The demo's page and its figures from the studies in reports/, of a folder laid out as this one.

    Of the figures the SVGs stay; the PNGs say the same and are larger.
    """
    run(PAGE, cwd=root)
    for path in (root / "reports" / "figures").glob("*.png"):
        path.unlink()


if __name__ == "__main__":
    if sys.argv[1:] == ["refresh"]:
        refresh()
    elif sys.argv[1:] == ["test"]:
        print(
            next(line for line in commands(README.read_text(encoding="utf-8")) if line.startswith("pytest"))
        )
    else:
        sys.exit("python tests/readme.py refresh | test")
