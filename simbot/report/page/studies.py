"""Which of the studies in a folder are about the plans of the page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from simbot.report.document import Document
from simbot.report.page.parts import Studies
from simbot.report.studies_read import Study, read_studies
from simbot.scenario.errors import SimbotError

ABOUT_ONE_PLAN = ("tune", "match", "worth", "fit")


def studies_of(
    folder: Path, names: Sequence[str], files: Sequence[str] = (), own_names: Sequence[str] = ()
) -> tuple[Studies, list[str]]:
    """Studies in a folder, and remarks about those that are left out.

    Parameters
    ----------
    folder : Path
    names : sequence of str
        Names of the page's plans, in order.
    files : sequence of str
        Names of the files they are read from; a sweep says of which of them it is.
    own_names : sequence of str
        What the plans' files call them, where plans of one name are told apart on the page.

    Raises
    ------
    SimbotError
        Where the folder cannot be read, or two documents answer the same question.
    """
    found: dict[tuple[str, str], Study] = {}
    remarks: list[str] = []
    sweeps: list[tuple[str, Document]] = []
    for study in read_studies(folder):
        document = dict(study.document)
        if study.kind == "sweep" and document.get("file") in files:
            sweeps.append((study.path.name, document))
            continue
        about = _about(study, names)
        if about is None:
            why = "of other plans"
            if own_names.count(str(study.document.get("plan"))) > 1:
                why = f"of {study.document['plan']}, and several of the plans are named so"
            remarks.append(f"{study.path}: {study.kind} {why}, left out")
            continue
        if (study.kind, about) in found:
            other = found[study.kind, about].path.name
            raise SimbotError(
                f"--studies {folder}: {other} and {study.path.name} both are {study.kind} of {about}"
            )
        found[study.kind, about] = study
    own: dict[str, dict[str, Document]] = {kind: {} for kind in ABOUT_ONE_PLAN}
    compare = None
    for (kind, about), study in found.items():
        if kind == "compare":
            compare = dict(study.document)
        else:
            own[kind][about] = dict(study.document)
    known = Studies(
        compare, own["tune"], own["match"], own["worth"], own["fit"], tuple(sweeps), (), folder.as_posix()
    )
    return known, remarks


def _about(study: Study, names: Sequence[str]) -> str | None:
    """Which plan it is about (of a comparison: all its plans); None: none of the page's."""
    if study.kind in ABOUT_ONE_PLAN:
        plan = study.document.get("plan")
        return str(plan) if plan in names else None
    if study.kind == "compare":
        own = [plan["name"] for plan in study.document.get("plans", ())]
        return " and ".join(own) if sorted(own) == sorted(names) else None
    return None
