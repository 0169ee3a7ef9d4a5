"""Putting photo and hands together: order, dependence, ranges, and never more than the answers carry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.hand.belief import FACES, FLOOR, Start, by_core, fuse, weights_of
from service.hand.checks import CANNOT_SAY, SUBSTRATES, rules
from service.hand.state import start_of
from vision.errors import UsageError
from vision.registry import CORES

BOOK = rules()
EVEN = start_of(None, "top")
ANSWERS = [(c.key, a.key) for c in BOOK.checks.values() for a in c.answers]
some_answers = st.lists(st.sampled_from(ANSWERS), unique_by=lambda ca: ca[0], max_size=8)


def starting(cues=(), **shares):
    rest = (1 - sum(shares.values())) / (len(SUBSTRATES) - len(shares))
    return Start({s: shares.get(s, rest) for s in SUBSTRATES}, "made up", cues)


def middles(fused):
    return {f: r.middle for f, r in fused.faces.items()}


def test_without_answers_nothing_moves_and_there_is_no_range():
    start = starting(solid_lumber=0.5, veneer_on_plywood=0.3)
    fused = fuse(start, {}, BOOK)
    assert all(fused.substrates[s] == pytest.approx(start.vector[k]) for k, s in enumerate(SUBSTRATES))
    assert all(r.high - r.low < 1e-9 for r in fused.faces.values())


def test_one_answer_is_bayes_rule():
    """Against the textbook rule worked by hand: prior times likelihood, divided by its sum."""
    check = BOOK.checks["water_drop"]
    prior = EVEN.vector
    hand = prior * check.table[:, 0] / (prior @ check.table[:, 0])
    fused = fuse(EVEN, {"water_drop": "soaks"}, BOOK)
    assert np.allclose([fused.substrates[s] for s in SUBSTRATES], hand)


def test_checks_of_different_groups_multiply():
    fused = fuse(EVEN, {"water_drop": "soaks", "carved": "grain_through"}, BOOK)
    p = EVEN.vector * BOOK.checks["water_drop"].table[:, 0] * BOOK.checks["carved"].table[:, 0]
    assert np.allclose([fused.substrates[s] for s in SUBSTRATES], p / p.sum())


@given(some_answers)
@settings(max_examples=25, deadline=None)
def test_the_order_of_answers_does_not_matter(answers):
    fused, turned = fuse(EVEN, dict(answers), BOOK), fuse(EVEN, dict(answers[::-1]), BOOK)
    for face in FACES:
        for end in ("low", "middle", "high"):
            assert getattr(fused.faces[face], end) == pytest.approx(getattr(turned.faces[face], end), abs=1e-9)
    assert (fused.face, fused.core) == (turned.face, turned.core)


@given(some_answers)
@settings(max_examples=25, deadline=None)
def test_ranges_hold_their_middle_and_everything_adds_up(answers):
    fused = fuse(EVEN, dict(answers), BOOK)
    assert sum(fused.substrates.values()) == pytest.approx(1)
    assert sum(r.middle for r in fused.faces.values()) == pytest.approx(1)
    for r in [*fused.faces.values(), *fused.cores.values()]:
        assert 0 <= r.low <= r.middle <= r.high <= 1
    assert fused.faces_left and (fused.face is None or fused.face in fused.faces_left)


def test_answers_about_the_same_thing_count_less_than_in_full_and_no_less_than_the_strongest():
    both = fuse(EVEN, {"end_of_part": "line", "seam_felt": "catches"}, BOOK)
    alone = fuse(EVEN, {"end_of_part": "line"}, BOOK)
    p = EVEN.vector * BOOK.checks["end_of_part"].table[:, 1] * BOOK.checks["seam_felt"].table[:, 0]
    full = p[SUBSTRATES.index("solid_lumber")] / p.sum()
    assert full < both.faces["solid_wood"].middle < alone.faces["solid_wood"].middle
    shares = {w.check: w.share for w in both.weights}
    assert shares == {"end_of_part": 1.0, "seam_felt": BOOK.within_group}


def test_what_the_photo_has_used_counts_in_part_unless_it_is_decisive():
    seen = starting(cues=("edge", "macro"), solid_lumber=0.4)
    why = {w.check: (w.share, w.why) for w in weights_of(seen, {"knots_felt": "felt", "end_of_part": "rings"}, BOOK)}
    assert why["knots_felt"] == (BOOK.seen_on_photo, "the photo verdict has used the same")
    assert why["end_of_part"] == (1.0, "")


@pytest.mark.parametrize(("check", "answer"), [(c, a) for c, a in ANSWERS if not BOOK.checks[c].decisive])
def test_nothing_indecisive_names_a_material_alone(check, answer):
    fused = fuse(EVEN, {check: answer}, BOOK)
    assert fused.face is None and fused.core is None


def test_the_scale_alone_names_nothing_and_is_held_to_the_limit():
    mass = {c: float(c == "lumber") for c in CORES}
    logs = by_core(mass, BOOK.most)
    assert np.exp(logs.max() - logs.min()) == pytest.approx(BOOK.most)
    fused = fuse(EVEN, {}, BOOK, mass=mass)
    assert fused.face is None and fused.core is None


def test_a_core_seen_at_a_hole_decides_it():
    assert fuse(EVEN, {"hole": "particles"}, BOOK).core == "particle_board"
    assert fuse(EVEN, {"hole": "plies"}, BOOK).core == "plywood"


def test_wood_in_a_hole_does_not_make_the_face_solid():
    """A plain rule of the trade: veneer on lumber shows wood in the hole too (common practice, no source)."""
    fused = fuse(EVEN, {"hole": "wood"}, BOOK)
    assert fused.core == "lumber" and fused.face is None and "veneer" in fused.faces_left


def test_a_hand_can_overturn_a_photo_that_was_as_good_as_sure():
    sure = starting(solid_lumber=0.97)
    fused = fuse(sure, {"hole": "particles", "lifted_spot": "wood_sheet"}, BOOK)
    assert fused.cores_left[0] == "particle_board" and fused.faces_left[0] == "veneer" and "solid_wood" not in fused.faces_left
    assert sure.vector.min() >= FLOOR / 2


def test_what_photos_left_open_is_not_ruled_out_by_a_weak_answer():
    """Solid wood at 0.9 from photos that could not decide: an answer that hardly tells solid from veneer must not name it."""
    left = Start({s: 0.9 if s == "solid_lumber" else 0.1 / (len(SUBSTRATES) - 1) for s in SUBSTRATES}, "photos",
                 faces=("solid_wood", "veneer"))
    weak = fuse(left, {"water_drop": "soaks", "knots_felt": "felt"}, BOOK)
    assert weak.face is None and "veneer" in weak.faces_left
    strong = fuse(left, {"end_of_part": "rings", "knot_through": "through"}, BOOK)
    assert strong.face == "solid_wood" and strong.faces_left == ("solid_wood",)
    assert fuse(left, {}, BOOK).face is None


def test_cannot_say_moves_nothing():
    assert middles(fuse(EVEN, {c: CANNOT_SAY for c in BOOK.checks}, BOOK)) == middles(fuse(EVEN, {}, BOOK))


def test_what_moved_what_is_what_leaving_it_out_changes():
    answers = {"end_of_part": "rings", "water_drop": "soaks", "boards_in_width": "boards"}
    fused = fuse(EVEN, answers, BOOK)
    for check in answers:
        without = fuse(EVEN, {k: v for k, v in answers.items() if k != check}, BOOK)
        for face in FACES:
            assert fused.moved[check][face] == pytest.approx(fused.faces[face].middle - without.faces[face].middle, abs=1e-9)


def test_doubt_widens_with_every_answer_that_pulls():
    one = fuse(EVEN, {"back_and_underside": "same_wood"}, BOOK).faces["solid_wood"]
    assert one.high - one.low > 0.05


def test_unknown_checks_and_answers_are_refused():
    with pytest.raises(UsageError, match="is no check"):
        fuse(EVEN, {"smell": "sweet"}, BOOK)
    with pytest.raises(UsageError, match="is no answer"):
        fuse(EVEN, {"hole": "sweet"}, BOOK)
    with pytest.raises(UsageError, match="add up"):
        Start({s: 0.5 for s in SUBSTRATES}, "made up")


def simulated(seed):
    """Parts drawn from the start, answered as the rules say they are, checks of different groups independent."""
    rng = np.random.default_rng(seed)
    checks = list({c.group: c for c in BOOK.checks.values()}.values())
    truth = rng.choice(len(SUBSTRATES), 400, p=EVEN.vector)
    for k in truth:
        chosen = rng.permutation(len(checks))[:4]
        yield SUBSTRATES[k], {checks[i].key: checks[i].answers[rng.choice(len(checks[i].answers), p=checks[i].table[k])].key
                              for i in chosen}


def test_if_the_estimates_were_true_the_middle_would_be_calibrated():
    """Synthetic truth: among faces given 60 to 80 % about so many are right."""
    from service.hand.belief import FACE_OF
    rows = [(r.middle, FACE_OF[truth] == f) for truth, answers in simulated(3)
            for f, r in fuse(EVEN, answers, BOOK).faces.items() if 0.6 <= r.middle <= 0.8]
    share, n = np.mean([hit for _, hit in rows]), len(rows)
    assert n > 40 and abs(share - np.mean([p for p, _ in rows])) < 3 * np.sqrt(0.21 / n)


def test_answers_repeating_each_other_do_not_make_it_sure():
    """Three checks of one group that say the same stay below what three independent ones would give."""
    group = {"end_of_part": "covered", "seam_felt": "none", "drawer_top_edge": "covered"}
    fused = fuse(EVEN, group, BOOK)
    p = EVEN.vector.copy()
    for c, a in group.items():
        p *= np.exp(BOOK.checks[c].column(a))
    p /= p.sum()
    full = max(sum(p[k] for k, s in enumerate(SUBSTRATES) if s.startswith("opaque")), 0)
    assert fused.faces["opaque"].middle < full
    assert sorted(w.share for w in fused.weights) == [BOOK.within_group, BOOK.within_group, 1.0]
