"""The page of the demo in the system's own Chromium; where the browser or its driver is absent a user skips."""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile
from collections.abc import Callable
from pathlib import Path

import pytest
from study_documents import write_studies

from simbot.cli import status

DEMO = Path("scenarios/night-market")
ROOT = Path(__file__).parent.parent.parent
BROWSERS = ("chromium", "chromium-browser")
AXE = "axe-core@4.14.1"


def absent(what: str) -> None:
    """Skip for a user; fail in the full check."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"{what} is not installed")
    pytest.skip(f"{what} is not installed")


@pytest.fixture(scope="session")
def browser():
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        absent("playwright")
    program = next(filter(None, map(shutil.which, BROWSERS)), None)
    if program is None:
        absent("chromium")
    with sync_playwright() as driver:
        launched = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield launched
        launched.close()


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The text of axe-core, from the npm registry."""
    npm = shutil.which("npm")
    if npm is None:
        absent("npm")
    folder = tmp_path_factory.mktemp("axe")
    done = subprocess.run(
        [npm, "pack", "--silent", AXE], cwd=folder, capture_output=True, text=True, timeout=120
    )
    packed = next(folder.glob("axe-core-*.tgz"), None)
    if done.returncode != 0 or packed is None:
        absent("axe-core")
    with tarfile.open(packed) as archive:
        inside = archive.extractfile("package/axe.min.js")
        assert inside is not None
        return inside.read().decode()


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the demo's page and the documents it shows."""
    folder = tmp_path_factory.mktemp("page")
    write_studies(folder / "studies")
    before = Path.cwd()
    os.chdir(ROOT)
    try:
        plans = [str(DEMO / "lanterns.yaml"), str(DEMO / "tins.yaml")]
        out = ["--studies", str(folder / "studies"), "--out", str(folder / "page.html")]
        assert status(["report", *plans, *out]) == 0
    finally:
        os.chdir(before)
    return folder


@pytest.fixture
def opened(browser, demo: Path) -> Callable:
    """Opens the demo's page; whatever it says on the console, and whatever it asks for, is kept."""
    contexts = []

    def open_page(path: Path | None = None, **how):
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **how})
        contexts.append(context)
        page = context.new_page()
        page.said, page.asked = [], []
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.on("request", lambda request: page.asked.append(request.url))
        page.goto((path or demo / "page.html").as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()
