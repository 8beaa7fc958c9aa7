"""The JSON documents of a folder, as the studies write them, told apart by what they say they are."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simbot.report.document import FORMAT
from simbot.scenario.errors import SimbotError

MAX_BYTES = 20_000_000
KINDS = ("tune", "match", "compare", "worth", "sweep", "fit")


@dataclass(frozen=True)
class Study:
    """One document and where it came from; `kind` is one of KINDS."""

    path: Path
    kind: str
    document: Mapping[str, Any]


def read_studies(folder: Path) -> list[Study]:
    """All studies of a folder by file name; documents of other commands are passed over.

    Raises
    ------
    SimbotError
        Where the folder or a file in it cannot be read, or is no document of this format.
    """
    if not folder.is_dir():
        raise SimbotError(f"--studies {folder}: there is no such folder")
    studies = []
    for path in sorted(folder.glob("*.json")):
        document = _document(path)
        kind = document.get("document")
        if kind in KINDS:
            if document.get("format") != FORMAT:
                raise SimbotError(
                    f"{path}: key 'format': given {document.get('format')!r}; this simbot reads {FORMAT}"
                )
            studies.append(Study(path, str(kind), _printable(document)))
    return studies


def _printable(value: Any) -> Any:
    """The same with spaces for what does not print: its texts go into drawings, pages and terminals."""
    if isinstance(value, str):
        return "".join(sign if sign.isprintable() else " " for sign in value)
    if isinstance(value, list):
        return [_printable(each) for each in value]
    if isinstance(value, dict):
        return {_printable(key): _printable(each) for key, each in value.items()}
    return value


def _document(path: Path) -> Mapping[str, Any]:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise SimbotError(f"{path}: larger than the {MAX_BYTES} bytes that are read")
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SimbotError(f"{path}: cannot be read: {error.strerror or error}") from error
    except json.JSONDecodeError as error:
        raise SimbotError(f"{path}:{error.lineno}:{error.colno}: not JSON: {error.msg}") from error
    except (UnicodeDecodeError, RecursionError) as error:
        raise SimbotError(f"{path}: not a JSON document in UTF-8") from error
    if not isinstance(document, dict):
        raise SimbotError(f"{path}: a document of simbot is wanted, an object with the key 'document'")
    return document
