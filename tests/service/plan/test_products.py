"""Kinds of products against the figures that their sources print."""

from importlib.resources import files

import pytest

from service.plan.products import litres, m2_a_litre, products, read
from service.rulebook import BrokenRules, parse

TEXT = files("service").joinpath("rules/products.toml").read_text(encoding="utf-8")
KINDS = products().kinds


def test_four_hundred_square_feet_a_gallon():
    """A paint maker's page on stain-blocking primer: 400 sq ft a gallon (9.8 m2/L), touch 30 min, top coat 1 h,
    24 h over stains."""
    p = KINDS["stain_block_primer"]
    assert p.coverage == pytest.approx((9.8, 9.8), abs=0.05)
    assert (p.hours["touch"], p.hours["topcoat"], p.hours["stains"]) == (0.5, 1, 24)


def test_eggshell_enamel():
    """Data sheet of an eggshell enamel: 300 to 400 sq ft a gallon (7 to 10 m2/L), touch 1 h, recoat 4 h; in theory 593 sq ft a
    gallon at 1 mil with 37 % of solids by volume (1604 x 0.37)."""
    p = KINDS["enamel"]
    assert p.coverage == pytest.approx((7.4, 9.8), abs=0.05) and (p.hours["touch"], p.hours["recoat"]) == (1, 4)
    mil_gallon = 1 / (0.0254e-3 * 1000)  # a litre spread one mil (0.0254 mm) thick, in m2
    assert m2_a_litre("1604 ft^2/gal") == pytest.approx(mil_gallon, rel=1e-3)
    assert p.coverage[1] < m2_a_litre("593 ft^2/gal") == pytest.approx(m2_a_litre("1604 ft^2/gal") * 0.37, rel=1e-3)


def test_floor_polyurethane():
    """Data sheet of a floor polyurethane: 350 to 450 sq ft a gallon (8.6 to 11 m2/L), 8 to 10 h."""
    p = KINDS["water_poly"]
    assert p.coverage == pytest.approx((8.6, 11.0), abs=0.06) and 8 <= p.hours["recoat"] <= 10


def test_oil_polyurethane():
    """Trade pages: 125 to 150 sq ft a quart (12 to 15 m2/L), touch 3 h, recoat 4 to 6 h, full cure about 30 days."""
    p = KINDS["oil_poly"]
    assert p.coverage == pytest.approx((12.3, 14.7), abs=0.06)
    assert p.hours["touch"] == 3 and 4 <= p.hours["recoat"] <= 6 and p.hours["cure"] == 30 * 24


def test_wiping_stain_by_wood():
    """A coverage calculator's defaults, a quart: pine 125, oak 150, maple 175, cedar 130, teak 140, MDF 100 sq ft; oil recoat
    24 h."""
    p = KINDS["wiping_stain"]
    for wood, feet in {"pine": 125, "oak": 150, "maple": 175, "cedar": 130, "teak": 140, "mdf": 100}.items():
        assert p.covers(f"red {wood}")[0] == pytest.approx(m2_a_litre(f"{feet} ft^2/qt"))
    assert p.covers(None) == p.covers("pineapple") == p.coverage and p.hours["recoat"] == 24


def test_gel_stain_and_shellac():
    """A coverage calculator: gel stain 75 to 100 sq ft a quart. Trade pages: shellac-based primer touch 20 min, top
    coat 45 min."""
    assert KINDS["gel_stain"].coverage == (m2_a_litre("75 ft^2/qt"), m2_a_litre("100 ft^2/qt"))
    assert KINDS["shellac_primer"].hours["touch"] == pytest.approx(1 / 3, abs=0.01)
    assert KINDS["shellac_primer"].hours["topcoat"] == 0.75


def test_painted_laminate_waits_a_week():
    """A home magazine: at least a week before use."""
    assert KINDS["enamel"].wait("use") >= 168


def test_a_wait_that_a_row_lacks_is_the_next_longer_one():
    assert KINDS["hide_glue"].wait("recoat") == 24 and KINDS["soap"].wait("recoat") == 0


