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
from service.sell.advert import ANCHOR, LEAD, NO_PROMISE, Facts, advert, lines_of, material_line, pictures
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
