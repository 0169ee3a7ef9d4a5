"""What a layout of leaves or boards is: names, words and the types that carry a reading. Pixels are working-view pixels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from vision.types import Outline, Point

#: Layouts that can be named, with the geometry each stands for.
LAYOUTS: Final[Mapping[str, str]] = MappingProxyType({
    "single": "One piece: no joint and no related leaves found.",
    "boards": "Boards side by side, widths and tones differing, no figure shared.",
    "random": "Leaves side by side without any shared figure.",
    "slip": "Leaves side by side, each repeating its neighbour's figure with drift.",
    "book": "Leaves side by side, each the mirror image of its neighbour with drift.",
    "end": "Leaves mirrored end to end, across a line at right angles to the grain.",
    "sunburst": "Wedges about a centre with the grain running outwards.",
    "box": "Four leaves meeting on the diagonals, grain parallel to the edges of the panel.",
    "reverse_box": "Four leaves meeting on the diagonals, grain at right angles to the edges of the panel.",
    "diamond": "Four quarters with the grain slanting round the centre.",
    "reverse_diamond": "Four quarters with the grain slanting towards the centre.",
    "herringbone": "Slanting grain that turns back at one or more straight lines.",
    "basket": "Blocks laid in turn lengthwise and crosswise.",
})

#: How leaf widths share the panel, said on top of book or slip.
WIDTHS: Final[Mapping[str, str]] = MappingProxyType({
    "running": "leaves of unequal width: as many as were needed, the last ones trimmed",
    "balance": "leaves of equal width",
    "centre_balance": "an even number of equal leaves with a joint on the middle line",
})

#: Names of a reading that is no layout.
NO_LAYOUT: Final[Mapping[str, str]] = MappingProxyType({
    "none": "No grain to read a layout from.",
    "unclear": "The measurements do not settle which layout this is.",
})

#: A name is given when it is at least this probable.
SURE: Final = 0.5

#: What two neighbours are to each other.
KINDS: Final = ("mirrored", "repeated", "unrelated")


@dataclass(frozen=True)
class Leaf:
    """One leaf or board. `outline`: polygon; `angle`: mean grain direction in degrees 0..180 counter-clockwise from +x
    (nan where no grain shows); `width`: px across its grain (for a wedge: at its outer end)."""

    outline: Outline
    angle: float
    width: float


@dataclass(frozen=True)
class Seam:
    """A joint from `p0` to `p1`. `strength` 0..1: how surely it is there. `cue`: 'direction', 'tone', 'mirror' or 'repeat',
    the evidence that showed it first."""

    p0: Point
    p1: Point
    strength: float
    cue: str


@dataclass(frozen=True)
class Relation:
    """How leaf `one` and its neighbour `two` (indices into the leaves) compare.

    `mirror` and `repeat`: peak correlation (-1..1) of the figure that varies along the grain, `null`: the 95th percentile
    of the peaks found at positions along the grain where no relation can be. `tone`: step of lightness L* from one to
    two; `drift`: length in px of the shift from the exact position at the peak, nan when unrelated. `kind`: one of KINDS.
    """

    one: int
    two: int
    mirror: float
    repeat: float
    null: float
    tone: float
    drift: float
    kind: str

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"unknown relation {self.kind!r}")


@dataclass(frozen=True)
class Axis:
    """A mirror axis from `p0` to `p1`; `error_px` and `error_deg`: expected (one sigma) error at right angles and in angle."""

    p0: Point
    p1: Point
    error_px: float
    error_deg: float


@dataclass(frozen=True)
class Centre:
    """Where seams meet, with the expected (one sigma) error in px."""

    x: float
    y: float
    error_px: float


@dataclass(frozen=True)
class Layout:
    """Reading of one panel. `name`: a key of LAYOUTS or NO_LAYOUT; `probabilities`: over LAYOUTS, summing to 1; `axes`: all
    mirror axes, strongest first; `axis`: the first of them; `wedges`: how many wedges a layout about a centre has;
    `widths`: a key of WIDTHS or None; `points_to`: 'veneer', 'boards' or None; `words` say why."""

    name: str
    probabilities: Mapping[str, float]
    leaves: tuple[Leaf, ...]
    seams: tuple[Seam, ...]
    relations: tuple[Relation, ...]
    axes: tuple[Axis, ...]
    centre: Centre | None
    wedges: int | None
    widths: str | None
    words: str
    points_to: str | None

    def __post_init__(self) -> None:
        if self.name not in LAYOUTS and self.name not in NO_LAYOUT:
            raise ValueError(f"unknown layout {self.name!r}")
        if set(self.probabilities) != set(LAYOUTS) or abs(sum(self.probabilities.values()) - 1) > 1e-6:
            raise ValueError("probabilities are not a distribution over the layouts")
        if self.points_to not in ("veneer", "boards", None):
            raise ValueError(f"a layout cannot point to {self.points_to!r}")
        if self.widths is not None and self.widths not in WIDTHS:
            raise ValueError(f"unknown widths {self.widths!r}")

    @property
    def axis(self) -> Axis | None:
        """The strongest mirror axis."""
        return self.axes[0] if self.axes else None