def test_units_are_those_of_the_can():
    assert litres("1 gal") == pytest.approx(3.785411784) and litres("0.5 pt") == pytest.approx(0.2366, abs=1e-4)


def test_every_figure_has_a_source_and_the_product_names_it():
    for p in KINDS.values():
        assert p.words and set(p.figures) == {"coverage", *p.hours} and set(p.sources) == set(p.figures.values())
    assert KINDS["stripper"].estimated == ("coverage", "recoat", "topcoat")


def test_nothing_hides_behind_a_source_that_does_not_state_it():
    """What each source states, and nothing else, is not an estimate of our own."""
    stated = {
        "stain_block": {("stain_block_primer", f) for f in ("coverage", "touch", "topcoat", "stains")},
        "shellac_primer": {("shellac_primer", "coverage")},
        "shellac_times": {("shellac_primer", "touch"), ("shellac_primer", "topcoat")},
        "eggshell": {("enamel", f) for f in ("coverage", "touch", "recoat")}, "laminate_week": {("enamel", "use")},
        "floor_poly": {("water_poly", "coverage"), ("water_poly", "recoat")},
        "oil_poly": {("oil_poly", f) for f in ("coverage", "touch", "recoat", "cure")},
        "wiping_stain": {("wiping_stain", "coverage"), ("wiping_stain", "recoat")}, "gel_stain": {("gel_stain", "coverage")},
    }
    found = {(p.key, figure): source.key for p in KINDS.values() for figure, source in p.figures.items()}
    assert {k: v for k, v in found.items() if v != "estimate"} == {k: s for s, keys in stated.items() for k in keys}


def test_what_burns_or_fumes_says_so():
    assert KINDS["stripper"].hazards == ("stripper",) and KINDS["soap"].hazards == ()
    for key in ("wiping_stain", "gel_stain", "oil_finish", "oil_poly"):
        assert set(KINDS[key].hazards) == {"solvent", "oily_rags"}


def test_names_leave_room_for_amounts_beside_them():
    assert all(len(p.words) <= 40 for p in KINDS.values())


def test_kinds_are_those_that_steps_and_repairs_may_name():
    assert len(KINDS) == 24 and all(list(sizes) == sorted(sizes) for p in KINDS.values() for sizes in p.cans.values())


@pytest.mark.parametrize(("old", "new", "says"), [
    ('"40 ft^2/gal", "100 ft^2/gal"', '"100 ft^2/gal", "40 ft^2/gal"', "least and most"),
    ('"40 ft^2/gal"', '"40 bricks"', "wrong kind"),
    ("hours = { recoat = 1, topcoat = 24 }", "hours = { soak = 1 }", "unknown waits"),
    ('each = "1 bottle"\n', "", "sold either"),
    ('words = "mild soap"\n', "", "is missing"),
    ("share = [0.10, 0.15]", "share = [0.15, 0.10]", "waste"),
    ('key = "alcohol"', 'key = "soap"', "sold either|lists twice"),
    ('key = "lacquer_thinner"', 'key = "alcohol"', "lists twice"),
    ("each_m2 = 40", "each_m2 = 0", "not above zero"),
    ('pine = "125 ft^2/qt"', 'pine = "-125 ft^2/qt"', "not above zero"),
    ('us = ["1 qt", "1 gal"]', "us = []", "sold either"),
    ('"0.5 L"', '"0 L"', "not above zero"),
    ("recoat = 2, topcoat = 4", "recoat = -2, topcoat = 4", "not above zero"),
    ("use = 168, cure = 504", "use = 168, cure = 100", "longer than cure"),
    ('hazards = ["stripper"]', 'hazards = ["brimstone"]', "unknown hazards"),
    ('estimated = ["recoat"]', 'estimated = ["smell"]', "figures it lacks"),
    ("each_m2 = 40", "each_m2 = 40\nlitres = 3", "unknown entries"),
])
def test_a_file_that_does_not_hold_is_refused(old, new, says):
    assert old in TEXT
    with pytest.raises(BrokenRules, match=says):
        read(parse("products.toml", TEXT.replace(old, new, 1)))
