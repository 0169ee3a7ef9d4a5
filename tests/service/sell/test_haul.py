"""Carrying: boxes and corners against closed forms and a brute turn, mass over what is not ruled out."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box, union_all
from typer.testing import CliRunner

from service.cli import app
from service.contract import to_json
from service.hand.state import Answers
from service.plan.request import Request
from service.plan.subjects import subjects
from service.sell.haul import (
    CORES,
    Asked,
    Board,
    board_of,
    case_mass,
    comes_apart,
    cores_left,
    fits_box,
    fits_opening,
    fits_tilted,
    goes_round,
    longest_round_corner,
    reckoned,
)
from tests.service.chest import chest_document
from vision.errors import UsageError

lengths = st.floats(50, 3000)
boxes = st.tuples(lengths, lengths, lengths)


@given(boxes, boxes)
def test_a_box_fits_whichever_way_it_is_turned(size, space):
    some = any(all(a <= b for a, b in zip(turned, space, strict=True)) for turned in
               ((size[i], size[j], size[k]) for i, j, k in ((0, 1, 2), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0))))
    assert fits_box(size, space) == some


@given(boxes, st.tuples(lengths, lengths))
def test_an_opening_takes_the_two_smaller_sides(size, opening):
    assert fits_opening(size, opening) == fits_box(size, (*opening, 1e9))


@given(st.floats(500, 2000), st.floats(500, 2000))
@settings(max_examples=30)
def test_a_ladder_round_a_corner(a, b):
    """The textbook's closed form for a thin ladder: (a^(2/3) + b^(2/3))^(3/2)."""
    assert longest_round_corner(a, b, 0.0) == pytest.approx((a ** (2 / 3) + b ** (2 / 3)) ** 1.5, rel=1e-4)


@pytest.mark.parametrize(("a", "b", "thickness"), [(900, 900, 300), (1000, 800, 400), (1200, 900, 100)])
def test_a_thick_box_round_a_corner_by_turning_it(a, b, thickness):
    """Brute force: a rectangle with two corners on the outer walls, turned step by step, must stay clear of the inner corner."""
    def clears(length):
        # Outer walls x = 0 and y = 0, inner corner at (a, b): free is x < a or y < b.
        free = union_all([box(0, 0, a, 6000), box(0, 0, 6000, b)])
        for angle in np.linspace(0.02, math.pi / 2 - 0.02, 180):
            c, s = math.cos(angle), math.sin(angle)
            # One end slides on y = 0 at x = L cos, the other on x = 0 at y = L sin; the box lies inwards of that line.
            p, q, n = np.array([length * c, 0.0]), np.array([0.0, length * s]), np.array([s, c]) * thickness
            if not free.buffer(1e-6).contains(Polygon([p, q, q + n, p + n])):
                return False
        return True

    longest = longest_round_corner(a, b, thickness)
    assert clears(longest * 0.98) and not clears(longest * 1.02)


def test_a_corner_is_tried_standing_every_way():
    assert goes_round((2000, 600, 600), 700, 700, 2500) is True  # upright, its foot is small
    assert goes_round((2000, 600, 600), 700, 700, 1800) is False
    assert longest_round_corner(500, 900, 600) == 0


@given(st.floats(0.05, 3), st.floats(0.05, 3), st.floats(0.3, 3), st.floats(0.3, 3))
@settings(max_examples=300)
def test_a_tilted_end_in_an_opening_against_turning_it_step_by_step(p, q, a, b):
    """Brute force: some angle at which the box round the turned end lies within the opening. Just smaller must fit where an angle
    is found, just larger must not fit where none is."""
    turn = np.linspace(0, math.pi / 2, 4001)
    across, up = p * np.cos(turn) + q * np.sin(turn), p * np.sin(turn) + q * np.cos(turn)
    found = bool(((across <= a) & (up <= b)).any())
    scale = 1 - 1e-3 if found else 1 + 1e-3
    assert fits_tilted((p * scale, q * scale, 5), (a, b)) == found


@given(boxes, st.tuples(lengths, lengths))
def test_what_goes_straight_goes_tilted_too(size, opening):
    assert not fits_opening(size, opening) or fits_tilted(size, opening)


def test_a_thin_board_wider_than_the_door_goes_only_tilted():
    asked = reckoned(Asked((900, 10, 2000), door=(800, 820)))
    assert asked.door is False and asked.door_tilted is True


def test_a_box_is_slid_into_a_wide_corridor_without_turning():
    """590 across in the corridor of 600, then 995 across in the corridor of 1000: nothing turns; turned it would stick."""
    assert longest_round_corner(600, 1000, 590) < 995
    assert goes_round((995, 590, 3000), 600, 1000) and not goes_round((995, 590, 3000), 600, 985)


