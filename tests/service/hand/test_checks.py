"""The rules of hand checks: what the file promises, and files that promise too much."""

from importlib.resources import files

import numpy as np
import pytest

from service.hand.belief import CORE_OF, FACE_OF
from service.hand.checks import CANNOT_SAY, SUBSTRATES, read, rules
from service.rulebook import BrokenRules, parse
from vision import registry

TEXT = files("service").joinpath("rules/hand_checks.toml").read_text(encoding="utf-8")
#: What the trade's rows ask for (status beside them in the file): hole and end grain decide, weight, tap and price never.
DECISIVE = {"face_look", "end_of_part", "hole", "knot_through", "lifted_spot"}


def changed(old, new):
    assert old in TEXT
    return parse("hand_checks.toml", TEXT.replace(old, new, 1))


def test_only_what_shows_the_make_itself_may_decide_alone():
    assert {c.key for c in rules().checks.values() if c.decisive} == DECISIVE


def test_what_is_not_decisive_never_favours_anything_more_than_the_limit():
    for check in rules().checks.values():
        ratio = (check.table.max(axis=0) / check.table.min(axis=0)).max()
        assert check.decisive or ratio <= rules().most + 1e-6, check.key
        assert np.allclose(check.table.sum(axis=1), 1)


def test_every_row_names_a_source_and_the_counts_are_called_estimates():
    assert rules().odds_source.status == "estimate"
    assert {c.source.status for c in rules().checks.values()} <= {"seen", "secondary", "common"}


def best(check, answer):
    column = rules().checks[check].column(answer)
    return {SUBSTRATES[k] for k in np.flatnonzero(column >= column.max() - 1e-9)}


def test_answers_point_where_their_sources_say():
    # Six sides, two of which must have end grain (a trade page on telling solid wood).
    assert best("end_of_part", "rings") == {"solid_lumber"}
    # The same knot on both faces is solid wood's (a trade page on period furniture).
    assert best("knot_through", "through") == {"solid_lumber"}
    # Plies, particles, fibre at a hole show the core (common practice, no source).
    assert {CORE_OF[s] for s in best("hole", "plies")} == {"plywood"}
    assert {CORE_OF[s] for s in best("hole", "particles")} == {"particle_board"}
    # Under a lifting strip: wood, or paper and plastic (common practice, no source).
    assert {FACE_OF[s] for s in best("lifted_spot", "wood_sheet")} == {"veneer"}
    assert {FACE_OF[s] for s in best("lifted_spot", "paper_or_plastic")} == {"printed"}


def test_a_hole_says_nothing_of_the_face_beyond_the_core():
    table = rules().checks["hole"].table
    for core in registry.CORES:
        rows = table[[k for k, s in enumerate(SUBSTRATES) if CORE_OF[s] == core and s != "solid_lumber"]]
        assert np.allclose(rows, rows[0])


def test_dovetails_tell_little_of_a_front_since_boards_have_dovetailed_drawers_too():
    # A furniture shop's page: fibreboard tops and sides with dovetailed plywood drawers.
    check = rules().checks["joinery"]
    assert not check.decisive and check.table[SUBSTRATES.index("veneer_on_fibreboard"), 0] >= 0.05


@pytest.mark.parametrize(("old", "new", "says"), [
    ("most = 10", "most = 3", "is not decisive, yet favours"),
    ("solid_lumber = [78, 5, 0.5, 0.2, 0.3, 16]", "solid_lumber = [78, 5, 0.5, 0.2, 0.3, 26]", "add up to 100"),
    ("solid_lumber = [78, 5, 0.5, 0.2, 0.3, 16]", "solid_lumber = [84, 0, 0, 0, 0, 16]", "above zero"),
    ('not_wood = [1, 15, 1, 2, 2, 79]', "", "says nothing of not_wood"),
    ('["rings", "r",', '["rings", "l",', "letters of answers"),
    ('photo_cues = ["end", "edge"]', 'photo_cues = ["smell"]', "unknown roles or cues"),
    ("decisive = true\n", "", "is missing"),
])
def test_a_file_that_does_not_hold_is_refused(old, new, says):
    with pytest.raises(BrokenRules, match=says):
        read(changed(old, new))


def test_cannot_say_is_no_answer_of_a_check():
    assert all(CANNOT_SAY not in [a.key for a in c.answers] for c in rules().checks.values())


def favours(check, answer, up, down):
    """How many times likelier an answer is under one substrate than under another."""
    c = rules().checks[check]
    k = [a.key for a in c.answers].index(answer)
    return c.table[SUBSTRATES.index(up), k] / c.table[SUBSTRATES.index(down), k]


def test_hints_lean_as_their_sources_do_and_no_further():
    # A dealer's page: tops of several planks butted together are solid wood's.
    assert best("boards_in_width", "boards") == {"solid_lumber"}
    # Trade pages on knock-down fittings: common in boards, and used in solid wood that is sold to be put together too.
    assert 2 < favours("fittings", "cams", "print_on_particle_board", "solid_lumber") < 10
    assert rules().checks["fittings"].table[SUBSTRATES.index("solid_lumber"), 0] >= 0.1
    # A dealer's opinion: a low price for its kind hints at veneer.
    assert 1 < favours("price", "lower", "veneer_on_particle_board", "solid_lumber") <= 2
    # Trade pages on tapping disagree on the direction: next to nothing either way.
    assert all(favours("tap", a.key, u, d) < 3 for a in rules().checks["tap"].answers
               for u in ("solid_lumber", "veneer_on_particle_board") for d in ("solid_lumber", "veneer_on_particle_board"))
