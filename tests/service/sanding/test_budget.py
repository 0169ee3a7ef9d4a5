"""Sanding budget: what must hold whatever the estimates are, and the arithmetic against a closed form."""

import itertools
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.rulebook import parse, rulebook
from service.sanding.budget import REACHED, TOO_RISKY, Bench, Step, safest, ways
from service.sanding.rules import TOOLS, Face, read
from vision.errors import UsageError

RULES = read()
steps = st.lists(st.builds(Step, st.sampled_from(RULES.grits), st.sampled_from(TOOLS), st.integers(1, 2)), min_size=1, max_size=4)


def bench(low, high=None, **more):
    return Bench(RULES, Face("made", low, high or low), draws=4000, **more)


@settings(max_examples=30, deadline=None)
@given(steps, st.floats(0.1, 2.0), st.floats(0.01, 1.0))
def test_a_thicker_face_never_raises_a_chance(way, face, more):
    thin, thick = bench(face).outlook(way), bench(face + more).outlook(way)
    assert all(thick.through[p] <= thin.through[p] for p in thin.through)


@settings(max_examples=30, deadline=None)
@given(steps, st.floats(0.1, 2.0), st.sampled_from(RULES.grits), st.sampled_from(TOOLS))
def test_a_further_step_or_round_or_an_earlier_job_never_lowers_one(way, face, grit, tool):
    made = bench(face)
    less = made.outlook(way)
    for more in (made.outlook([*way, Step(grit, tool)]), made.outlook([replace(way[0], rounds=way[0].rounds + 1), *way[1:]]),
                 bench(face, earlier=1).outlook(way)):
        assert all(more.through[p] >= less.through[p] for p in less.through)


def test_arrises_go_first():
    found = bench(0.3).outlook([Step(120, "machine", 2), Step(150, "machine")])
    assert found.through["arris"] > found.through["field"] and "patch" not in found.through
    assert bench(0.3, patched=True).outlook([Step(120, "machine")]).through["patch"] > 0


def test_one_round_against_the_closed_form():
    """Product of log-normals: P(m * person * luck >= t) = Phi((ln m - ln t) / sqrt(person^2 + each^2))."""
    made = Bench(RULES, Face("made", 0.06, 0.06), draws=40000)
    s = RULES.spread
    middle = RULES.removal[120, "machine"]
    chance = NormalDist().cdf((np.log(middle) - np.log(60)) / np.hypot(s.person, s.each_grit))
    assert made.outlook([Step(120, "machine")]).through["field"] == pytest.approx(chance, abs=0.01)
    arris = NormalDist().cdf((np.log(middle * s.arris_times) - np.log(60)) / np.sqrt(s.person**2 + s.each_grit**2 + s.arris**2))
    assert made.outlook([Step(120, "machine")]).through["arris"] == pytest.approx(arris, abs=0.01)


@pytest.mark.parametrize("name", list(RULES.goals))
def test_ways_end_as_the_goal_asks_and_skip_at_most_one_grit(name):
    goal, grits = RULES.goals[name], RULES.grits
    seen = list(ways(RULES, goal))
    assert seen
    for way in seen:
        at = [grits.index(s.grit) for s in way]
        assert way[-1].grit in goal.last and len({s.tool for s in way}) == 1
        assert all(1 <= b - a <= 2 for a, b in itertools.pairwise(at))


def test_the_safest_way_reaches_its_goal_and_is_the_safest():
    goal = RULES.goals["restain"]
    made = bench(0.6, 0.8)
    found = safest(made, goal)
    assert found is not None and found.reached >= REACHED and found.worst <= TOO_RISKY
    others = [o for o in (made.outlook(w, goal) for w in ways(RULES, goal)) if o.reached >= REACHED]
    assert found.worst <= min(o.worst for o in others) + 0.001


def test_what_a_thin_face_does_not_stand_is_refused():
    assert safest(bench(0.2, 0.3), RULES.goals["level"]) is None
    assert safest(bench(2.0, 3.0), RULES.goals["level"]) is not None


def test_grain_sizes_are_the_standard_ones():
    """FEPA P / ISO 6344 mean grain diameters: P80 201, P120 125, P150 100, P180 82, P220 68 um (two tables that agree)."""
    rows = {r["p"]: r["grain_um"] for r in rulebook("sanding").tables["grits"]}
    assert rows == {80: 201, 100: 162, 120: 125, 150: 100, 180: 82, 220: 68}


def test_estimates_are_marked_as_such():
    book = rulebook("sanding")
    assert all(book.source(r).status == "estimate" for r in [*book.tables["grits"], book.tables["spread"]])


@pytest.mark.parametrize(("wrong", "says"), [("hand_um = 22", "finer grit"), ("machine_um = 45", "by hand more")])
def test_numbers_that_cannot_be_are_refused(wrong, says):
    from importlib.resources import files

    text = files("service").joinpath("rules/sanding.toml").read_text()
    worse = {"hand_um = 22": "hand_um = 60", "machine_um = 45": "machine_um = 21"}[wrong]
    if says == "by hand more":
        text = text.replace("machine_um = 30\n", "machine_um = 20\n").replace("machine_um = 14", "machine_um = 8")
        text = text.replace("machine_um = 20\n", "machine_um = 12\n")
    with pytest.raises(UsageError, match=says):
        read(parse("mine.toml", text.replace(wrong, worse)))


@pytest.mark.parametrize("call", [lambda: Face("x", 0, 1), lambda: Face("x", 2, 1), lambda: bench(1, earlier=11),
                                  lambda: bench(1).outlook([Step(77, "hand")]), lambda: bench(1).outlook([Step(80, "hand", 9)])])
def test_bad_input_is_refused(call):
    with pytest.raises(UsageError):
        call()