@given(st.tuples(st.floats(300, 2000), st.floats(200, 900), st.floats(300, 2200)), st.floats(1.01, 1.5),
       st.lists(st.sampled_from(CORES), min_size=1, unique=True))
@settings(max_examples=60)
def test_a_case_is_heavier_when_larger_and_surer_when_more_is_ruled_out(size, more, left):
    low, high = case_mass(size, left)
    larger = case_mass(tuple(v * more for v in size), left)
    assert larger[0] > low and larger[1] > high
    widest = case_mass(size, CORES)
    assert widest[0] <= low < high <= widest[1]


def test_a_case_holds_the_same_boards_named_one_by_one():
    """A closed chest of 18 mm particle board, 800 x 480 x 1000 mm, with four drawers, its boards added up by hand."""
    boards = [Board((800, 480, 18), 2, ("particle_board",)), Board((1000, 480, 18), 2, ("particle_board",)),
              Board((1000, 800, 18), 1, ("particle_board",)), Board((430, 120, 12), 8, ("particle_board",))]
    named = reckoned(Asked((800, 480, 1000), boards=tuple(boards))).mass
    low, high = reckoned(Asked((800, 480, 1000), case=True, cores=("particle_board",))).mass
    assert low < named[0] and named[1] < high


def test_cores_that_are_none_are_refused():
    for bad in (("gold",), ()):
        with pytest.raises(UsageError):
            Asked((1, 1, 1), cores=bad)


def test_mass_is_a_range_over_what_is_not_ruled_out():
    """A panel of 1000 x 500 x 18 mm: pine 4.0 kg, particle board 5.9, MDF 6.7 (computed from table and data sheet values)."""
    size = (1000.0, 500.0, 18.0)
    low, high = Board(size).mass
    for known, kg in ((Board(size, 1, ("particle_board",)), 5.9), (Board(size, 1, ("fibreboard",)), 6.7),
                      (Board(size, 1, ("lumber",), "ponderosa pine"), 4.0)):
        a, b = known.mass
        assert a <= kg <= b and low <= a and b <= high
    assert Board(size, 3).mass == pytest.approx((3 * low, 3 * high))


def test_people_grow_with_mass_and_with_stairs():
    def people(kg, stairs=False):
        return reckoned(Asked((1, 1, 1), kg, stairs=stairs)).people

    counts = [people(kg) for kg in (5, 24, 26, 60, 120)]
    assert counts == sorted(counts) and counts[0] == 1 and people(24, True) == 2
    assert reckoned(Asked((1, 1, 1))).people is None


def test_boards_as_they_are_written():
    assert board_of("1200x500x18mm*2, particle_board") == Board((1200, 500, 18), 2, ("particle_board",))
    assert board_of("2x1x40in").count == 1
    for bad in ("3x4mm", "3x4x5mm*0", "3x4x5mm*x", "3x4x5mm, gold"):
        with pytest.raises(UsageError):
            board_of(bad)


def test_joints_lean_and_never_promise():
    assert "come apart" in comes_apart({"cam"}) and "does not come apart" in comes_apart({"dovetail"})
    assert "not seen" in comes_apart(()) and "not seen" in comes_apart({"cam", "dovetail"})


def test_an_assessment_leaves_its_cores(tmp_path):
    doc = chest_document(tmp_path)
    (tmp_path / "chest.json").write_text(to_json(doc))
    words = ["haul", "900x450x1100mm", "--case", "--assessment", str(tmp_path / "chest.json"), "--json"]
    low, high = json.loads(CliRunner().invoke(app, words).output)["mass_kg"]
    assert [low, high] == pytest.approx(case_mass((900, 450, 1100), cores_left(doc)), abs=0.01)
    assert set(cores_left(doc)) == {c for s in subjects(doc, Answers(), Request()) for c in s.cores}


def test_the_command():
    done = CliRunner().invoke(app, ["haul", "900x450x1100mm", "--mass", "48kg", "--vehicle", "800x800x800mm",
                                    "--door", "80x200cm"])
    assert "people: 2" in done.output and "vehicle: does not fit" in done.output and "door: fits" in done.output
    rough = CliRunner().invoke(app, ["haul", "900x450x1100mm", "--case", "--core", "particle_board", "--json"])
    found = json.loads(rough.output)
    assert found["mass_from"] == "case"
    assert any(s["status"] == "estimate" and "closed case" in s["title"] for s in found["sources"])
    assert CliRunner().invoke(app, ["haul", "900x450mm"]).exit_code != 0
