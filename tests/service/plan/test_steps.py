"""Steps of a route: order, what is sanded and how, old finishes that may hold lead, minutes that follow the area."""

from dataclasses import replace
from importlib.resources import files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.plan.routes import refusal
from service.plan.steps import TOPCOATS, area_of, lead_presumed, read, steps_of
from service.plan.types import GOALS
from service.rulebook import BrokenRules, parse
from tests.service.plan.parts import open_subjects, subject, subjects

TEXT = files("service").joinpath("rules/steps.toml").read_text(encoding="utf-8")
MODERN = subject("veneer", face_kind="modern", cores=("particle_board",))


def keys(part, goal, topcoat="water"):
    return [s.key for s in steps_of(part, goal, topcoat)]


def step(part, goal, key, topcoat="water"):
    return next(s for s in steps_of(part, goal, topcoat) if s.key == key)


def test_the_order_of_work():
    assert keys(subject("solid_wood"), "restain") == [
        "clean", "degrease", "strip", "wash_off", "sand_for_stain", "dust_off", "stain", "coat_water"]
    assert keys(subject("printed", cores=("particle_board",)), "paint") == [
        "clean", "degrease", "scuff", "dust_off", "edge_seal", "prime_slick", "paint"]
    assert keys(subject("solid_wood"), "leave") == []


def test_grits_end_where_woodworkers_stop():
    """Woodworking magazines and forums: stop at 150 before a stain, 220 before a clear coat; never skip more than one grit."""
    assert step(subject("solid_wood"), "restain", "sand_for_stain").grits[-1] in (150, 180)
    assert step(subject("solid_wood"), "clear", "sand_for_clear").grits[-1] == 220
    assert max(step(MODERN, "restain", "sand_for_stain").grits) <= 180


def test_a_scuff_on_laminate_is_fine():
    """Trade pages on painting laminate: 180 to 240."""
    assert set(step(subject("printed"), "paint", "scuff").grits) <= {180, 220, 240}


def test_a_thin_face_is_sanded_by_its_budget_and_says_its_chance():
    found = step(MODERN, "restain", "sand_for_stain")
    assert found.tool == "hand" and found.grits[0] >= 150 and "chance to go through" in found.how
    assert any(s.status == "estimate" for s in found.sources)


def test_painted_laminate_is_left_a_week():
    """A home magazine: painted laminate is left at least a week before use."""
    assert step(subject("printed"), "paint", "paint").wait_hours >= 7 * 24


def test_old_paint_of_unknown_age_is_never_sanded_dry():
    """Before 1978 in the US or of unknown age: presumed to hold lead (16 CFR 1303 took effect in February 1978)."""
    for age in (None, True):
        found = step(subject("opaque", made_before_1978=age), "paint", "scuff")
        assert found.grits == () and "Do not sand dry" in found.how and "old_paint" in found.hazards
    assert step(subject("opaque", made_before_1978=False), "paint", "scuff").grits == (220,)


@given(subjects, st.sampled_from(list(GOALS)), st.sampled_from(list(TOPCOATS)))
@settings(max_examples=80, deadline=None)
def test_nothing_with_a_finish_that_may_hold_lead_is_sanded_before_it_is_stripped(part, goal, topcoat):
    stripped = False
    for s in steps_of(part, goal, topcoat):
        stripped |= s.key == "strip"
        if lead_presumed(part) and s.grits and not stripped:
            assert part.old_finish in ("wax", "oil")


@given(open_subjects, st.sampled_from(list(GOALS)), st.sampled_from(list(TOPCOATS)))
@settings(max_examples=80, deadline=None)
def test_an_open_part_that_may_be_a_print_is_never_stripped_or_stained(part, goal, topcoat):
    if refusal(part, goal) is None and "printed" in part.faces:
        assert not {"strip", "stain", "sand_for_stain", "sand_for_clear"} & set(keys(part, goal, topcoat))


@given(subjects, st.sampled_from(list(GOALS)), st.floats(1.01, 5))
@settings(max_examples=60, deadline=None)
def test_minutes_grow_with_the_area(part, goal, times):
    larger = replace(part, length_mm=part.length_mm * times)
    for a, b in zip(steps_of(part, goal), steps_of(larger, goal), strict=True):
        assert b.minutes > a.minutes


def test_minutes_are_not_made_up_where_the_size_is_not_known():
    assert all(s.minutes is None for s in steps_of(replace(MODERN, length_mm=None), "paint"))


def test_edges_take_the_strip_round_the_part():
    assert area_of(MODERN, True) == pytest.approx(2 * (1.2 + 0.5) * 0.018)


def test_board_dust_is_named_where_board_may_be_below():
    assert "board_resin" in step(MODERN, "restain", "sand_for_stain").hazards
    assert "board_resin" not in step(subject("solid_wood", cores=("lumber",)), "restain", "sand_for_stain").hazards


def test_one_primer_is_enough():
    primers = [k for k in keys(subject("printed", "veneer"), "paint") if k.startswith("prime")]
    assert primers == ["prime_slick"]


@pytest.mark.parametrize(("old", "new", "says"), [
    ('product = "soap"', 'product = "lye"', "not listed"),
    ('hazards = ["dust"]', 'hazards = ["noise"]', "unknown hazards"),
    ('tool = "hand"', 'tool = "grinder"', "unknown tool"),
    ("minutes_per_m2 = 8\n", "", "is missing"),
    ('title = "Clean"', 'title = "Clean"\nspeed = 3', "unknown entries"),
    ('wait_hours = "cure"', 'wait_hours = "never"', "x"),
])
def test_a_file_that_does_not_hold_is_refused(old, new, says):
    changed = TEXT.replace(old, new, 1) if old in TEXT else TEXT.replace('wait_hours = "use"', 'wait_hours = "never"', 1)
    with pytest.raises(BrokenRules, match=says if says != "x" else "is missing|wrong kind"):
        read(parse("steps.toml", changed))


def test_a_primed_print_must_pass_the_tape():
    """Cross-cut tape test as in ASTM D3359 (written for metal): 5B is nothing lost, and no less is asked of a hidden spot."""
    assert "cross cut and tape pulled off: nothing may come off" in step(subject("printed"), "paint", "prime_slick").test


def test_no_bare_wood_is_sanded_beyond_220():
    """A tool shop's page: beyond 220 the wood burnishes and takes less stain."""
    for face in ("solid_wood", "veneer"):
        for goal in ("restain", "clear"):
            assert max(g for s in steps_of(subject(face, face_kind="hand_sawn"), goal) for g in s.grits) <= 220


def test_bare_wood_that_old_finish_came_off_is_sanded_by_hand_with_a_warning():
    found = step(subject("solid_wood", made_before_1978=None), "restain", "sand_for_stain")
    assert found.tool == "hand" and "may have left lead" in found.how and "old_paint" in found.hazards
    later = step(subject("solid_wood", made_before_1978=False), "restain", "sand_for_stain")
    assert later.tool == "machine" and "lead" not in later.how
