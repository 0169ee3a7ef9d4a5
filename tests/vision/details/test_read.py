"""Details of a panel in one form, group by group."""

import numpy as np

from tests.vision.findings.scene import context, straight_grain
from vision.damage.find import DamageRegion
from vision.details import read
from vision.details.read import damage_detail, fitting_detail, joint_detail, read_details
from vision.findings.details import NOT_WEIGHED, detail_draft
from vision.hardware.kinds import HardwareItem
from vision.joints.finds import JointItem, JointReading

BOX = ((120.0, 60.0), (140.0, 60.0), (140.0, 80.0))


def damage(kind="chip", chance=0.8):
    return DamageRegion(kind, BOX, BOX, "major", chance, None, "Missing chip (major).", 0.01)


def joint(kind, chance=0.9):
    return JointItem(kind, "Dovetails along the left side.", "Boards meet here.", "The rest can be anything.", "drawer sides",
                     ("lumber",), "moderate", chance, BOX)


def knob(far=False):
    shift = 150.0 if far else 0.0
    return HardwareItem("knob", 0.9, tuple((x + shift, y) for x, y in BOX), 20.0)


def test_damage_and_joints_in_one_form():
    one, two = damage_detail(damage()), joint_detail(joint("dovetail"))
    assert (one.group, one.kind, one.level, one.chance) == ("damage", "chip", "high", None)
    assert one.numbers == {"share_of_panel": 0.01} and one.outline == BOX
    assert (two.group, two.level) == ("joint", None) and two.meaning == "Boards meet here. The rest can be anything."


def test_chances_that_hold_on_made_up_pictures_only_are_not_handed_on(monkeypatch):
    assert damage_detail(damage("mould", None)).chance is None and joint_detail(joint("dovetail")).chance is None
    monkeypatch.setattr(read, "find_damage", lambda view, field: (damage(chance=read.LEAST_DAMAGE - 0.01),))
    unsure = JointReading(items=(joint("gap", 0.99), joint("cap", 0.6)))
    monkeypatch.setattr(read, "read_joints", lambda view, photo, ends: unsure)
    monkeypatch.setattr(read, "read_hardware", lambda view: ())
    assert read_details(context(straight_grain()).measure, "face") == ()


def test_each_room_is_asked_and_its_finds_become_findings_without_weight(monkeypatch):
    ctx = context(straight_grain())
    monkeypatch.setattr(read, "find_damage", lambda view, field: (damage(),))
    monkeypatch.setattr(read, "_joints", lambda measured, narrow: [joint_detail(joint("dovetail"))])
    monkeypatch.setattr(read, "read_hardware", lambda view: (knob(far=True),))
    found = read_details(ctx.measure, "face")
    assert [d.group for d in found] == ["joint", "fitting", "damage"]
    drafts = [detail_draft(d, ctx, ("veneer", "solid_wood")) for d in found]
    assert [d.kind for d in drafts] == ["joint", "fitting", "damage"]
    for draft in drafts:
        assert draft.weight.decibans == 0 and draft.text.endswith(NOT_WEIGHED)
    assert drafts[0].where[0].points == drafts[2].where[0].points == BOX


def test_a_knob_is_neither_damage_nor_a_cap(monkeypatch):
    ctx = context(straight_grain())
    monkeypatch.setattr(read, "find_damage", lambda view, field: (damage(),))
    monkeypatch.setattr(read, "_joints", lambda measured, narrow: [joint_detail(joint("cap"))])
    monkeypatch.setattr(read, "read_hardware", lambda view: (knob(),))
    assert [d.group for d in read_details(ctx.measure, "face")] == ["fitting"]


def test_no_damage_is_looked_for_on_narrow_sides(monkeypatch):
    def never(view, field):
        raise AssertionError("asked")

    monkeypatch.setattr(read, "find_damage", never)
    assert all(d.group != "damage" for d in read_details(context(straight_grain()).measure, "end"))


def test_a_spacing_is_told_in_millimetres_where_it_is_known():
    one = fitting_detail(HardwareItem("pull_missing", 0.8, BOX, 40.0, 96.0, 96.2, 0.4, 96.0))
    assert one.numbers == {"spacing_mm": 96.2, "nearest_mm": 96.0} and "96" in one.text
    assert fitting_detail(HardwareItem("pull_missing", 0.8, BOX, 40.0, 96.0, None, 2.0)).numbers == {}


def test_a_tiny_panel_is_not_searched(monkeypatch):
    def never(view, field):
        raise AssertionError("asked")

    monkeypatch.setattr(read, "find_damage", never)
    assert read_details(context(np.full((30, 200, 3), 120, np.uint8)).measure, "face") == ()


def test_end_joints_are_looked_for_on_long_panels_and_narrow_views(monkeypatch):
    asked = []

    def told(view, photo, ends):
        asked.append(ends)
        return JointReading()

    monkeypatch.setattr(read, "read_joints", told)
    monkeypatch.setattr(read, "read_hardware", lambda view: ())
    monkeypatch.setattr(read, "find_damage", lambda view, field: ())
    read_details(context(straight_grain(200, 220)).measure, "face")
    read_details(context(straight_grain(100, 320)).measure, "face")
    read_details(context(straight_grain(200, 220)).measure, "joint")
    assert asked == [False, True, True]
