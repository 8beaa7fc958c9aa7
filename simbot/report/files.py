"""Writes what a command leaves behind: bytes to a file, or to stdout."""

from __future__ import annotations

import sys
from pathlib import Path

from simbot.scenario.errors import SimbotError


def write(option: str, text: str, target: str) -> None:
    """Write a text as it is, in UTF-8; `-` is stdout. `option`: the one that named the target."""
    write_bytes(option, text.encode(), target)


def write_bytes(option: str, data: bytes, target: str) -> None:
    """Write bytes as they are; `-` is stdout."""
    if target == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    try:
        Path(target).write_bytes(data)
    except OSError as error:
        raise SimbotError(f"{option} {target}: cannot be written: {error.strerror or error}") from error
