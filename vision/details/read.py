"""Asks the rooms for edges, joints, fittings and damage what one panel shows, and hands it on in one form."""

from __future__ import annotations

import math

from vision.damage.find import DamageRegion, find_damage
from vision.detail import Detail
from vision.details.sides import side_detail
from vision.joints.finds import JointItem
from vision.joints.read import read_joints
from vision.measure import PanelMeasure
from vision.registry import DETAILS

#: Views on which a narrow side is told of, and on which damage is looked for.
NARROW = ("edge", "end", "joint")
#: Panels whose short side is under this on the photo, px, are too small to look for joints, fittings and damage on.
LEAST_PX = 48.0
#: At most this many of a group on one panel, likeliest first: a list nobody reads tells nothing.
MOST = 6


def read_details(measured: PanelMeasure, view: str) -> tuple[Detail, ...]:
    """Everything besides the material that one panel shows, group by group, likeliest first within a group.

    `view`: key of registry.VIEWS, the panel's likeliest.

    Raises
    ------
    ModelMismatch
        if a model of one of the rooms is missing or damaged.
    """
    found: list[Detail] = []
    if view in NARROW and measured.side is not None:
        found.append(side_detail(measured.side))
    work = measured.view
    if min(work.mask.shape) * work.px_scale >= LEAST_PX:
        found += _joints(measured)
        found += [damage_detail(d) for d in find_damage(work, measured.field)[:MOST]]
    return tuple(found)


def _joints(measured: PanelMeasure) -> list[Detail]:
    items = read_joints(measured.view, measured.view.photo_pixels).items
    return [joint_detail(i) for i in items if i.kind in DETAILS["joint"]][:MOST]


def joint_detail(item: JointItem) -> Detail:
    """A joint, row of holes or fitting with what it supports and what it does not."""
    return Detail("joint", item.kind, item.chance, None, item.outline, item.sentence, f"{item.means} {item.limits}")


def damage_detail(region: DamageRegion) -> Detail:
    """A damaged place with what it means for the work."""
    share = region.area_share
    numbers = {"share_of_panel": round(share, 4)} if math.isfinite(share) else {}
    return Detail("damage", region.kind, region.probability, region.level, region.photo_outline, region.words,
                  f"{region.meaning[0].upper()}{region.meaning[1:]}.", numbers)
