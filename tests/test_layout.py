"""The shape of the project: what may import what, what a lean start loads, what lies at the top."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "simbot"
MODULES = sorted(PACKAGE.rglob("*.py"))

# left to right; a module may import from its own stage and from those to its left
STAGES = ("scenario", "physics", "routine", "analysis", "api", "studies", "report", "starter", "cli")

# the only homes of each library; a folder stands for all in it
HOMES = {
    "numpy": ("physics/", "analysis/", "studies/", "report/"),
    "scipy": ("studies/",),
    "platformdirs": ("physics/compiled.py", "scenario/pint_words.py"),
    "ruamel": ("scenario/",),
    "pydantic": ("scenario/",),
    "pydantic_core": ("scenario/",),
    "pint": ("scenario/",),
    "numba": ("physics/with_numba.py", "physics/one_program.py", "physics/haste.py", "physics/lowering.py"),
    "llvmlite": ("physics/ready.py",),
    "simpy": ("routine/",),
    "rich": ("report/terminal.py",),
    "typer": ("cli/",),
    "shapely": ("analysis/paths.py", "analysis/meetings.py"),
    "tree_sitter": ("scenario/source_tree.py",),
    "jinja2": ("report/rendered.py",),
    "markupsafe": ("report/",),
    "matplotlib": ("report/figures/",),
    "distributed": ("studies/cluster.py",),
    "dask": ("studies/cluster.py",),
}
HEAVY = {"numba", "scipy", "matplotlib", "simpy", "shapely", "tree_sitter", "distributed"}
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "simbot", "scenarios", "tests", "reports"}


def imports(path):
    """Names a module imports anywhere in it, those for type checking only left out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    checked_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING")
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in checked_only:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def stage_of(name):
    parts = name.split(".")
    return STAGES.index(parts[1]) if len(parts) > 1 and parts[0] == "simbot" and parts[1] in STAGES else None


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_nothing_imports_from_its_right(path):
    own = stage_of(".".join(path.relative_to(ROOT).with_suffix("").parts))
    if own is None:
        return  # the package itself
    wrong = [name for name in imports(path) if (stage_of(name) or 0) > own]
    assert not wrong


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_every_library_has_one_home(path):
    here = path.relative_to(PACKAGE).as_posix()
    for name in imports(path):
        library = name.split(".")[0]
        if library != "simbot" and library not in sys.stdlib_module_names:
            assert here.startswith(HOMES.get(library, ())), f"{name} in {here}"


def test_what_is_installed_is_named_once():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for wanted in (project["dependencies"], *project["optional-dependencies"].values()):
        names = [re.split(r"[<>=~!\[; ]", each)[0] for each in wanted]
        assert len(names) == len(set(names)), names


def loaded_by(code):
    """Which heavy modules a fresh interpreter has loaded after running some code."""
    probe = f"{code}\nimport sys\nprint('LOADED', *sorted(set(sys.modules) & {HEAVY!r}))"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 0, done.stderr
    return done.stdout.rsplit("LOADED", 1)[1].split()


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["run", "--help"],
        ["move", "--help"],
        ["check", "scenarios/night-market/lanterns.yaml"],
        ["schema", "run"],
        ["tune", "--help"],
        ["report", "--help"],
        ["schema", "tune"],
        ["fit", "--help"],
        ["schema", "fit"],
        ["sweep", "--help"],
        ["kinds"],
        ["figures", "--help"],
        ["notebook", "--help"],
        ["kinds", "slide"],
    ],
    ids=" ".join,
)
def test_lean_start(arguments, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert loaded_by(f"from simbot.cli import status\nassert status({arguments!r}) == 0") == []


def test_top_level_holds_what_it_should():
    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listing.returncode != 0:
        pytest.skip("not a git checkout")
    top = {name.split("/")[0] for name in listing.stdout.split()}
    assert {name for name in top if not name.startswith(".")} <= TOP
