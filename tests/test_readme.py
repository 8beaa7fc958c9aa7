"""The README's commands run, and print what stands below them; reports/ is what the demo produces."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
import readme

ROOT = Path(__file__).parent.parent
TEXT = readme.README.read_text(encoding="utf-8")
VERSIONS = re.compile(rb"simbot [0-9.]+; Python [0-9.]+,[^<]*")  # of the libraries that made it
ANSWERED = {command for command, _ in readme.answered(TEXT)}
RUN = [line for line in readme.commands(TEXT) if line.startswith("simbot") and line not in ANSWERED]


def close(one, two, path=""):
    """Equal, numbers to 20 in the last digit written: rounding differs between processors."""
    if isinstance(one, dict):
        assert list(one) == list(two), path
        for key in one:
            close(one[key], two[key], f"{path}/{key}")
    elif isinstance(one, list):
        assert len(one) == len(two), path
        for index, pair in enumerate(zip(one, two, strict=True)):
            close(*pair, f"{path}/{index}")
    elif isinstance(one, float) or isinstance(two, float):
        assert one == pytest.approx(two, abs=2e-5, rel=1e-6), path
    else:
        assert one == two, path


def test_there_is_a_command_to_run_and_one_to_test():
    assert RUN and any(line.startswith("pytest") for line in readme.commands(TEXT))


@pytest.mark.parametrize("command", RUN)
def test_command_runs(command, tmp_path):
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    readme.run(command, cwd=tmp_path)


@pytest.mark.parametrize(("command", "printed"), readme.answered(TEXT))
def test_command_prints_what_the_readme_shows(command, printed):
    assert readme.run(command) == printed, (
        "python tests/readme.py refresh writes it anew; read it before you commit"
    )


def test_page_and_figures_are_the_same_bytes_on_any_day(tmp_path):
    """Made anew from the studies in reports/; these follow from the demo's files by the commands on the page."""
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    shutil.copytree(readme.REPORTS / "studies", tmp_path / "reports" / "studies")
    readme.make_page(tmp_path)
    old = {path.relative_to(readme.REPORTS) for path in (readme.REPORTS / "figures").iterdir()}
    new = {path.relative_to(tmp_path / "reports") for path in (tmp_path / "reports" / "figures").iterdir()}
    assert new == old
    for path in (*sorted(new), Path("page.html")):
        one, two = ((root / path).read_bytes() for root in (tmp_path / "reports", readme.REPORTS))
        assert VERSIONS.sub(b"", one) == VERSIONS.sub(b"", two), path


@pytest.mark.parametrize("name", ["match-tins", "sweep-lift", "fit-winch"])
def test_studies_are_what_the_demo_gives(name, tmp_path):
    new = tmp_path / "new.json"
    readme.run(readme.STUDIES[name], "--json", new)
    old = json.loads((readme.REPORTS / "studies" / f"{name}.json").read_text(encoding="utf-8"))
    close(json.loads(new.read_text(encoding="utf-8")), old)


@pytest.mark.parametrize("plan", readme.PLANS)
def test_reports_are_what_the_demo_produces(plan, tmp_path):
    new = tmp_path / "new.json"
    printed = readme.run(f"simbot run scenarios/night-market/{plan}.yaml", "--json", new)
    assert printed == (readme.REPORTS / f"{plan}.txt").read_text(encoding="utf-8")
    old = json.loads((readme.REPORTS / f"{plan}.json").read_text(encoding="utf-8"))
    close(json.loads(new.read_text(encoding="utf-8")), old)
