"""Which part of the piece a panel is, guessed from where it sits and how it is shaped.

Geometry only: no pixels are looked at, and where the layout does not say, the answer is "unknown". Stacks of fronts and
pairs of doors go by rule (common practice for a piece standing upright in the photo, no source); the rest goes by a small
network taught on rendered furniture (`training/roles.py`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon

from vision import registry
from vision.parts.role_model import ROLES, shipped_roles
from vision.parts.standing import standing
from vision.types import Panel

#: Fronts of one stack differ in width by at most this share.
WIDTH_TOLERANCE = 0.15
#: Horizontal overlap, as a share of the narrower panel, for two fronts to stand in one stack.
STACK_OVERLAP = 0.8
#: Largest gap between stacked fronts, as a share of the median height of the fronts.
STACK_GAP = 0.6
#: A drawer front is at least this many times wider than high; one of a mere pair must be clearly wide.
FRONT_ASPECT, PAIR_ASPECT = 1.2, 1.6
#: A front stands upright: its upper and lower edge differ in length by at most this share, or it lies back like a top.
FRONT_TAPER = 0.08
#: Panels a photo must show for the network to be asked, and what it must give a role that a rule speaks for.
LEAST_PANELS = 3
RULE_CHANCE = 0.25
#: Heights within one stack differ by at most this factor.
STACK_HEIGHTS = 3.0


@dataclass(frozen=True)
class Box:
    """Upright frame of a panel: `left`, `top`, `right`, `bottom` in photo pixels, and how far its sides converge.

    `taper`: width at the upper end over width at the lower end (1 when unknown). `area`: of the outline, px^2.
    """

    left: float
    top: float
    right: float
    bottom: float
    taper: float
    area: float

    @property
    def width(self) -> float:
        return max(self.right - self.left, 1e-9)

    @property
    def height(self) -> float:
        return max(self.bottom - self.top, 1e-9)

    @property
    def aspect(self) -> float:
        """Width over height."""
        return self.width / self.height


def box_of(panel: Panel) -> Box:
    """Box of a panel. The taper comes from its quad, or from the outline itself when that has four corners."""
    xs, ys = np.array(panel.outline, dtype=float).T
    corners = panel.quad if panel.quad is not None else (panel.outline if len(panel.outline) == 4 else None)
    taper = 1.0
    if corners is not None:
        by_height = sorted(corners, key=lambda p: p[1])
        upper, lower = abs(by_height[0][0] - by_height[1][0]), abs(by_height[2][0] - by_height[3][0])
        if upper > 0 and lower > 0:
            taper = upper / lower
    area = abs(Polygon(panel.outline).area)
    return Box(float(xs.min()), float(ys.min()), float(xs.max()), float(ys.max()), float(taper), float(area))


def overlap(a0: float, a1: float, b0: float, b1: float) -> float:
    """Overlap of two intervals as a share of the shorter one, 0 when apart."""
    return max(0.0, min(a1, b1) - max(a0, b0)) / max(min(a1 - a0, b1 - b0), 1e-9)


def _named(panel: Panel) -> str | None:
    """Role the user wrote into the id of an outline ('top', 'drawer_front-2', 'side left'), if any."""
    if panel.source != "given":
        return None
    words = re.sub(r"[\s\-.]+", "_", panel.id.strip().lower())
    for role in sorted(registry.ROLES, key=len, reverse=True):
        if role != "unknown" and re.fullmatch(rf"{role}(_.*|\d*)", words):
            return role
    return None


def _stacked(a: Box, b: Box, median_height: float) -> bool:
    """True when two fronts stand one above the other in one stack."""
    gap = max(a.top, b.top) - min(a.bottom, b.bottom)
    return (
        overlap(a.left, a.right, b.left, b.right) >= STACK_OVERLAP
        and abs(a.width - b.width) <= WIDTH_TOLERANCE * max(a.width, b.width)
        and -0.1 * median_height <= gap <= STACK_GAP * median_height
        and max(a.height, b.height) <= STACK_HEIGHTS * min(a.height, b.height)
    )


def _stacks(boxes: Sequence[Box | None]) -> list[list[int]]:
    """Connected groups of stacked fronts, each of at least two, as lists of indices."""
    wide = [i for i, b in enumerate(boxes) if b is not None and b.aspect >= FRONT_ASPECT and abs(1 - b.taper) <= FRONT_TAPER]
    left, groups = set(wide), []
    while left:
        group, edge = [], [left.pop()]
        while edge:
            i = edge.pop()
            group.append(i)
            for j in sorted(left):
                a, b = boxes[i], boxes[j]
                assert a is not None and b is not None
                if _stacked(a, b, float(np.median([a.height, b.height]))):
                    left.discard(j)
                    edge.append(j)
        members = [b for i in group if (b := boxes[i]) is not None]
        if len(group) >= 3 or (len(group) == 2 and all(b.aspect >= PAIR_ASPECT for b in members)):
            groups.append(sorted(group))
    return groups


def _doors(boxes: Sequence[Box | None], free: Sequence[int]) -> set[int]:
    """Pairs of upright panels of like size, side by side with their ends level."""
    found: set[int] = set()
    for n, i in enumerate(free):
        for j in free[n + 1:]:
            a, b = boxes[i], boxes[j]
            if a is None or b is None or a.aspect > 0.9 or b.aspect > 0.9:
                continue
            level = abs(a.top - b.top) + abs(a.bottom - b.bottom) <= 0.1 * max(a.height, b.height)
            like = abs(a.width - b.width) <= WIDTH_TOLERANCE * max(a.width, b.width)
            gap = max(a.left, b.left) - min(a.right, b.right)
            if level and like and -0.05 * a.width <= gap <= 0.25 * a.width:
                found |= {i, j}
    return found


def _hull(boxes: Sequence[Box | None], members: Sequence[int]) -> Box:
    chosen = [b for i in members if (b := boxes[i]) is not None]
    return Box(
        min(b.left for b in chosen), min(b.top for b in chosen), max(b.right for b in chosen),
        max(b.bottom for b in chosen), 1.0, sum(b.area for b in chosen),
    )


def _beside(box: Box, front: Box) -> str:
    """Role of a panel judged by where it stands to the front of the piece."""
    if (
        box.bottom <= front.top + 0.25 * front.height
        and box.top < front.top
        and overlap(box.left, box.right, front.left, front.right) >= 0.6
        and box.width >= 0.5 * front.width
        and box.aspect >= 1.5
        and box.taper <= 1.02
    ):
        return "top"
    upright = overlap(box.top, box.bottom, front.top, front.bottom) >= 0.7 and box.height >= 0.5 * front.height
    apart = box.right <= front.left + 0.15 * box.width or box.left >= front.right - 0.15 * box.width
    if upright and apart and box.aspect <= 1.2:
        return "frame" if box.height / box.width >= 9 else "side"
    if box.top >= front.bottom - 0.1 * front.height and box.height / box.width >= 2.5:
        return "leg"
    return "unknown"


def guess_roles(panels: Sequence[Panel], views: Sequence[str], size: tuple[int, int]) -> tuple[str, ...]:
    """Role of every panel of one photo of `size` (width, height) px (keys of registry.ROLES, same order).

    `views` are keys of registry.VIEWS. Edges and ends get no role of their own here: they take the role of the board
    they belong to. A role written by the user into an outline's id wins over geometry. What is not clear from how a panel
    stands may still be one of a stack of like fronts or a pair of doors.
    """
    if len(panels) != len(views):
        raise ValueError(f"{len(panels)} panels but {len(views)} views")
    roles = [_named(p) or "unknown" for p in panels]
    boxes = [box_of(p) if v in ("face", "whole", "unknown") else None for p, v in zip(panels, views, strict=True)]
    open_ = [b if roles[i] == "unknown" else None for i, b in enumerate(boxes)]
    # One or two panels show no layout: nothing is told from how they stand.
    chances = dict.fromkeys(range(len(panels)), dict.fromkeys(registry.ROLES, 1.0))
    if len(panels) >= LEAST_PANELS:
        model, table = shipped_roles(), standing(panels, views, size)
        chances = {i: dict(zip(ROLES, row, strict=True)) for i, row in enumerate(model.probabilities(table).tolist())}
        told = model.named(table)
        roles = [t if r == "unknown" and boxes[i] is not None else r
                 for i, (r, t) in enumerate(zip(roles, told, strict=True))]
    free = [b if roles[i] == "unknown" else None for i, b in enumerate(open_)]
    for role, found in (("drawer_front", [i for g in _stacks(open_) for i in g]),
                        ("door", _doors(open_, [i for i, b in enumerate(free) if b is not None]))):
        for i in found:
            if roles[i] == "unknown" and chances[i][role] >= RULE_CHANCE:
                roles[i] = role
    fronts = [i for i, r in enumerate(roles) if r in ("drawer_front", "door") and boxes[i] is not None]
    if fronts:
        front = _hull(boxes, fronts)
        for i, box in enumerate(open_):
            role = _beside(box, front) if box is not None and roles[i] == "unknown" else "unknown"
            if role != "unknown" and chances[i][role] >= RULE_CHANCE:
                roles[i] = role
    # A piece has one top and one back: of several that qualify the largest stays and the others are left open.
    for role in ("top", "back"):
        same = [i for i, r in enumerate(roles) if r == role and panels[i].source != "given"]
        for i in sorted(same, key=lambda k: -(boxes[k].area if boxes[k] else 0.0))[1:]:  # type: ignore[union-attr]
            roles[i] = "unknown"
    return tuple(roles)
