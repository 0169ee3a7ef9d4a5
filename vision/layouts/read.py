"""From evidence to a reading: the name with its probability, then leaves, seams, relations, axes or centre for that name."""

from __future__ import annotations

import math
from weakref import ReferenceType, WeakKeyDictionary, ref

from vision.grain.metric import angle_difference
from vision.layouts.canvas import make_canvas
from vision.layouts.gather import Evidence, gather
from vision.layouts.geometry import Geometry, geometry_of
from vision.layouts.joints import LEAST_R, REPEAT_Z
from vision.layouts.layout import LAYOUTS, SURE, Axis, Layout, Leaf
from vision.layouts.learned import Seen, shipped_net
from vision.layouts.measure import as_features
from vision.layouts.naming import load_forest
from vision.layouts.words import points_to, widths_of, words_of
from vision.types import GrainField, WorkingView

#: A book match over whose axes no likeness was measured is named only when it is this probable.
_SURE_BOOK = 0.8
#: A panel over which a step of tone runs as strongly as this is not called one piece.
_STEP = 0.85

#: By field, with the view it was read with: weakly, since other rooms keep fields by view and the two would hold each other.
_DONE: WeakKeyDictionary[GrainField, tuple[ReferenceType[WorkingView], Evidence | None]] = WeakKeyDictionary()


def evidence_of(view: WorkingView, field: GrainField) -> Evidence | None:
    """Evidence of a panel, gathered once for each pair of view and field."""
    kept = _DONE.get(field)
    if kept is None or kept[0]() is not view:
        kept = (ref(view), gather(view, field))
        _DONE[field] = kept
    return kept[1]


def measure(view: WorkingView, field: GrainField) -> dict[str, float]:
    """All layout numbers of a panel, feature name -> number; nan where a number cannot be measured."""
    return as_features(evidence_of(view, field))


_READ: WeakKeyDictionary[GrainField, tuple[ReferenceType[WorkingView], Layout]] = WeakKeyDictionary()


def read_layout(view: WorkingView, field: GrainField) -> Layout:
    """Layout of a panel's leaves or boards, read once for each pair of view and field. `field`: grain field of the view.

    The name is the most probable one, 'unclear' when none reaches `SURE`, 'none' when no grain shows. Geometry belongs to
    the most probable name even when that is unclear, so that what was seen can be shown.
    """
    kept = _READ.get(field)
    if kept is None or kept[0]() is not view:
        kept = (ref(view), _read(view, field))
        _READ[field] = kept
    return kept[1]


def _read(view: WorkingView, field: GrainField) -> Layout:
    e = evidence_of(view, field)
    if e is None:
        even = {n: 1 / len(LAYOUTS) for n in LAYOUTS}
        return Layout("none", even, (), (), (), (), None, None, None, "No grain shows, so no layout can be read.", None)
    seen: Seen = shipped_net().look(make_canvas(view, field))
    probabilities = load_forest().probabilities(e.values, seen.name)
    probable = max(probabilities, key=lambda n: probabilities[n])
    g = geometry_of(probable, view, field, e, seen)
    sure = probabilities[probable]
    name = probable if sure >= SURE and supported(e, g, probable, sure) else "unclear"
    widths = widths_of(g.widths) if probable in ("book", "slip") else None
    text = words_of(name, probable, sure, len(g.leaves), g.relations, g.wedges, widths, sure >= SURE)
    return Layout(name, probabilities, g.leaves, g.seams, g.relations, g.axes, g.centre, g.wedges, widths, text,
                  points_to(name, g.relations))


def supported(e: Evidence, g: Geometry, name: str, sure: float) -> bool:
    """Whether what a name says was also found: the axes of a mirrored layout, the repeat of a slip match, and for one piece
    that no joint was measured."""
    v = e.values
    if name == "end":
        return bool(g.axes)
    if name == "book":
        return bool(g.axes) and (sure >= _SURE_BOOK or any(r.kind == "mirrored" for r in g.relations))
    if name == "slip":
        return (v["repeated_pairs"] > 0 or any(r.kind == "repeated" for r in g.relations)
                or (v["repeat_z"] >= REPEAT_Z and v["repeat_r"] >= LEAST_R))
    if name == "single":
        return not (v["tone_joints"] >= 1 and v["joint_strength"] >= _STEP)
    return True


def mirrored_directions(leaves: tuple[Leaf, ...], axis: Axis) -> float:
    """Degrees by which the first two leaves' grain misses being mirrored at an axis."""
    line = math.degrees(math.atan2(-(axis.p1[1] - axis.p0[1]), axis.p1[0] - axis.p0[0]))
    return float(abs(angle_difference(leaves[1].angle, 2 * line - leaves[0].angle)))
