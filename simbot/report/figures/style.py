"""How every figure looks, and how it becomes a file: millimetres, one face, one set of colours, the same bytes always.

Figures are 80 mm wide as they are drawn, so that their least type stays readable in a column of a notebook; a
vector file may be shown at any size. What breaks is drawn in the alarm's colour and nothing else is; two plans are
told apart by dash and hatch as well as by colour. The face is the one that matplotlib brings along, so that
measures do not hang on the machine.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

MM = 1.0 / 25.4
WIDTH = 80.0  # mm
EDGE = 2.0  # mm, left free around a figure
TITLE, TEXT, NOTE = 8.0, 6.5, 5.8  # pt
DOTS = 300  # per inch, of a bitmap

PAPER, INK, QUIET, RULE, HAIR = "#ffffff", "#14211f", "#4b5b58", "#7d8d89", "#cfdad6"
ALARM = "#ac3a00"
PLANS = ("#00588c", "#00745a", "#4b5b58", "#7a5a00")  # of plans side by side, in their order;
DASHES: tuple[Any, ...] = ("-", (0, (4, 1.5)), (0, (1, 1.2)), (0, (4, 1.2, 1, 1.2)))  # with these lines
HATCHES: tuple[str | None, ...] = (None, "//////", "......", "xxxxxx")  # and these faces; None: full

STYLE: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": TEXT,
    "text.color": INK,
    "text.parse_math": False,  # what stands in the files is text
    "axes.edgecolor": RULE,
    "axes.labelcolor": QUIET,
    "axes.labelsize": NOTE,
    "axes.linewidth": 0.5,
    "axes.facecolor": "none",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelsize": NOTE,
    "ytick.labelsize": NOTE,
    "xtick.major.size": 2.0,
    "ytick.major.size": 0.0,
    "xtick.major.width": 0.5,
    "xtick.major.pad": 1.5,
    "ytick.major.pad": 1.5,
    "hatch.linewidth": 0.5,
    "lines.solid_capstyle": "butt",
    "svg.hashsalt": "simbot",
    "svg.fonttype": "none",
    "savefig.facecolor": PAPER,
    "figure.facecolor": PAPER,
}
NO_DATE: dict[str, Any] = {
    "svg": {"Date": None, "Creator": None},
    "png": {"Software": None},
    "pdf": {"CreationDate": None},
}


@contextmanager
def styled() -> Iterator[None]:
    """Draw and write in here."""
    with matplotlib.rc_context(STYLE), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")  # a name in another script
        yield


def sheet(height: float, width: float = WIDTH) -> Figure:
    """An empty figure [mm]."""
    figure = Figure(figsize=(width * MM, height * MM))
    FigureCanvasAgg(figure)
    return figure


def panel(figure: Figure, top: float, height: float, left: float = EDGE, right: float = EDGE) -> Axes:
    """Axes by their distance from the figure's edges [mm], without a frame."""
    width, whole = (side / MM for side in figure.get_size_inches())
    box = (left / width, 1.0 - (top + height) / whole, (width - left - right) / width, height / whole)
    axes = figure.add_axes(box)
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.tick_params(left=False, labelleft=False)
    return axes


def write(figure: Figure, top: float, text: str, size: float = TEXT, left: float = EDGE, **more: Any) -> None:
    """A line of text by its distance from the figure's top edge [mm]."""
    width, whole = (side / MM for side in figure.get_size_inches())
    figure.text(left / width, 1.0 - top / whole, text, fontsize=size, va="top", **more)


def head(figure: Figure, title: str, below: str = "") -> float:
    """Title and what it rests on; where the drawing may begin [mm from the top]."""
    top = EDGE
    for line in folded(title, TITLE):
        write(figure, top, line, TITLE, weight="bold")
        top += 3.8
    for line in folded(below, NOTE) if below else ():
        write(figure, top, line, NOTE, color=QUIET)
        top += 2.8
    return top + 1.5


def head_height(title: str, below: str = "") -> float:
    """What `head` will take [mm]."""
    return EDGE + 3.8 * len(folded(title, TITLE)) + (2.8 * len(folded(below, NOTE)) if below else 0.0) + 1.5


def folded(text: str, size: float, width: float = WIDTH - 2 * EDGE) -> list[str]:
    """Text in lines that are no wider [mm] at a size [pt]."""
    lines: list[str] = []
    for word in plain(text).split(" "):
        if lines and measured(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(fitted(word, size, width))
    return lines


def fitted(text: str, size: float, width: float) -> str:
    """The text, or as much of it as is no wider [mm], with an ellipsis."""
    text = plain(text)
    if measured(text, size) <= width:
        return text
    while text and measured(f"{text}…", size) > width:
        text = text[:-1]
    return f"{text.rstrip()}…"


def measured(text: str, size: float) -> float:
    """Width of a line in the figures' face [mm]; bold is no more than 15 % wider."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    wide, _, _ = text_to_path.get_text_width_height_descent(text, FontProperties(size=size), ismath=False)
    return float(wide) / 72.0 / MM * (1.12 if size >= TITLE else 1.0)


def plain(text: str) -> str:
    """Text of one line: what does not print, line ends too, becomes a space."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def signed(value: float, digits: int = 0) -> str:
    """With its sign, the true minus, and no minus zero."""
    value = round(value, digits) + 0.0
    return f"{value:+.{digits}f}".replace("-", "\u2212") if value else f"{value:.{digits}f}"


def ticks(axes: Axes, unit: str, sign: bool = False, whole: bool = False, most: int = 6) -> None:
    """Round values under the axes, the unit once; no label beyond the ends."""
    begin, end = axes.get_xlim()
    locator = MaxNLocator(nbins=most, integer=whole, steps=[1, 2, 5, 10])
    places = [at for at in locator.tick_values(begin, end) if begin - 1e-9 <= at <= end + 1e-9]
    named = 0.0 if 0.0 in places else places[0]
    texts = []
    for at in places:
        text = f"{signed(at, 0 if at == round(at) else 1) if sign else format(at, 'g')}"
        texts.append(f"{text} {unit}" if at == named else text.replace("-", "\u2212"))
    axes.spines["bottom"].set_visible(True)
    axes.set_xticks(places, texts)
    axes.set_xlim(begin, end)
    wide = axes.bbox.width / axes.figure.dpi / MM
    for at, label in zip(places, axes.get_xticklabels(), strict=True):
        half = measured(label.get_text(), NOTE) / 2
        if (at - begin) / (end - begin) * wide < half:
            label.set_horizontalalignment("left")
        elif (end - at) / (end - begin) * wide < half:
            label.set_horizontalalignment("right")


def blank() -> dict[str, Any]:
    """The ground under a text that a line may cross."""
    return {"facecolor": PAPER, "edgecolor": "none", "pad": 0.3}


def zero_line(axes: Axes, at: float = 0.0) -> None:
    """The one line on which all that is measured begins."""
    axes.axvline(at, color=INK, linewidth=1.0, zorder=4)


def save(figure: Figure, form: str) -> bytes:
    """The figure as a file: `svg`, `png` or `pdf`; the same bytes on any day."""
    out = BytesIO()
    figure.savefig(out, format=form, dpi=DOTS, metadata=NO_DATE[form])
    return out.getvalue()
