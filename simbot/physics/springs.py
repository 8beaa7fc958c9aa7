"""Springs, detents and ratchets: forces of any kind of mechanism besides its own weight and friction.

A spring adds dU/dq to the load. What it does not give back acts as friction on the stretch on which it is
stretched: of the work U that stretching takes, the share `loss` is lost on the way back, so the mean of both
ways is (1 - loss/2) dU/dq and the friction (loss/2) |dU/dq|. The travel is cut into short pieces there and the
friction held constant on each, by its work: that of every piece is exact. Textbook mechanics; 80 to 90 %
returned by elastic cord is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import ceil, pi
from typing import Any

import numpy as np

from simbot.physics import layout as L
from simbot.physics.tables import CELLS, Knots, Reduced, Segment
from simbot.scenario.parameters import Parameter

PIECES = 24  # of the travel, on each of which a loss is a constant friction
FEWEST_CELLS = 8

_LOSS = "part of the work of stretching it that does not come back"
ELASTIC = Parameter(
    "elastic",
    "block",
    "elastic cord or coil spring along the travel: it pulls only when stretched",
    block=(
        Parameter(
            "stiffness",
            "coordinate_stiffness",
            "pull per travel",
            required=True,
            low=0.0,
            open_low=True,
            high=1e6,
        ),
        Parameter("slack_until", "coordinate", "the position at which it begins to pull", required=True),
        Parameter(
            "stretched",
            "choice",
            "the side of that position on which it is stretched",
            default="above",
            choices=("above", "below"),
        ),
        Parameter(
            "loss",
            "share",
            _LOSS,
            default=0.15,
            default_spread=0.05,
            low=0.0,
            high=0.9,
            reason="elastic cord returns 80 to 90 %, common practice, no source",
        ),
    ),
)
_FORCE = "towards higher positions; negative: towards lower ones"
CONSTANT_FORCE = Parameter(
    "constant_force",
    "block",
    "rolled spring that pulls alike everywhere (sheets allow 10 %: write it as a spread)",
    block=(
        Parameter("force", "coordinate_friction", _FORCE, required=True, low=-1e5, high=1e5),
        Parameter("friction", "coordinate_friction", "its own friction", default=0.0, low=0.0),
    ),
)
GAS = Parameter(
    "gas",
    "block",
    "gas spring along the travel",
    block=(
        Parameter("force", "coordinate_friction", f"at the position `at`: {_FORCE}", required=True),
        Parameter("at", "coordinate", "the position at which it has that force", required=True),
        Parameter("rise", "coordinate_stiffness", "more force per travel pressed in", default=0.0, low=0.0),
        Parameter("friction", "coordinate_friction", "its own friction", default=0.0, low=0.0),
    ),
)
BALANCE = Parameter(
    "balance",
    "block",
    "spring from a point fixed beside the pivot to a point on what turns",
    only_for="angle",
    block=(
        Parameter(
            "stiffness", "stiffness", "pull per stretch", required=True, low=0.0, open_low=True, high=1e6
        ),
        Parameter(
            "anchor", "length", "fixed end: distance from the pivot", required=True, low=0.0, open_low=True
        ),
        Parameter(
            "anchor_angle",
            "angle",
            "fixed end: the position at which the moving point would point at it",
            default=pi / 2,
        ),
        Parameter(
            "attached", "length", "moving end: distance from the pivot", required=True, low=0.0, open_low=True
        ),
        Parameter("free_length", "length", "its length when it begins to pull", default=0.0, low=0.0),
        Parameter("loss", "share", _LOSS, default=0.0, low=0.0, high=0.9),
    ),
)
SPRINGS = Parameter(
    "springs",
    "variants",
    "springs that act on it; they move things without current: event rules, inspectors and adults decide",
    block=(ELASTIC, CONSTANT_FORCE, GAS, BALANCE),
)
DETENTS = Parameter(
    "detents",
    "blocks",
    "places that it has to be pulled out of",
    block=(
        Parameter("position", "coordinate", "middle of the place", required=True),
        Parameter("width", "coordinate", "of the place", required=True, low=0.0, open_low=True),
        Parameter(
            "static_friction", "coordinate_friction", "more friction at rest there", required=True, low=0.0
        ),
    ),
)
RATCHET = Parameter(
    "ratchet",
    "block",
    "teeth that let it go up only: it falls back to the last tooth, no further; or a latch, which is one tooth",
    block=(
        Parameter(
            "pitch",
            "coordinate",
            "from one tooth to the next; none: a latch at `from`",
            low=0.0,
            open_low=True,
        ),
        Parameter(
            "from",
            "coordinate",
            "position of the first tooth, or of a latch; none: the lower end of the travel",
        ),
        Parameter(
            "release_time",
            "time",
            "from a `ratchet: {NAME: released}` step until its pawl is out of the teeth, or in again",
            default=0.0,
            low=0.0,
            high=10.0,
        ),
    ),
)
FORCES = (SPRINGS, DETENTS, RATCHET)


@dataclass(frozen=True)
class Spring:
    """One spring over the coordinate.

    Parameters
    ----------
    pull : callable
        q -> force against the coordinate, its slope [N, N m; per m or rad].
    energy : callable
        q -> what stretching it to there takes [J].
    order : int
        Of the force in q between the marks: 0 constant, 1 straight, 2 curved.
    marks : tuple of float
        Where the force has a kink or the energy turns.
    loss : float
        Share of the energy that does not come back.
    friction : float
        Of its own, everywhere [N, N m].
    """

    pull: Callable[[Knots], tuple[Knots, Knots]]
    energy: Callable[[Knots], Knots]
    order: int
    marks: tuple[float, ...] = ()
    loss: float = 0.0
    friction: float = 0.0


def with_forces(reduced: Reduced, values: Mapping[str, Any]) -> Reduced:
    """A mechanism with its springs, detents and teeth: the travel cut where they begin and end.

    The cuts do not depend on what it carries, so that a payload changes numbers and no number of segments.
    """
    springs = [_spring(name, keys) for each in values.get("springs") or () for name, keys in each.items()]
    detents = values.get("detents") or ()
    ratchet = values.get("ratchet")
    if not springs and not detents and ratchet is None:
        return reduced
    low, high = reduced.low, reduced.high
    marks = {mark for spring in springs for mark in spring.marks}
    for spring in springs:
        if spring.loss > 0.0:
            even = np.linspace(low, high, PIECES + 1)
            marks.update(even[spring.pull(even)[0] != 0.0].tolist())
    windows = [
        (
            float(each["position"]) - 0.5 * float(each["width"]),
            float(each["position"]) + 0.5 * float(each["width"]),
        )
        for each in detents
    ]
    marks.update(edge for window in windows for edge in window)
    teeth = _teeth(ratchet, low, high)
    marks.update(teeth)
    pieces = []
    for piece in _cut(reduced.segments, _apart(marks, low, high), teeth):
        extra = sum(_rub(spring, piece) for spring in springs)
        middle = 0.5 * (piece.low + piece.high)
        held = sum(
            float(each["static_friction"])
            for each, window in zip(detents, windows, strict=True)
            if window[0] < middle < window[1]
        )
        pieces.append(_loaded(_rubbed(piece, reduced, extra, held), springs, high - low))
    return replace(reduced, segments=tuple(pieces))


def _teeth(ratchet: Mapping[str, Any] | None, low: float, high: float) -> list[float]:
    if ratchet is None:
        return []
    first = low if ratchet["from"] is None else float(ratchet["from"])
    if ratchet["pitch"] is None:
        return [first]
    pitch = float(ratchet["pitch"])
    count = ceil((high - first) / pitch - 1e-9)
    return [first + number * pitch for number in range(count)]


def _apart(marks: set[float], low: float, high: float) -> list[float]:
    """Marks inside the travel in order, those closer together than rounding taken as one."""
    near = 1e-9 * (high - low)
    kept: list[float] = []
    for mark in sorted(marks):
        if low + near < mark < high - near and (not kept or mark - kept[-1] > near):
            kept.append(mark)
    return kept


def _cut(segments: tuple[Segment, ...], marks: list[float], teeth: list[float]) -> list[Segment]:
    """The same segments cut at marks; a piece that begins at a tooth catches."""
    span = segments[-1].high - segments[0].low
    near = 1e-9 * span
    pieces = []
    for segment in segments:
        inside = [mark for mark in marks if segment.low + near < mark < segment.high - near]
        for low, high in zip([segment.low, *inside], [*inside, segment.high], strict=True):
            catch = segment.catch and low == segment.low
            catch = catch or any(abs(tooth - low) <= near for tooth in teeth)
            pieces.append(replace(_stretch(segment, low, high), catch=catch))
    return pieces


def _stretch(segment: Segment, low: float, high: float) -> Segment:
    """A stretch of a segment; its `mass` stays the whole's, as nothing is picked up at a cut."""
    if (low, high) == (segment.low, segment.high):
        return segment
    knots = segment.knots
    if knots is None:
        return replace(segment, low=low, high=high)
    share = (high - low) / (segment.high - segment.low)
    cells = max(FEWEST_CELLS, ceil((len(knots) - 1) * share))
    knots = resampled(segment, np.linspace(low, high, cells + 1))
    return replace(segment, low=low, high=high, load=float(knots[0, L.TAB_Q]), knots=knots)


