"""What can be found: frozen results with place, numbers and their errors, a chance, and words on what they support."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from vision.types import Outline

KINDS: Final = ("tails", "round", "row", "pair", "strokes", "gap", "relief")
#: What a run of fingers can be called, and how it was made.
TAIL_NAMES: Final = ("dovetail", "fingers", "cannot_tell")
MADE: Final = ("hand", "machine", "cannot_tell")
ROUND_NAMES: Final = ("hole", "cam", "cap", "screw", "dowel", "nail", "knob")
ROW_NAMES: Final = ("row", "grid")


def _require(condition: bool, message: str) -> None:
    if not condition:
        raise ValueError(message)


@dataclass(frozen=True)
class Side:
    """One side of a finger: both ends (shoulder end first) in working-view pixels, its slant as degrees by which the tail
    widens towards the end (negative: narrows), before and without any correction for the view, and the error of it."""

    line: Outline
    slant: float
    slant_error: float


@dataclass(frozen=True)
class Tails:
    """Fingers of one board in the end grain of another, along one line.

    `outline`: the joint as a polygon, working-view pixels, which may lie outside the view where the photo goes on; `end`:
    the side of the panel it lies at ('left', 'right', 'top', 'bottom'); `name` of TAIL_NAMES; `fingers`, `pins`: whole
    fingers of the board seen and of the other between them; `pitch`, `pitch_error`: px from middle to middle;
    `pitch_spread`: spread of pitch over the pitch, the view's steady shrinking taken out; `angle`, `angle_error`: of the
    sides, degrees; `depth`: px; `made` of MADE, `hand`: chance that it was laid out by hand; `chance`: of being a joint.
    """

    outline: Outline
    end: str
    name: str
    fingers: int
    pins: int
    pitch: float
    pitch_error: float
    pitch_spread: float
    angle: float
    angle_error: float
    depth: float
    made: str
    hand: float
    chance: float
    sides: tuple[Side, ...]
    pitch_mm: float | None = None

    def __post_init__(self) -> None:
        _require(self.name in TAIL_NAMES, f"unknown name {self.name!r}")
        _require(self.made in MADE, f"unknown making {self.made!r}")
        _require(0 <= self.chance <= 1 and 0 <= self.hand <= 1, "chances lie between 0 and 1")
        _require(len(self.outline) >= 3, "an outline has at least three points")


@dataclass(frozen=True)
class RoundThing:
    """A round thing: middle, radius and its error in working-view pixels; `name` of ROUND_NAMES with its `chance`; `chances`
    of all of them (the rest is nothing of the kind); `mm`: width where a scale is known."""

    x: float
    y: float
    radius: float
    radius_error: float
    name: str
    chance: float
    chances: tuple[float, ...]
    mm: float | None = None

    def __post_init__(self) -> None:
        _require(self.name in ROUND_NAMES, f"unknown name {self.name!r}")
        _require(self.radius > 0 and 0 <= self.chance <= 1, "a radius is positive and a chance lies between 0 and 1")

    @property
    def outline(self) -> Outline:
        import math

        return tuple((self.x + self.radius * math.cos(k * math.pi / 8), self.y + self.radius * math.sin(k * math.pi / 8))
                     for k in range(16))


@dataclass(frozen=True)
class Row:
    """Holes at one pitch: a 'row' along a line or a 'grid'. `pitch`, `pitch_error`, `hole`: px; `ratio`: pitch over hole width
    (needs no scale: 32 mm rows of 5 mm holes have 6.4); `holes`: middles in order."""

    name: str
    holes: Outline
    pitch: float
    pitch_error: float
    hole: float
    chance: float
    mm: float | None = None

    def __post_init__(self) -> None:
        _require(self.name in ROW_NAMES, f"unknown name {self.name!r}")
        _require(len(self.holes) >= 2 and self.pitch > 0, "a row has at least two holes and a pitch")

    @property
    def ratio(self) -> float:
        return self.pitch / max(self.hole, 1e-6)

    @property
    def outline(self) -> Outline:
        return self.holes


@dataclass(frozen=True)
class Pair:
    """Two like holes level with each other and nothing between them, where a pull may have been. `spacing`: px; `level`:
    degrees off the panel's own side; `off_centre`: share of the panel's width; `nearest`: pull spacing it fits, mm, where a
    scale is known."""

    holes: Outline
    spacing: float
    level: float
    off_centre: float
    chance: float
    mm: float | None = None
    nearest: float | None = None

    @property
    def outline(self) -> Outline:
        return self.holes


@dataclass(frozen=True)
class Strokes:
    """Short straight strokes of one length in a row near an edge: staples. `length`, `spacing`: px."""

    lines: tuple[Outline, ...]
    length: float
    spacing: float
    chance: float

    @property
    def outline(self) -> Outline:
        return tuple(p for line in self.lines for p in line)


@dataclass(frozen=True)
class Gap:
    """A dark wedge along a straight line: an open joint. `line`: from the narrow end to the wide; widths and errors in px."""

    line: Outline
    narrow: float
    wide: float
    width_error: float
    chance: float
    mm: float | None = None

    @property
    def outline(self) -> Outline:
        return self.line


@dataclass(frozen=True)
class Relief:
    """Shading that follows a shape rather than figure; `direction`: degrees of its ridges, nan for round work."""

    outline: Outline
    direction: float
    chance: float


Find = Tails | RoundThing | Row | Pair | Strokes | Gap | Relief


#: Keys of what is given out, whatever its shape in the reading.
ITEM_KINDS: Final = ("dovetail", "fingers", "joint", "hole", "cam", "cap", "screw", "dowel", "nail", "knob", "hole_row",
                     "hole_grid", "hole_pair", "staples", "gap", "relief")


@dataclass(frozen=True)
class JointItem:
    """A find as others pass it on. `kind` of ITEM_KINDS; `sentence`: what is seen, with its numbers; `means`, `limits`: what it
    supports and what it does not; `speaks_for`: the part meant; `cores`: keys of registry.CORES it leans towards; `strength`
    of words.STRENGTHS; `chance`; `outline`: polygon in photo pixels."""

    kind: str
    sentence: str
    means: str
    limits: str
    speaks_for: str
    cores: tuple[str, ...]
    strength: str
    chance: float
    outline: Outline

    def __post_init__(self) -> None:
        _require(self.kind in ITEM_KINDS, f"unknown kind {self.kind!r}")
        _require(0 <= self.chance <= 1, "a chance lies between 0 and 1")
        _require(len(self.outline) >= 3, "an outline has at least three points")


@dataclass(frozen=True)
class JointReading:
    """All that was found on one panel and round it, best first within each kind; `items`: the same for passing on, likeliest
    first, where the view was known."""

    tails: tuple[Tails, ...] = ()
    rounds: tuple[RoundThing, ...] = ()
    rows: tuple[Row, ...] = ()
    pairs: tuple[Pair, ...] = ()
    strokes: tuple[Strokes, ...] = ()
    gaps: tuple[Gap, ...] = ()
    reliefs: tuple[Relief, ...] = ()
    items: tuple[JointItem, ...] = ()

    @property
    def finds(self) -> tuple[Find, ...]:
        return (*self.tails, *self.rounds, *self.rows, *self.pairs, *self.strokes, *self.gaps, *self.reliefs)
