"""Repairs by damage: something honest for every damage, level and face; what ends the matter; what is never done."""

import itertools
from importlib.resources import files

import pytest

from service.plan.make import refusals, route
from service.plan.repairs import BY_HAND, LEVELS, read, repairs, rows
from service.plan.types import GOALS, Damage
from service.rulebook import BrokenRules, parse
from tests.service.plan.parts import CORES, subject
from vision import registry

TEXT = files("service").joinpath("rules/repairs.toml").read_text(encoding="utf-8")
EVERY = [(kind, level, face) for kind in registry.DETAILS["damage"] for level in LEVELS for face in registry.FACES]


def mended(kind, level, face, cores=CORES, sure=True):
    return repairs(subject(face, cores=cores, damage=(Damage(kind, level, sure),)))[0]


@pytest.mark.parametrize(("kind", "level", "face"), EVERY)
def test_every_damage_has_steps_or_an_honest_word(kind, level, face):
    found = mended(kind, level, face)
    assert len(found.caution) > 25 and found.sources
    assert all(s.minutes > 0 for s in found.steps)
    if face == "printed":
        assert not any(s.grits for s in found.steps if kind not in ("swollen_edge",))


def test_worse_damage_never_takes_less_time():
    for kind in registry.DETAILS["damage"]:
        for face in registry.FACES:
            minutes = [sum(s.minutes for s in mended(kind, level, face).steps) for level in LEVELS]
            assert all(b >= a for a, b in itertools.pairwise(minutes) if b > 0)


def test_mould_and_insects_come_before_everything_else():
    part = subject("solid_wood", cores=("lumber",),
                   damage=(Damage("scratch", "low", True), Damage("insect_holes", "low", True), Damage("mould", "low", True)))
    assert [r.first for r in repairs(part)] == [True, True, False]
    assert route(part, "clear").steps[0].key.startswith(("insect_holes", "mould"))


def test_mould_in_board_ends_the_matter():
    """Visible mould in raw board means leave or discard (common practice, no source)."""
    part = subject("bare_board", cores=("particle_board",), damage=(Damage("mould", "medium", True),))
    assert repairs(part)[0].ends and set(refusals(part)) == set(GOALS) - {"leave"}
    assert not repairs(subject("solid_wood", cores=("lumber",), damage=(Damage("mould", "medium", True),)))[0].ends


def test_swollen_board_is_not_promised_to_shrink():
    """A trade page on board furniture: raw edges swell with water."""
    assert "stays thicker" in mended("swollen_edge", "low", "printed").caution
    assert mended("swollen_edge", "high", "printed", ("particle_board",)).ends


def test_what_only_a_photo_points_at_is_checked_first_and_ends_nothing():
    found = mended("crumbled", "high", "printed", sure=False)
    assert found.caution.startswith(BY_HAND) and not found.ends


def test_old_flakes_are_taken_off_wet():
    step = mended("flaking_finish", "medium", "opaque").steps[0]
    assert "old_paint" in step.hazards and not step.grits and "Mist with water" in step.how


def test_veneer_is_glued_and_a_film_is_not_sanded():
    assert mended("lifted_face", "low", "veneer").steps[0].product == "hide_glue"
    assert "Do not sand" in mended("lifted_face", "low", "printed").steps[0].how
    assert mended("worn_through", "high", "printed").steps == ()


def test_each_row_can_be_reached():
    reached = set()
    for kind, level, face in EVERY:
        for cores in (("lumber",), ("particle_board",)):
            part = subject(face, cores=cores, damage=(Damage(kind, level, True),))
            reached.add(next(k for k, r in enumerate(rows()) if r.holds(part, part.damage[0])))
    assert reached == set(range(len(rows())))


@pytest.mark.parametrize(("old", "new", "says"), [
    ('kind = "burn"', 'kind = "flood"', "no damage"), ("minutes = [5, 10, 10]", "minutes = [5, 10]", "minutes for 3 levels"),
    ("minutes = [5, 10, 10]", "minutes = [10, 5, 5]", "fewer minutes"),
    ('kind = "stain"', 'kind = "burn"', "always holds of: stain"),
    ('product = "soap"', 'product = "sand"', "known product"), ('title = "Fill"\n', "", "is missing"),
])
def test_a_file_that_does_not_hold_is_refused(old, new, says):
    with pytest.raises(BrokenRules, match=says):
        read(parse("repairs.toml", TEXT.replace(old, new, 1)))


def test_a_part_that_cannot_be_told_gets_only_what_suits_all_it_may_be():
    for kind in ("chip", "burn", "crack", "lifted_face", "scratch"):
        found = repairs(subject("solid_wood", "veneer", "printed", damage=(Damage(kind, "low", True),)))[0]
        assert not any(s.grits for s in found.steps) and "Scrape" not in found.title and "Patch" not in found.title
    open_core = repairs(subject("veneer", damage=(Damage("mould", "medium", True),)))[0]
    assert not open_core.ends


def test_mould_in_raw_board_ends_the_matter_at_any_level():
    """Visible mould in raw board means leave or discard (common practice, no source)."""
    for level in LEVELS:
        assert mended("mould", level, "bare_board", ("particle_board",)).ends


def test_no_repair_sands_and_old_paint_is_named():
    """A finish of before 1978 or of unknown age is taken to hold lead: no repair is sanded or scraped dry over it."""
    for kind, level, face in EVERY:
        assert not any(s.grits for s in mended(kind, level, face).steps)
    for kind in ("swollen_edge", "flaking_finish"):
        assert any("old_paint" in s.hazards for s in mended(kind, "low", "opaque").steps)
    assert any("old_paint" in s.hazards for s in mended("burn", "low", "solid_wood").steps)


def test_what_a_stripper_would_take_out_again_is_mended_after_it():
    part = subject("solid_wood", cores=("lumber",), damage=(Damage("stain", "low", True), Damage("insect_holes", "low", True)))
    keys = [s.key for s in route(part, "restain").steps]
    assert keys.index("insect_holes_watch") < keys.index("strip") < keys.index("stain_seal_stain") < keys.index("sand_for_stain")


def test_a_hint_of_a_photo_puts_no_step_into_the_route():
    part = subject("solid_wood", cores=("lumber",), damage=(Damage("insect_holes", "low"),))
    assert not any(s.key.startswith("insect") for s in route(part, "clear").steps)