def resampled(segment: Segment, q: Knots) -> Knots:
    """Rows of a segment's table at other positions, from the kernel's own cubics."""
    knots = segment.knots
    assert knots is not None
    cells = len(knots) - 1
    h = (segment.high - segment.low) / cells
    x = np.clip((q - segment.low) / h, 0.0, cells)
    cell = np.minimum(x.astype(int), cells - 1)
    u = x - cell
    out = np.zeros((len(q), L.TAB_COLUMNS))

    def cubic(value: int, slope: int) -> tuple[Knots, Knots]:
        y0, y1 = knots[cell, value], knots[cell + 1, value]
        d0, d1 = h * knots[cell, slope], h * knots[cell + 1, slope]
        c2, c3 = 3.0 * (y1 - y0) - 2.0 * d0 - d1, 2.0 * (y0 - y1) + d0 + d1
        return y0 + u * (d0 + u * (c2 + u * c3)), (d0 + u * (2.0 * c2 + 3.0 * u * c3)) / h

    out[:, L.TAB_M], _ = cubic(L.TAB_M, L.TAB_DM)
    out[:, L.TAB_DM], out[:, L.TAB_DDM] = cubic(L.TAB_DM, L.TAB_DDM)
    out[:, L.TAB_Q], out[:, L.TAB_DQ] = cubic(L.TAB_Q, L.TAB_DQ)
    out[:, L.TAB_G], _ = cubic(L.TAB_G, L.TAB_DG)
    out[:, L.TAB_DG], out[:, L.TAB_DDG] = cubic(L.TAB_DG, L.TAB_DDG)
    return out


