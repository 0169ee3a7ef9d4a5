"""Asks the rooms for edges, joints, hardware and damage what one panel shows, and hands it on in one form."""

from __future__ import annotations

import math

import numpy as np

from vision.damage.find import DamageRegion, find_damage
from vision.detail import Detail
from vision.details.sides import side_detail
from vision.edges.edge import measure_edge
from vision.edges.find import find_strips
from vision.edges.find_lines import Shrunk
from vision.hardware.kinds import HardwareItem
from vision.hardware.read import read_hardware
from vision.hardware.words import saying
from vision.joints.finds import JointItem
from vision.joints.read import read_joints
from vision.measure import PanelMeasure
from vision.registry import DETAILS
from vision.types import Outline

#: Views on which a narrow side is told of; on others strips beside the face are looked for, and damage.
NARROW = ("edge", "end", "joint")
#: Panels whose short side is under this on the photo, px, are too small to look for joints, fittings and damage on.
LEAST_PX = 48.0
#: At most this many of a group on one panel, likeliest first: a list nobody reads tells nothing. At most so many strips beside.
MOST, MOST_BESIDE = 6, 2
#: End joints are looked for on panels at least so many times longer than wide, as drawer sides are, and on narrow views.
LEAST_LONG = 1.8
#: Told from these chances of the rooms on. They were calibrated on made-up pictures and do not hold elsewhere, so they are not
#: handed on; the limits are such that on sound rendered furniture few panels are wronged (training.detail_rates).
LEAST_JOINT = {"cam": 0.9, "cap": 0.9, "dowel": 0.9, "nail": 0.75, "staples": 0.75, "relief": 0.9}
LEAST_DAMAGE = 0.7
#: A strip beside a face that is likelier a neighbouring part's says nothing of this panel.
LEAST_OWN = 0.5
#: Not told: a drawer's reveal and a shadow give the same dark wedge, on rendered fronts with the highest chances.
SILENT = ("gap",)


def read_details(measured: PanelMeasure, view: str, pictures: Shrunk | None = None) -> tuple[Detail, ...]:
    """Everything besides the material that one panel shows, group by group, likeliest first within a group.

    `view`: key of registry.VIEWS, the panel's likeliest; `pictures`: of its photo, to share between panels.

    Raises
    ------
    ModelMismatch
        if a model of one of the rooms is missing or damaged.
    """
    narrow = view in NARROW
    found = _sides(measured, pictures, narrow)
    work = measured.view
    if min(work.mask.shape) * work.px_scale < LEAST_PX:
        return tuple(found)
    fittings = [fitting_detail(i) for i in read_hardware(work)[:MOST]]
    found += [d for d in _joints(measured, narrow) if not _within_any(d, fittings)]
    found += fittings
    if not narrow:
        sure = [d for d in find_damage(work, measured.field) if d.probability is None or d.probability >= LEAST_DAMAGE]
        damage = [damage_detail(d) for d in sure]
        found += [d for d in damage if not any(_overlap(f.outline, d.outline) for f in fittings)][:MOST]
    return tuple(found)


def _sides(measured: PanelMeasure, pictures: Shrunk | None, narrow: bool) -> list[Detail]:
    """The panel's own narrow side, or the strips beside a face."""
    if narrow:
        return [] if measured.side is None else [side_detail(measured.side)]
    work = measured.view
    if work.photo_pixels is None:
        return []
    px_per_mm = work.px_scale / work.mm_per_px if work.mm_per_px else None
    out = []
    strips = find_strips(work.photo_pixels, work.panel.outline, pictures=pictures)
    for strip in [s for s in strips if s.own >= LEAST_OWN][:MOST_BESIDE]:
        report = measure_edge(work.photo_pixels, strip.outline, face_at=strip.face_at, px_per_mm=px_per_mm)
        if report is not None and report.kind not in ("other", "cannot_tell"):
            out.append(side_detail(report, beside=True))
    return out


def _joints(measured: PanelMeasure, narrow: bool) -> list[Detail]:
    height, width = measured.view.mask.shape
    ends = narrow or max(height, width) >= LEAST_LONG * min(height, width)
    items = read_joints(measured.view, measured.view.photo_pixels, ends=ends).items
    told = [i for i in items if i.kind in DETAILS["joint"] and i.kind not in SILENT and i.chance >= LEAST_JOINT.get(i.kind, 0.0)]
    return [joint_detail(i) for i in told[:MOST]]


def _overlap(a: Outline, b: Outline) -> bool:
    """The middle of `a` lies within `b`."""
    import cv2

    x, y = np.mean(np.asarray(a, dtype=np.float32), axis=0)
    return bool(cv2.pointPolygonTest(np.asarray(b, dtype=np.float32).reshape(-1, 1, 2), (float(x), float(y)), False) >= 0)


def _within_any(detail: Detail, others: list[Detail]) -> bool:
    """A round thing that is already told as hardware."""
    return detail.kind in ("cam", "cap", "dowel", "nail") and any(_overlap(detail.outline, o.outline) for o in others)


def joint_detail(item: JointItem) -> Detail:
    """A joint, row of holes or connector with what it supports and what it does not."""
    return Detail("joint", item.kind, None, None, item.outline, item.sentence, f"{item.means} {item.limits}")


def fitting_detail(item: HardwareItem) -> Detail:
    """A piece of hardware, or the holes of one that is gone."""
    said = saying(item)
    measures = {"spacing_mm": item.spacing_mm, "nearest_mm": item.nearest_mm}
    known = {k: round(float(v), 2) for k, v in measures.items() if v is not None and math.isfinite(v)}
    return Detail("fitting", item.kind, None, None, item.outline, said.seen, f"{said.means} {said.limits}", known)


def damage_detail(region: DamageRegion) -> Detail:
    """A damaged place with what it means for the work."""
    share = region.area_share
    numbers = {"share_of_panel": round(share, 4)} if math.isfinite(share) else {}
    return Detail("damage", region.kind, None, region.level, region.photo_outline, region.words,
                  f"{region.meaning[0].upper()}{region.meaning[1:]}.", numbers)
