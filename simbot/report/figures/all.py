"""All figures that plans and studies give, as files."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from matplotlib.figure import Figure

from simbot.report.figures import style
from simbot.report.figures.cycle import figure_cycle
from simbot.report.figures.field import figure_field
from simbot.report.figures.fitted import figure_fit
from simbot.report.figures.studied import figure_difference, figure_scores
from simbot.report.figures.swept import figure_sweep
from simbot.report.figures.timeline import figure_timeline
from simbot.report.figures.worth import figure_worth
from simbot.report.files import write_bytes
from simbot.report.studies_read import Study
from simbot.scenario.errors import SimbotError
from simbot.studies.shown import Shown

FORMS = ("svg", "png")
Maker = Callable[[], Figure | None]


def write_figures(folder: Path, plans: Sequence[Shown], studies: Sequence[Study] = ()) -> list[Path]:
    """Draw what applies, each as SVG and PNG; the files written, in their order.

    Parameters
    ----------
    folder : Path
        Made where it is not there.
    plans : sequence of Shown
        Runs: a timeline and the field of each, and the cycle of all.
    studies : sequence of Study
        Documents of match, compare, worth, sweep and fit.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SimbotError(f"--out {folder}: cannot be made: {error.strerror or error}") from error
    written = []
    for name, make in makers(plans, studies):
        for form, data in drawn(make, FORMS).items():
            path = folder / f"{name}.{form}"
            write_bytes("--out", data, str(path))
            written.append(path)
    return written


def drawn(make: Maker, forms: Sequence[str]) -> dict[str, bytes]:
    """A figure in each form; none where it does not apply."""
    with style.styled():
        figure = make()
        return {} if figure is None else {form: style.save(figure, form) for form in forms}


def makers(plans: Sequence[Shown], studies: Sequence[Study]) -> Iterator[tuple[str, Maker]]:
    """Names of figures, each once, and what draws them."""
    taken: set[str] = set()

    def named(*parts: str) -> str:
        name = plain_name("-".join(parts))
        number = 2
        while name in taken:
            name, number = plain_name("-".join((*parts, str(number)))), number + 1
        taken.add(name)
        return name

    for shown in plans:
        yield named("timeline", shown.plan.name), lambda shown=shown: figure_timeline(shown)  # type: ignore[misc]
        yield named("field", shown.plan.name), lambda shown=shown: figure_field(shown)  # type: ignore[misc]
    if plans:
        yield named("cycle"), lambda: figure_cycle(plans)
    for study in studies:
        for parts, make in _of(study):
            yield named(*parts), _checked(study, make)


def _of(study: Study) -> Iterator[tuple[tuple[str, ...], Maker]]:
    document, stem = study.document, study.path.stem
    if study.kind == "match":
        yield ("scores", stem), lambda: figure_scores(document)
    elif study.kind == "compare":
        yield ("scores", stem), lambda: figure_scores(document)
        for number in range(len(document.get("pairs") or ())):
            yield ("difference", stem), lambda number=number: figure_difference(document, number)  # type: ignore[misc]
    elif study.kind == "worth":
        yield ("worth", stem), lambda: figure_worth(document)
    elif study.kind == "sweep":
        yield ("sweep", stem), lambda: figure_sweep(document)
    elif study.kind == "fit":
        yield ("fit", stem), lambda: figure_fit(document)


def _checked(study: Study, make: Maker) -> Maker:
    """Tell a document that lacks what a figure needs as the user's mistake."""

    def checked() -> Figure | None:
        try:
            return make()
        except KeyError as error:
            raise SimbotError(
                f"{study.path}: key {error} is missing; `simbot {study.kind}` writes it"
            ) from error
        except (TypeError, ValueError, IndexError, AttributeError) as error:
            raise SimbotError(
                f"{study.path}: not as `simbot {study.kind} --json` writes it: {error}"
            ) from error

    return checked


def plain_name(text: str) -> str:
    """A file name of letters, digits, dashes and underlines that every system takes."""
    return re.sub(r"[^A-Za-z0-9_]+", "-", text).strip("-")[:80] or "figure"
