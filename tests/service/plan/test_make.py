"""A plan put together: refused routes never appear, cost and hours grow with the work, what is surest counts."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.hand.state import Answers, Told
from service.plan.document import document
from service.plan.make import plan, plan_part, refusals, route, with_goal
from service.plan.prices import read as read_prices
from service.plan.report import lines_of
from service.plan.request import Request, Wish, parse
from service.plan.subjects import measured_size, subjects
from service.plan.types import GOALS, Damage
from service.plan.worksheet import html
from service.safety.report import DEFER
from service.wood.movement import Climate
from tests.service.chest import chest_document
from tests.service.plan.parts import open_subjects, subject
from tests.service.plan.parts import subjects as some_subjects
from vision.errors import UsageError

MONDAY = date(2026, 3, 2)
PRICES = read_prices(Path(__file__).parents[3] / "docs/prices.toml")
goals = st.sampled_from(list(GOALS))


def made(part, goal, **more):
    return plan([part], Request(goal=goal, start=MONDAY, **more), PRICES)


@given(st.one_of(some_subjects, open_subjects), goals)
@settings(max_examples=80, deadline=None)
def test_refused_routes_never_appear(part, goal):
    found = made(part, goal)
    for p in found.parts:
        assert (p.route is None) == (goal in p.refusals)
        assert not set(p.open_goals) & set(p.refusals)
    if goal in refusals(part):
        assert found.steps == () and found.cost == 0 and not found.days.bookings
        with pytest.raises(UsageError, match="is refused"):
            route(part, goal)


@given(some_subjects, goals, st.floats(1.05, 4))
@settings(max_examples=50, deadline=None)
def test_cost_and_hours_grow_with_the_area(part, goal, times):
    small, large = made(part, goal), made(replace(part, width_mm=part.width_mm * times), goal)
    assert large.cost >= small.cost and large.hours >= small.hours
    assert len(large.steps) == len(small.steps)


def test_another_part_adds_work_and_shares_cans():
    top, side = subject("solid_wood"), subject("solid_wood", id="side", name="Side", role="side")
    request = Request(goal="clear", start=MONDAY)
    one, two = plan([top], request, PRICES), plan([top, side], request, PRICES)
    assert two.hours > one.hours and one.cost <= two.cost < 2 * one.cost


def test_movement_of_a_solid_top_between_its_climates():
    """A 914 mm flat-sawn red oak top from 35 to 65 % at 21 C: 6.9 to 12.0 % of water, +17 mm (computed from the Wood Handbook's
    tables 4-2 and 13-5)."""
    part = subject("solid_wood", wood="red oak", length_mm=1500.0, width_mm=914.0)
    request = Request(goal="clear", stored=Climate(35, 21.1), home=Climate(65, 21.1), start=MONDAY)
    (wood, moved), = plan_part(part, request).movement
    assert moved.flat_mm == pytest.approx(17, abs=0.5) and "oak" in wood.name
    assert plan_part(replace(part, faces=("veneer",)), request).movement == ()
    assert any("may widen by about 1" in line for line in lines_of(plan([part], request)))


def test_a_wood_that_no_table_has_is_planned_without_a_word_on_movement():
    request = Request(goal="clear", stored=Climate(35, 21.1), home=Climate(65, 21.1), start=MONDAY)
    assert plan_part(subject("solid_wood", wood="rosewood"), request).movement == ()


def test_what_hands_found_outranks_photos_and_what_is_known_outranks_both(tmp_path):
    doc = chest_document(tmp_path)
    first = next(p for p in doc.parts if p.role != "unknown")
    told = Answers(parts={first.id: Told(first.role, {"face_look": "figure", "end_of_part": "rings", "knot_through": "through"})})
    by_hand = next(s for s in subjects(doc, told, Request()) if s.id == first.id)
    assert by_hand.face == "solid_wood" and by_hand.basis == "decided"
    known = Request(parts={first.id: Wish(face="printed", core="fibreboard")})
    sure = next(s for s in subjects(doc, told, known) if s.id == first.id)
    assert sure.face == "printed" and sure.core == "fibreboard" and sure.basis == "confirmed"


def test_an_undecided_part_keeps_every_face_of_its_set(tmp_path):
    doc = chest_document(tmp_path)
    open_part = next(p for p in doc.parts if p.undecided and p.role != "unknown")
    found = next(s for s in subjects(doc, Answers(), Request()) if s.id == open_part.id)
    assert set(found.faces) == set(open_part.face_set) and found.basis == "open"


def test_a_size_comes_from_the_scale_of_a_photo(tmp_path):
    doc = chest_document(tmp_path)
    part = doc.parts[0]
    photo = next(p for p in doc.photos if p.id == part.sightings[0].photo)
    panel = next(q for q in photo.panels if q.id == part.sightings[0].panel)
    xs, ys = [x for x, _ in panel.outline], [y for _, y in panel.outline]
    middle = [sum(xs) / len(xs), sum(ys) / len(ys)]
    scale = {"source": "sheet", "outline": panel.outline, "at": middle, "px_per_mm": 0.5, "error_share": 0.01,
             "to_mm": [[2, 0, 0], [0, 2, 0], [0, 0, 1]], "text": "made up"}
    data = json.loads(doc.model_dump_json(by_alias=True))
    next(p for p in data["photos"] if p["id"] == photo.id)["scale"] = scale
    length, width = measured_size(type(doc).model_validate(data), part)
    sides = sorted([2 * (max(xs) - min(xs)), 2 * (max(ys) - min(ys))])
    assert (width, length) == pytest.approx(tuple(sides), rel=0.05)
    assert measured_size(doc, part) is None


def test_the_document_holds_what_the_plan_holds():
    found = plan([subject("printed", cores=("particle_board",))], Request(goal="paint", where="us", start=MONDAY), PRICES)
    data = json.loads(json.dumps(document(found)))
    assert data["schema"] == "grainassay.plan/1.0" and data["parts"][0]["route"]["goal"] == "paint"
    assert [s["key"] for s in data["parts"][0]["route"]["steps"]] == [s.key for s in found.steps]
    assert data["cost"]["priced"] == pytest.approx(found.cost, abs=0.01) and data["safety"]["where"] == "us"
    assert {r["goal"] for r in data["parts"][0]["refused"]} == {"restain", "clear", "gel_stain"}
    assert data["sources"] and all(s["title"] and s["status"] for s in data["sources"])


def test_a_damaged_place_is_bought_for_and_not_the_whole_part():
    part = subject("veneer", face_kind="modern", damage=(Damage("worn_through", "low", True),))
    need = next(n for n in made(part, "refresh").needs if n.product.key == "gel_stain")
    whole = next(n for n in made(subject("solid_wood"), "gel_stain").needs if n.product.key == "gel_stain")
    assert need.high < 0.1 * whole.high


def test_the_calendar_says_when_it_is_hard_and_which_coat_no_day_holds():
    large = subject("solid_wood", length_mm=3000.0, width_mm=1000.0, count=8)
    found = made(large, "clear", hours=dict.fromkeys(range(7), 1.0))
    assert found.days.cut and any("No day is long enough" in line for line in lines_of(found))
    assert any("hard all through" in line for line in lines_of(found)) and document(found)["no_day_long_enough"]
    assert "hard all through" in html(found)


def test_safety_comes_first_and_always():
    for goal in GOALS:
        lines = lines_of(made(subject("solid_wood"), goal))
        assert lines[0] == "Before you start" and any(DEFER in line for line in lines)
    assert "Presume lead" in "\n".join(lines_of(made(subject("opaque"), "paint")))


def test_the_work_sheet_has_a_box_for_every_step_and_fetches_nothing():
    found = made(subject("printed", name="Top <b>", cores=("particle_board",)), "paint")
    page = html(found)
    assert page.count('type="checkbox" id="') == len(found.steps)
    assert "http" not in page and "<script" not in page and "Top &lt;b&gt;" in page
    for s in found.steps:
        assert s.title in page


def test_us_units_where_asked():
    text = "\n".join(lines_of(plan([subject("solid_wood")], Request(goal="paint", us=True))))
    assert "sq ft" in text and "1 x 1 qt" in text and " pt " in text


def test_a_goal_can_be_chosen_anew():
    found = made(subject("printed"), "paint")
    assert with_goal(found, "top", "refresh").of("top").goal == "refresh"


@pytest.mark.parametrize(("text", "says"), [
    ("goal = 3", "not known"), ("[parts.top]\nsize = '3cm'", "one number"), ("colour = 'red'", "unknown entries"),
    ("[parts.top]\ncolour = 'red'", "unknown entries"), ("start = 3", "no day"), ("made_before_1978 = 'x'", "neither"),
    ("[stored]\nhumidity = 40", "one climate of two"), ("hours = 'many'", "wrong kind"), ("[hours]\nsomeday = 3", "not known"),
    ("[parts.top]\nface = 'solid_wood'\ncore = 'plywood'", "does not lie on"), ("[parts.top]\ndamage = ['flood']", "not known"),
    ("[parts.top]\nface_thickness = 'thick'", "thickness|length"), ("[parts.top]\ncount = 0", "pieces"),
    ("where =", "cannot be read"),
    ("[parts.top]\nface_thickness = '0.7-0.5mm'", "thickness"), ("parts = 3", "wrong kind"),
])
def test_a_request_that_makes_no_sense_is_refused_by_name(text, says):
    with pytest.raises(UsageError, match=says):
        parse(text, "plan.toml")


def test_a_request_may_be_json_too():
    toml = parse("goal = 'paint'\nstart = 2026-03-02\n[parts.top]\nsize = '1200x500mm'", "a.toml")
    same = parse('{"goal": "paint", "start": "2026-03-02", "parts": {"top": {"size": "1200x500mm"}}, "topcoat": null}', "a.json")
    assert toml == same
    with pytest.raises(UsageError, match="wrong kind"):
        parse('{"start": "soon"}', "a.json")


def test_parts_that_are_not_there_are_refused(tmp_path):
    doc = chest_document(tmp_path)
    with pytest.raises(UsageError, match="no part of this assessment"):
        subjects(doc, Answers(), Request(parts={"wing": Wish(goal="paint")}))
    assert subjects(doc, Answers(), Request(parts={"wing": Wish(goal="paint", role="shelf")}))[0].role == "shelf"
    with pytest.raises(UsageError, match="no part to plan for"):
        subjects(None, Answers(), Request())
    with pytest.raises(UsageError, match="no part of furniture"):
        subjects(None, Answers(), Request(parts={"wing": Wish()}))
