"""Reads the documents that studies left in a folder, and keeps those that are about the plans of the page."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from simbot.report.document import FORMAT, Document
from simbot.report.page.parts import Studies
from simbot.scenario.errors import SimbotError

ABOUT_ONE_PLAN = ("tune", "match", "worth")


def read_studies(folder: Path, names: Sequence[str], files: Sequence[str] = ()) -> tuple[Studies, list[str]]:
    """Studies in a folder, and remarks about files that are left out.

    Parameters
    ----------
    folder : Path
    names : sequence of str
        Names of the page's plans, in order.
    files : sequence of str
        Names of the files they are read from; a sweep says of which of them it is.

    Raises
    ------
    SimbotError
        Where the folder cannot be read, or two documents answer the same question.
    """
    if not folder.is_dir():
        raise SimbotError(f"--studies {folder}: there is no such folder")
    found: dict[tuple[str, str], tuple[Path, Document]] = {}
    remarks: list[str] = []
    sweeps: list[tuple[str, Document]] = []
    for path in sorted(folder.glob("*.json")):
        document = _read(path)
        if document is None:
            remarks.append(f"{path}: not a document of simbot, left out")
            continue
        kind = document["document"]
        if kind == "sweep" and document.get("file") in files:
            sweeps.append((path.name, document))
            continue
        about = _about(document, names)
        if about is None:
            if kind != "run":
                remarks.append(f"{path}: {kind} of other plans, left out")
            continue
        if (kind, about) in found:
            raise SimbotError(
                f"--studies {folder}: {found[kind, about][0].name} and {path.name} both are {kind} of {about}"
            )
        found[kind, about] = (path, document)
    own: dict[str, dict[str, Document]] = {kind: {} for kind in ABOUT_ONE_PLAN}
    compare = None
    for (kind, about), (_, document) in found.items():
        if kind == "compare":
            compare = document
        else:
            own[kind][about] = document
    known = Studies(compare, own["tune"], own["match"], own["worth"], tuple(sweeps), (), folder.as_posix())
    return known, remarks


def _read(path: Path) -> Document | None:
    """The document; None where it is another JSON file."""
    try:
        document: Any = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SimbotError(f"--studies {path}: cannot be read: {error.strerror or error}") from error
    except (ValueError, RecursionError):
        return None
    if not isinstance(document, dict) or not isinstance(document.get("document"), str):
        return None
    if document.get("format") != FORMAT:
        given = document.get("format")
        raise SimbotError(f"{path}: format: {given} is given, would do: {FORMAT}; run its command again")
    return document


def _about(document: Document, names: Sequence[str]) -> str | None:
    """Which plan it is about (of a comparison: all its plans); None: none of the page's."""
    if document["document"] in ABOUT_ONE_PLAN:
        return document["plan"] if document.get("plan") in names else None
    if document["document"] == "compare":
        own = [plan["name"] for plan in document.get("plans", ())]
        return " and ".join(own) if sorted(own) == sorted(names) else None
    return None