def _rub(spring: Spring, piece: Segment) -> float:
    """Friction of a spring on a piece: its own, and the loss by the work over the piece."""
    ends = spring.energy(np.array([piece.low, piece.high]))
    work = abs(float(ends[1] - ends[0])) / (piece.high - piece.low)
    return spring.friction + 0.5 * spring.loss * work


def _rubbed(piece: Segment, reduced: Reduced, extra: float, held: float) -> Segment:
    if extra == 0.0 and held == 0.0:
        return piece
    friction = reduced.friction if piece.friction is None else piece.friction
    static = reduced.static if piece.static is None else piece.static
    return replace(piece, friction=friction + extra, static=static + extra + held)


def _loaded(piece: Segment, springs: list[Spring], travel: float) -> Segment:
    """A piece with the mean pull of all springs in its load."""
    ends = np.array([piece.low, 0.5 * (piece.low + piece.high), piece.high])
    active = [spring for spring in springs if np.any(spring.pull(ends)[0] != 0.0)]
    if not active:
        return piece
    order = max(spring.order for spring in active)
    knots = piece.knots
    if knots is None and order == 0:
        return replace(piece, load=piece.load + sum(float(spring.pull(ends)[0][0]) for spring in active))
    if knots is None:
        share = (piece.high - piece.low) / travel
        cells = 1 if order == 1 else max(FEWEST_CELLS, ceil(CELLS * share))
        knots = np.zeros((cells + 1, L.TAB_COLUMNS))
        knots[:, L.TAB_M], knots[:, L.TAB_Q], knots[:, L.TAB_G] = piece.mass, piece.load, 1.0
    else:
        knots = knots.copy()
    q = np.linspace(piece.low, piece.high, len(knots))
    for spring in active:
        force, slope = spring.pull(q)
        knots[:, L.TAB_Q] += (1.0 - 0.5 * spring.loss) * force
        knots[:, L.TAB_DQ] += (1.0 - 0.5 * spring.loss) * slope
    return replace(piece, load=float(knots[0, L.TAB_Q]), knots=knots)


