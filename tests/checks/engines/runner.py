"""Runs a circuit deck with ngspice and reads the numbers it wrote; an aborted run is an error here."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np


class DeckFailed(Exception):
    """The engine stopped before the end of the deck: its exit code says nothing about that."""


def run_deck(deck: str, folder: Path, ends_at: float) -> np.ndarray:
    """Run a deck that writes `out.txt` (one scale column, then vectors); its rows.

    Raises
    ------
    DeckFailed
        Where the engine says "aborted", has written nothing, or stopped before `ends_at` [s].
    """
    (folder / "deck.cir").write_text(deck, encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    said = done.stdout + done.stderr
    out = folder / "out.txt"
    if done.returncode != 0 or "abort" in said.lower() or not out.exists():
        raise DeckFailed(said[-800:])
    rows = np.loadtxt(out, skiprows=1, ndmin=2)
    if rows[-1, 0] < ends_at * (1.0 - 1e-9):
        raise DeckFailed(f"it stopped at {rows[-1, 0]} s instead of {ends_at} s")
    return rows
