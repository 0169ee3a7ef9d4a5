"""What a face allows: the trade's table, open parts, and refusals that give their reason."""

from importlib.resources import files

import pytest
from hypothesis import given, settings

from service.plan.routes import conditions, read, refusal, sanding, why_not
from service.plan.types import GOALS, Damage
from service.rulebook import BrokenRules, parse
from service.sanding.budget import TOO_RISKY
from tests.service.plan.parts import open_subjects, subject, subjects

TEXT = files("service").joinpath("rules/routes.toml").read_text(encoding="utf-8")


def allowed(part):
    return {g for g in GOALS if refusal(part, g) is None}


def test_solid_wood_allows_everything():
    """Finishing paths by substrate: strip and restain, gel stain, primer and paint on solid wood (common practice, no source)."""
    assert allowed(subject("solid_wood")) == set(GOALS)


def test_a_sound_veneer_of_half_a_millimetre_allows_everything_with_limited_sanding():
    """The same table: veneer of 0.5 mm and more, sound, with limited sanding (common practice, no source)."""
    part = subject("veneer", face_kind="modern")
    assert allowed(part) == set(GOALS)
    assert sanding(part, "restain").worst <= TOO_RISKY


@pytest.mark.parametrize("flaw", [{"patched": True}, {"sanded_through": True}, {"face_mm": (0.2, 0.25)},
                                  {"damage": (Damage("worn_through", "medium", True),)}])
def test_a_thin_patched_or_worn_veneer_is_not_stripped(flaw):
    """The same table: thin, patched or sanded through: no restaining, paint yes (common practice, no source)."""
    part = subject("veneer", face_kind="modern", **flaw)
    assert refusal(part, "restain") is not None and "paint" in allowed(part)


def test_a_veneer_of_unknown_thickness_is_taken_as_thin():
    assert "would not survive" in refusal(subject("veneer"), "restain").reason


def test_a_print_is_painted_or_left():
    """A trade page on staining laminate: stain beads or wipes off; makers advise against gel stain on it."""
    part = subject("printed")
    assert allowed(part) == {"refresh", "paint", "leave"}
    assert refusal(part, "restain").sources[0].status == "seen"
    assert "print" in refusal(part, "restain").reason


def test_a_film_that_lifts_is_not_painted():
    """Paper foil and vinyl film: painted if the film is bonded, else it is removed (common practice, no source)."""
    assert "paint" not in allowed(subject("printed", bonded=False)) and "paint" in allowed(subject("printed", bonded=True))


def test_raw_board_is_sealed_before_paint():
    """A trade page on board furniture: raw edges swell with water and are sealed first."""
    part = subject("bare_board", cores=("particle_board",))
    assert allowed(part) == {"paint", "leave"}
    assert any("sealed before any coat" in text for text, _ in conditions(part, "paint"))


def test_printed_graining_on_wood_is_not_stripped():
    """A trade page on period furniture: the wood pattern dissolved with the top coat."""
    part = subject("solid_wood", printed_graining=True)
    assert not {"restain", "clear"} & allowed(part) and {"gel_stain", "paint"} <= allowed(part)


def test_what_lies_under_paint_is_not_planned_for():
    assert not {"restain", "clear"} & allowed(subject("opaque"))


def test_swollen_or_mouldy_board_is_left():
    for kind in ("mould", "crumbled", "swollen_edge"):
        part = subject("printed", cores=("particle_board",), damage=(Damage(kind, "high", True),))
        assert allowed(part) == {"leave"}, kind


@given(open_subjects)
@settings(max_examples=60, deadline=None)
def test_an_open_part_allows_only_what_all_that_is_left_allow(part):
    for goal in GOALS:
        each = [why_not(part, goal, f) for f in part.faces]
        assert (refusal(part, goal) is None) == all(r is None for r in each)


@given(subjects)
@settings(max_examples=60, deadline=None)
def test_every_refusal_gives_its_reason_and_leaving_is_never_refused(part):
    assert refusal(part, "leave") is None
    for goal in GOALS:
        found = refusal(part, goal)
        assert found is None or (len(found.reason) > 20 and found.sources)


def test_what_a_photo_points_at_refuses_nothing_and_becomes_a_condition():
    part = subject("printed", cores=("particle_board",), damage=(Damage("swollen_edge", "high"),))
    assert "paint" in allowed(part) and any("A photo points at a swollen board edge" in t for t, _ in conditions(part, "paint"))


def test_an_open_part_says_what_to_find_out():
    found = refusal(subject("solid_wood", "printed"), "restain")
    assert found.reason.startswith("It may be printed surface") and "Find out first" in found.reason


@pytest.mark.parametrize(("old", "new", "says"), [
    ('faces = ["not_wood"]', 'faces = ["glass"]', "unknown faces"),
    ("bonded = false", "bondage = false", "unknown conditions"),
    ('reason = "There is no', 'cause = "There is no', "unknown conditions|is missing"),
    ('source = "gaps"', 'source = "nowhere"', "sources that it does not list"),
])
def test_a_file_that_does_not_hold_is_refused(old, new, says):
    with pytest.raises(BrokenRules, match=says):
        read(parse("routes.toml", TEXT.replace(old, new, 1)))
