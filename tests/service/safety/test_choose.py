"""Which notes are shown: general ones always, another place's never, and what is not known counts as the worse case."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.plan.types import HAZARDS
from service.safety.choose import age_that_counts, notes
from service.safety.rules import ANY, HARMS, OTHER, rules
from vision import registry
from vision.errors import UsageError

ALL = tuple(HAZARDS)
PLACES = (*rules().places, OTHER)
some = st.sets(st.sampled_from(ALL))
places = st.sampled_from(PLACES)
ages = st.sampled_from([True, False, None])
cores = st.sets(st.sampled_from(tuple(registry.CORES)))
roles = st.sets(st.sampled_from(tuple(registry.ROLES)))


def keys(*hazards, **said):
    return {n.key for n in notes(hazards, **{"where": OTHER, **said})}


@given(some, places, ages, cores, roles)
def test_no_note_of_another_place_or_hazard_appears_and_worst_comes_first(hazards, where, age, there, which):
    found = notes(hazards, where=where, made_before_1978=age, cores=there, roles=which)
    assert {n.jurisdiction for n in found} <= {ANY, where} and {n.hazard for n in found} <= hazards
    ranks = [list(HARMS).index(n.harm) for n in found]
    assert ranks == sorted(ranks) and len({n.key for n in found}) == len(found)


@given(some, ages, cores, roles)
def test_a_place_adds_notes_and_takes_none_away(hazards, age, there, which):
    said = {"made_before_1978": None if age is False else age, "cores": there, "roles": which}
    nowhere = keys(*hazards, **said)
    for where in rules().places:
        assert nowhere == {k for k in keys(*hazards, where=where, **said) if k.startswith("any.")}


@given(some, some, places, ages)
def test_more_hazards_never_drop_a_note(a, b, where, age):
    both = keys(*a, *b, where=where, made_before_1978=age)
    assert both == keys(*a, where=where, made_before_1978=age) | keys(*b, where=where, made_before_1978=age)


@given(some, places, cores, roles)
def test_unknown_shows_at_least_what_is_shown_for_any_known_age_core_or_role(hazards, where, there, which):
    unknown = keys(*hazards, where=where)
    for age in (True, False):
        assert keys(*hazards, where=where, made_before_1978=age, cores=there, roles=which) <= unknown | {"us.lead_later"}


@pytest.mark.parametrize("where", PLACES)
@pytest.mark.parametrize("age", [True, None])
def test_old_or_unknown_age_presumes_lead(where, age):
    found = {n.key: n for n in notes(["old_paint"], where=where, made_before_1978=age)}
    assert {"any.lead_presume", "any.lead_work", "any.lead_test", "any.lead_swab"} <= set(found)
    assert "unknown age" in found["any.lead_presume"].text
    for word in ("dry sanding", "dry scraping", "heat gun", "torch"):
        assert word in found["any.lead_work"].title
    assert "certified" in found["any.lead_test"].text
    assert "any.heat_lead" in keys("heat", where=where, made_before_1978=age)


def test_made_after_1978_lifts_the_presumption_only_where_that_is_the_line_and_still_clears_nothing():
    us = keys("old_paint", where="us", made_before_1978=False)
    assert "any.lead_presume" not in us and {"us.lead_later", "any.lead_swab", "us.lead_housing"} <= us
    for where in ("eu", OTHER):
        assert keys("old_paint", where=where, made_before_1978=False) == keys("old_paint", where=where)
        assert "any.lead_presume" in keys("old_paint", where=where, made_before_1978=False)


def test_an_age_after_1978_counts_only_where_that_is_the_line():
    assert age_that_counts("us", False) is False
    for where in PLACES:
        assert age_that_counts(where, True) is True and age_that_counts(where, None) is None
        assert where == "us" or age_that_counts(where, False) is None
    with pytest.raises(UsageError, match="mars"):
        age_that_counts("mars", False)


def test_board_notes_follow_the_cores_that_may_be_there():
    assert keys("board_resin", cores=["lumber"]) == set()
    assert "any.resin_dust" in keys("board_resin", cores=["lumber", "fibreboard"]) & keys("board_resin")
    only = keys("board_resin", where="us", cores=["particle_board"])
    assert "us.resin_new_panels" in only and "us.resin_older" not in only


def test_the_tip_over_rule_is_shown_for_chests_and_where_the_part_is_not_known():
    for roles_there, shown in ((["drawer_front"], True), (["leg", "unknown"], True), ([], True), (["leg", "shelf"], False)):
        assert ("us.tipping_sturdy" in keys("tipping", where="us", roles=roles_there)) == shown
        assert "any.tipping_anchor" in keys("tipping", where="us", roles=roles_there)


@pytest.mark.parametrize(("hazards", "said", "says"), [
    (["ghosts"], {}, "ghosts"), (["dust"], {"where": "mars"}, "mars"), (["dust"], {"where": ANY}, "any"),
    (["dust"], {"cores": ["cardboard"]}, "cardboard"), (["dust"], {"roles": ["wing"]}, "wing"),
])
def test_what_is_not_known_is_refused_with_what_is(hazards, said, says):
    with pytest.raises(UsageError, match=says) as caught:
        notes(hazards, **{"where": OTHER, **said})
    assert "Use one of:" in caught.value.remedy
