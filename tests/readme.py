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
    text = README.read_text(encoding="utf-8")
    for command, printed in answered(text):
        text = text.replace(f"```text\n{printed}```", f"```text\n{run(command)}```")
    README.write_text(text, encoding="utf-8", newline="\n")
    REPORTS.mkdir(exist_ok=True)
    for plan in PLANS:
        printed = run(f"simbot run scenarios/night-market/{plan}.yaml", "--json", REPORTS / f"{plan}.json")
        (REPORTS / f"{plan}.txt").write_text(printed, encoding="utf-8", newline="\n")
    run("simbot move scenarios/night-market/robot.yaml lift", "--figure", REPORTS / "lift.png")


if __name__ == "__main__":
    if sys.argv[1:] == ["refresh"]:
        refresh()
    elif sys.argv[1:] == ["test"]:
        print(
            next(line for line in commands(README.read_text(encoding="utf-8")) if line.startswith("pytest"))
        )
    else:
        sys.exit("python tests/readme.py refresh | test")
