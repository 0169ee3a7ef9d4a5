"""Roles from the layout of made-up pieces whose parts are known."""

import pytest

from vision.parts.roles import box_of, guess_roles, overlap
from vision.types import Panel


def rect(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def panel(name, outline, source="found"):
    return Panel(name, "p1", tuple((float(x), float(y)) for x, y in outline), source=source)


def roles(*outlines, views=None):
    panels = [panel(f"s{n}", o) for n, o in enumerate(outlines)]
    return guess_roles(panels, views or ["face"] * len(panels), SIZE)


SIZE = (1200, 900)
TOP = ((330, 170), (830, 170), (900, 240), (260, 240))
FRONTS = [rect(270, 270 + 140 * n, 890, 400 + 140 * n) for n in range(3)]
SIDE = ((905, 250), (1040, 220), (1040, 610), (905, 690))


def test_chest_of_drawers():
    assert roles(TOP, *FRONTS, SIDE) == ("top", "drawer_front", "drawer_front", "drawer_front", "side")


def test_order_of_panels_does_not_matter():
    assert roles(SIDE, FRONTS[2], TOP, FRONTS[0], FRONTS[1]) == ("side", "drawer_front", "top", "drawer_front", "drawer_front")


def test_legs_stand_below_the_front():
    assert roles(*FRONTS, rect(280, 690, 310, 800), rect(850, 690, 880, 800))[-2:] == ("leg", "leg")


def test_two_columns_of_drawers():
    grid = [rect(100 + 420 * c, 100 + 110 * r, 500 + 420 * c, 200 + 110 * r) for r in range(3) for c in range(2)]
    assert set(roles(*grid)) == {"drawer_front"}


def test_a_pair_of_doors():
    assert roles(rect(100, 100, 300, 600), rect(306, 100, 506, 600)) == ("door", "door")


@pytest.mark.parametrize("outlines", [
    [rect(0, 0, 900, 700)],
    [rect(100, 100, 400, 400), rect(800, 500, 900, 800)],
    [rect(100, 100, 300, 280), rect(100, 290, 300, 470)],  # a pair of almost square panels: drawers or two doors
])
def test_no_role_where_the_layout_does_not_say(outlines):
    assert set(roles(*outlines)) == {"unknown"}


def test_edges_get_no_role_of_their_own():
    assert roles(*FRONTS, views=["face", "edge", "face"])[1] == "unknown"


@pytest.mark.parametrize(("name", "role"), [
    ("top", "top"), ("side-2", "side"), ("drawer front 3", "drawer_front"), ("Drawer_Side", "drawer_side"), ("leg2", "leg"),
    ("topping", "unknown"), ("x", "unknown"), ("unknown", "unknown"),
])
def test_a_given_outline_may_name_its_role(name, role):
    assert guess_roles([panel(name, rect(0, 0, 50, 50), "given")], ["face"], SIZE) == (role,)


def test_a_found_panel_never_names_its_role():
    assert guess_roles([panel("top", rect(0, 0, 50, 50))], ["face"], SIZE) == ("unknown",)


def test_one_top_only():
    lower = ((300, 205), (860, 205), (900, 245), (260, 245))
    assert roles(TOP, lower, *FRONTS).count("top") == 1


def test_box_taper_and_overlap():
    assert box_of(panel("a", TOP)).taper == pytest.approx(500 / 640)
    assert overlap(0, 10, 5, 25) == pytest.approx(0.5)
    assert overlap(0, 10, 20, 30) == 0


def test_every_panel_needs_a_view():
    with pytest.raises(ValueError, match="1 panels but 0 views"):
        guess_roles([panel("a", TOP)], [], SIZE)