def with_path_friction(
    reduced: Reduced, path: Callable[[Knots], Knots], force: float, static: float, turns: tuple[float, ...]
) -> Reduced:
    """A mechanism with friction of a part that runs along a path of its own: force x |d path/d q|.

    Held constant on short pieces, by the work over each.

    Parameters
    ----------
    path : callable
        q -> where the part is [m].
    force, static : float
        Friction of the part [N], and friction at rest over it.
    turns : tuple of float
        Where the part turns around.
    """
    if force == 0.0:
        return reduced
    low, high = reduced.low, reduced.high
    marks = {*turns, *np.linspace(low, high, 2 * PIECES + 1).tolist()}
    pieces = []
    for piece in _cut(reduced.segments, _apart(marks, low, high), []):
        ends = path(np.array([piece.low, piece.high]))
        rub = force * abs(float(ends[1] - ends[0])) / (piece.high - piece.low)
        pieces.append(replace(piece, friction=reduced.friction + rub, static=reduced.static + static * rub))
    return replace(reduced, segments=tuple(pieces))


def _spring(name: str, keys: Mapping[str, Any]) -> Spring:
    return {"elastic": elastic, "constant_force": constant_force, "gas": gas, "balance": balance}[name](keys)


def elastic(keys: Mapping[str, Any]) -> Spring:
    """k (q - q0) on its stretched side, nothing on the other."""
    stiffness, begin = float(keys["stiffness"]), float(keys["slack_until"])
    side = 1.0 if keys["stretched"] == "above" else -1.0

    def pull(q: Knots) -> tuple[Knots, Knots]:
        stretch = np.maximum(side * (q - begin), 0.0)
        middle = 0.5 * (q[0] + q[-1])  # a mark is the begin of one piece and the end of another
        taut = np.full_like(q, float(side * (middle - begin) > 0.0))
        return side * stiffness * stretch, stiffness * taut

    def energy(q: Knots) -> Knots:
        return 0.5 * stiffness * np.maximum(side * (q - begin), 0.0) ** 2

    return Spring(pull, energy, 1, (begin,), float(keys["loss"]))


def constant_force(keys: Mapping[str, Any]) -> Spring:
    """The same force everywhere."""
    force = float(keys["force"])
    return Spring(
        lambda q: (np.full_like(q, -force), np.zeros_like(q)),
        lambda q: -force * q,
        0,
        friction=float(keys["friction"]),
    )


def gas(keys: Mapping[str, Any]) -> Spring:
    """F - rise (q - at): it pushes less the further it has come out."""
    force, at, rise = float(keys["force"]), float(keys["at"]), float(keys["rise"])
    return Spring(
        lambda q: (rise * (q - at) - force, np.full_like(q, rise)),
        lambda q: 0.5 * rise * (q - at) ** 2 - force * (q - at),
        1 if rise else 0,
        friction=float(keys["friction"]),
    )


def balance(keys: Mapping[str, Any]) -> Spring:
    """k (d - d0) dd/dq with d² = a² + l² - 2 a l cos(q - angle of the anchor), nothing where d < d0.

    With d0 = 0 the torque is k a l sin(q - angle): k = m g c/(a l) balances a mass m at c at every angle where
    the anchor stands upright above the pivot (zero-length spring, textbook).
    """
    stiffness, free = float(keys["stiffness"]), float(keys["free_length"])
    anchor, arm = float(keys["anchor"]), float(keys["attached"])
    zero = float(keys["anchor_angle"])

    def pull(q: Knots) -> tuple[Knots, Knots]:
        turn = q - zero
        product = anchor * arm
        length = np.sqrt(np.maximum(anchor**2 + arm**2 - 2.0 * product * np.cos(turn), 1e-18))
        lever, bend = product * np.sin(turn) / length, product * np.cos(turn) / length
        taut = np.full_like(q, float(length[len(q) // 2] >= free))
        stretch = np.maximum(length - free, 0.0)
        slope = stiffness * (lever**2 + stretch * (bend - lever**2 / length))
        return stiffness * stretch * lever, slope * taut

    def energy(q: Knots) -> Knots:
        length = np.sqrt(anchor**2 + arm**2 - 2.0 * anchor * arm * np.cos(q - zero))
        return 0.5 * stiffness * np.maximum(length - free, 0.0) ** 2

    marks = [zero + turn * pi for turn in range(-8, 9)]  # the energy turns where all three points are in line
    cosine = (anchor**2 + arm**2 - free**2) / (2.0 * anchor * arm)
    if -1.0 < cosine < 1.0:
        taut = float(np.arccos(cosine))
        marks += [zero + turn * 2.0 * pi + side * taut for turn in range(-4, 5) for side in (-1.0, 1.0)]
    return Spring(pull, energy, 2, tuple(marks), float(keys["loss"]))
