"""Details of a panel in one form, group by group."""

import numpy as np

from tests.vision.findings.scene import context, straight_grain
from vision.damage.find import DamageRegion
from vision.details import read
from vision.details.read import damage_detail, joint_detail, read_details
from vision.findings.details import NOT_WEIGHED, detail_draft
from vision.joints.finds import JointItem

BOX = ((120.0, 60.0), (140.0, 60.0), (140.0, 80.0))


def damage(kind="chip", chance=0.8):
    return DamageRegion(kind, BOX, BOX, "major", chance, None, "Missing chip (major).", 0.01)


def joint(kind, chance=0.9):
    return JointItem(kind, "Dovetails along the left side.", "Boards meet here.", "The rest can be anything.", "drawer sides",
                     ("lumber",), "moderate", chance, BOX)


def test_damage_and_joints_in_one_form():
    one, two = damage_detail(damage()), joint_detail(joint("dovetail"))
    assert (one.group, one.kind, one.level, one.chance) == ("damage", "chip", "high", 0.8)
    assert one.numbers == {"share_of_panel": 0.01} and one.outline == BOX
    assert (two.group, two.level) == ("joint", None) and two.meaning == "Boards meet here. The rest can be anything."


def test_what_is_checked_by_hand_carries_no_chance():
    assert damage_detail(damage("mould", None)).chance is None


def test_each_room_is_asked_and_its_finds_become_findings_without_weight(monkeypatch):
    ctx = context(straight_grain())
    monkeypatch.setattr(read, "find_damage", lambda view, field: (damage(),))
    monkeypatch.setattr(read, "_joints", lambda measured: [joint_detail(joint("dovetail"))])
    found = read_details(ctx.measure, "face")
    assert [d.group for d in found] == ["joint", "damage"]
    drafts = [detail_draft(d, ctx, ("veneer", "solid_wood")) for d in found]
    assert [d.kind for d in drafts] == ["joint", "damage"]
    for draft in drafts:
        assert draft.weight.decibans == 0 and draft.text.endswith(NOT_WEIGHED)
        assert draft.where[0].points == BOX


def test_a_tiny_panel_is_not_searched(monkeypatch):
    def never(view, field):
        raise AssertionError("asked")

    monkeypatch.setattr(read, "find_damage", never)
    assert read_details(context(np.full((30, 200, 3), 120, np.uint8)).measure, "face") == ()
