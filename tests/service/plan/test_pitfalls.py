"""What goes wrong most often: each pitfall where it threatens and where it does not."""

from importlib.resources import files

import pytest

from service.plan.make import route
from service.plan.pitfalls import pitfalls, read, rows
from service.plan.types import GOALS
from service.rulebook import BrokenRules, parse
from tests.service.plan.parts import subject

TEXT = files("service").joinpath("rules/pitfalls.toml").read_text(encoding="utf-8")
WATER = ["water_poly"]


def keys(part, goal, *used):
    return {p.key for p in pitfalls(part, goal, used)}


# key: (a part, goal and products that it threatens; the same where it stays silent). Common practice, no source.
CASES = {
    "tannin": ((subject("solid_wood", wood="cherry"), "paint"), (subject("solid_wood", wood="beech"), "paint")),
    "dye": ((subject("veneer", wood="African mahogany"), "paint"), (subject("veneer", wood="oak"), "paint")),
    "fisheye": ((subject("opaque"), "paint"), (subject("opaque"), "refresh")),
    "lifting": ((subject("opaque", old_finish="paint"), "paint"), (subject("opaque", old_finish="none"), "paint")),
    "slick": ((subject("printed"), "paint"), (subject("solid_wood"), "paint")),
    "cure": ((subject("solid_wood"), "clear", "water_poly"), (subject("solid_wood"), "clear")),
    "hide_glue": ((subject("veneer"), "refresh"), (subject("printed"), "refresh")),
    "tannin_below": ((subject("opaque", wood="oak"), "paint"), (subject("opaque"), "paint")),
    "oil_under_water": ((subject("solid_wood"), "restain", "water_poly"), (subject("solid_wood"), "restain", "oil_poly")),
    "blotches": ((subject("solid_wood", wood="pine"), "restain"), (subject("solid_wood", wood="oak"), "restain")),
    "too_fine": ((subject("solid_wood"), "restain"), (subject("solid_wood"), "clear")),
    "board_water": ((subject("printed", cores=("fibreboard",)), "paint"), (subject("printed", cores=("plywood",)), "paint")),
    "stripper_veneer": ((subject("veneer"), "restain", "stripper"), (subject("solid_wood"), "restain", "stripper")),
    "waxed_shellac": ((subject("solid_wood", old_finish="shellac"), "clear", "oil_poly"),
                      (subject("solid_wood", old_finish="lacquer"), "clear", "oil_poly")),
    "steel_wool": ((subject("solid_wood"), "clear", "water_poly"), (subject("solid_wood"), "clear", "oil_poly")),
    "raw_edges": ((subject("bare_board", cores=("particle_board",)), "paint"), (subject("solid_wood"), "paint")),
    "wax_renewed": ((subject("solid_wood"), "refresh"), (subject("printed"), "refresh")),
}


def test_every_pitfall_has_a_case():
    assert set(CASES) == {r.key for r in rows()}


@pytest.mark.parametrize("key", list(CASES))
def test_it_threatens_where_it_should_and_is_silent_elsewhere(key):
    threatened, safe = CASES[key]
    assert key in keys(*threatened) and key not in keys(*safe)


def test_every_goal_with_work_in_it_is_looked_through():
    for goal in GOALS:
        assert goal == "leave" or any(goal in r.goals for r in rows())


def test_every_pitfall_has_a_patch_and_a_remedy():
    assert all(len(r.patch) > 15 and len(r.remedy) > 15 for r in rows())


def test_a_wood_that_is_not_named_is_taken_to_bleed():
    assert "tannin" in keys(subject("solid_wood"), "paint") and "dye" not in keys(subject("solid_wood"), "paint")


def test_paint_over_bleeding_wood_is_primed_with_shellac():
    """Tannin and dye bleed (mahogany, cherry, knots) need a shellac-based blocker (common practice, no source)."""
    steps = route(subject("solid_wood", wood="cherry"), "paint").steps
    products = [s.product for s in steps]
    assert products.index("shellac_primer") < products.index("enamel")
    assert sum(p in ("shellac_primer", "dewaxed_shellac") for p in products) == 1


def test_red_dye_under_clear_coats_is_sealed_after_the_stain_and_before_the_coat():
    products = [s.product for s in route(subject("solid_wood", wood="mahogany"), "restain").steps]
    assert products.index("wiping_stain") < products.index("dewaxed_shellac") < products.index("water_poly")


@pytest.mark.parametrize(("old", "new", "says"), [
    ('goals = ["paint"]', 'goals = ["varnish"]', "unknown goals"),
    ('blocks = "shellac_primer"', 'blocks = "wax"', "no sealer"),
    ('finishes = ["unknown"', 'finishes = ["glaze"', "unknown finishes"),
    ('patch = "Prime', 'trial = "Prime', "is missing"),
])
def test_a_file_that_does_not_hold_is_refused(old, new, says):
    with pytest.raises(BrokenRules, match=says):
        read(parse("pitfalls.toml", TEXT.replace(old, new, 1)))


def test_what_lifts_old_paint_is_tried_on_every_finish_that_a_solvent_may_soften():
    """Common practice, no source: lacquer, what may be lacquer, old paint and what was not tested."""
    row = next(r for r in rows() if r.key == "lifting")
    assert {"lacquer", "lacquer_or_waterborne", "unknown", "paint"} <= set(row.finishes) and row.source.status == "common"
