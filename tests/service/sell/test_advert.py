"""The advert: it never says more than is known, above all never "solid", over verdicts made up at random."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from service.cli import app
from service.contract import to_json
from service.hand.state import Answers
from service.plan.request import Request
from service.plan.subjects import subjects
from service.plan.types import BASES, Damage
from service.sell.advert import ANCHOR, LEAD, NO_PROMISE, RECALLED, Facts, advert, lines_of, material_line, pictures, woods_named
from service.sell.advert import FACES as FACE_NAMES
from tests.service.chest import chest_document
from tests.service.plan.parts import CORES, damages, subject
from vision import registry
from vision.errors import UsageError

faces = st.lists(st.sampled_from(list(registry.FACES)), unique=True, min_size=1, max_size=6)
parts = st.builds(
    lambda f, basis, role, wood, damage, cores: subject(*f, basis=basis, role=role, wood=wood, damage=damage, cores=cores,
                                                        name="Part"),
    faces, st.sampled_from(list(BASES)), st.sampled_from(list(registry.ROLES)), st.sampled_from([None, "oak", "pine"]), damages,
    st.sampled_from([CORES, ("lumber",), ("particle_board",)]),
)


@given(st.lists(parts, min_size=1, max_size=4))
@settings(max_examples=200, deadline=None)
def test_solid_is_never_said_of_what_is_not_known_to_be(rows):
    found = advert(rows, Facts())
    for s in rows:
        line = material_line(s)
        known = s.faces == ("solid_wood",) and s.basis in ("decided", "confirmed")
        assert ("solid" in line.lower()) == known, line
        if "on wood" in line:
            assert s.core == "lumber"
    said = [line for line in (found.title, *found.lines) if "solid" in line.lower()]
    assert bool(said) == any(s.faces == ("solid_wood",) and s.basis != "open" for s in rows)
    if found.title.endswith("solid wood"):
        assert all(s.faces == ("solid_wood",) and s.basis != "open" for s in rows)
    if found.title.endswith("solid wood top"):
        assert any(s.role == "top" and s.faces == ("solid_wood",) and s.basis != "open" for s in rows)


@given(parts)
@settings(max_examples=200, deadline=None)
def test_real_wood_is_said_only_where_print_paint_and_board_are_ruled_out(s):
    line = material_line(s)
    if "real wood" in line:
        assert set(s.faces) <= {"solid_wood", "veneer"}
    if s.basis == "open" and not set(s.faces) <= {"solid_wood", "veneer"}:
        assert "not settled" in line


@given(parts)
@settings(max_examples=300, deadline=None)
def test_a_line_names_no_face_and_no_core_that_is_not_left(s):
    line = material_line(s).lower()
    for face, words in FACE_NAMES.items():
        if words in line:
            assert face in s.faces
            assert (s.faces == (face,) and s.basis != "open") or "not settled" in line
    for core, words in registry.CORE_WORDS.items():
        if core != "lumber" and f"on {words}" in line:
            assert s.core == core and s.basis != "open"
    if s.face in ("veneer", "printed", "opaque") and s.basis != "open" and s.core is None:
        assert "under it is not settled" in line and NO_PROMISE in advert([s], Facts()).lines


@given(st.lists(parts, min_size=1, max_size=3), st.sampled_from(["oak", "walnut", "Mahogany", "pine"]))
@settings(max_examples=100, deadline=None)
def test_a_wood_is_named_as_material_only_where_every_part_was_confirmed_as_it(rows, wood):
    known = all(s.basis == "confirmed" and s.face == "solid_wood" and s.wood == wood.lower() for s in rows)
    try:
        advert(rows, Facts(f"{wood} chest"))
        assert known
    except UsageError:
        assert not known
    assert advert(rows, Facts(f"{wood}-coloured chest")).title.startswith(f"{wood[0].upper()}{wood[1:]}-coloured")


def test_colours_are_no_material():
    assert woods_named("Oak chest") == ("oak",) and woods_named("red oak table, walnut top") == ("oak", "walnut")
    assert woods_named("chest in walnut finish, oak-stained legs") == () and woods_named("chest of drawers") == ()


def test_wood_is_said_of_the_piece_only_where_print_is_ruled_out():
    assert advert([subject("solid_wood", "veneer")], Facts("wooden chest")).title == "Wooden chest"
    with pytest.raises(UsageError, match="ruled out"):
        advert([subject("veneer", "printed")], Facts("wooden chest"))


def test_recalls_and_woods_in_what_was_done_are_looked_at_first():
    found = advert([subject("veneer", basis="decided")], Facts(done=("Patched with oak", "Walnut stain")))
    assert found.check[0] == RECALLED and any(c.startswith("Oak stands") for c in found.check)
    assert not any("Walnut" in c for c in found.check)


def test_the_words_of_the_trade():
    """ "Veneer top, particle-board sides": each part by its own face and core."""
    top = subject("veneer", cores=("particle_board",), basis="confirmed")
    side = subject("printed", id="side", name="Side", role="side", cores=("particle_board",), basis="decided")
    found = advert([top, side], Facts("chest of drawers"))
    assert found.title == "Chest of drawers, wood veneer top"
    assert found.lines[:2] == ("Top: wood veneer on particle board.", "Side: printed surface on particle board.")


def test_the_wood_is_named_only_where_it_was_seen_by_hand():
    assert "(oak)" in material_line(subject("solid_wood", basis="confirmed", wood="oak"))
    assert "(oak)" not in material_line(subject("solid_wood", basis="decided", wood="oak"))


def test_what_is_open_is_called_open_and_not_promised():
    found = advert([subject("solid_wood", "printed")], Facts())
    assert "not settled" in found.lines[0] and "solid" not in " ".join(found.lines) and NO_PROMISE in found.lines


def test_flaws_seen_by_hand_are_told_and_those_of_photos_looked_at_first():
    s = subject("solid_wood", basis="confirmed", damage=(Damage("burn", "low", True), Damage("crack", "low")))
    found = advert([s], Facts())
    assert "Flaw: a burn (top)." in found.lines and not any("crack" in line for line in found.lines)
    assert any("crack" in c for c in found.check)
    assert sum(p.key == "flaw" for p in pictures([s])) == 2


def test_cautions_that_a_buyer_needs():
    assert LEAD in advert([subject("opaque", basis="decided")], Facts()).lines
    assert ANCHOR in advert([subject("veneer", role="drawer_front")], Facts()).lines


@pytest.mark.parametrize("bad", [{"piece": ""}, {"piece": "solid oak table"}, {"done": ("solid work",)}, {"price": -1},
                                 {"price": float("nan")}, {"currency": "solid gold"},
                                 {"piece": "a\nb"}])
def test_facts_that_make_no_sense(bad):
    with pytest.raises(UsageError):
        Facts(**bad)


def test_photos_are_those_that_the_parts_need():
    keys = {p.key for p in pictures([subject("veneer")])}
    assert {"front", "end", "inside", "back", "tape"} <= keys and not {"drawer_open", "flaw"} & keys


def test_the_command_on_an_assessment(tmp_path):
    doc = chest_document(tmp_path)
    photo = tmp_path / "chest.json"
    photo.write_text(to_json(doc))
    found = json.loads(CliRunner().invoke(app, ["advert", "--assessment", str(photo), "--piece", "chest", "--json"]).output)
    told = {s.id for s in subjects(doc, Answers(), Request()) if s.face == "solid_wood" and s.basis == "decided"}
    assert ("solid" in " ".join(found["text"])) == bool(told)
    assert "Photos for it:" in lines_of(advert([subject("veneer")], Facts()))
