"""The index names the pairs worth comparing, whatever the order, and its work does not grow with the pairs."""

from __future__ import annotations

import numpy as np
import pytest

from training.trap_scenes import board_face, sheet
from vision.repeats.describe import SIGNS, Described, describe
from vision.repeats.index import EVERY_PAIR, PARTNERS, CandidateIndex, _centres, _meet
from vision.repeats.vote import LEAST_LIKENESS

SPECIES = ("white_oak_like", "pine_like", "walnut_like", "beech_like", "mahogany_like")


@pytest.fixture(scope="module")
def described() -> list[Described]:
    """Twelve sheets; 0 and 7 are cut from one print, 3 and 10 too but turned by half a turn."""
    rng = np.random.default_rng(5)
    faces = [board_face(SPECIES[k % 5], ("flat", "rift")[k % 2], 100 + k) for k in range(12)]
    web = board_face("white_oak_like", "flat", 900, 520)
    faces[0], faces[7] = web[:, :420], web[:, 100:]
    web = board_face("walnut_like", "flat", 901, 520)
    faces[3], faces[10] = web[:, :420], web[::-1, ::-1][:, :420]
    noisy = [np.clip(f + rng.normal(0, 3, f.shape), 0, 255).astype(np.uint8) for f in faces]
    return [describe(sheet(f, f"photo {k}", "front")) for k, f in enumerate(noisy)]


def _index(sheets: list[Described]) -> CandidateIndex:
    index = CandidateIndex()
    for k, d in enumerate(sheets):
        assert index.add(d) == k
    return index


def test_repeats_lead_and_carry_their_laying(described):
    found = _index(described).candidates()
    assert {(c.a, c.b) for c in found[:2]} == {(0, 7), (3, 10)}
    laying = {(c.a, c.b): c.signs for c in found[:2]}
    assert laying[0, 7] == (1, 1)
    assert laying[3, 10] == (-1, -1)
    assert all(a < b for a, b in ((c.a, c.b) for c in found))


def test_no_sheet_has_more_partners_than_asked(described):
    for partners in (1, 3):
        assert len(_index(described).candidates(partners=partners)) <= partners * len(described)
    assert len(_index(described).candidates()) <= PARTNERS * len(described)


def test_same_answer_twice_and_few_sheets_all_compared(described):
    assert _index(described).candidates() == _index(described).candidates()
    few = _index(described[:EVERY_PAIR]).candidates()
    assert len(few) == EVERY_PAIR * (EVERY_PAIR - 1) // 2 * len(SIGNS)
    assert _index(described[:1]).candidates() == ()


def test_an_empty_sheet_is_passed_over(described):
    blank = describe(sheet(np.full((200, 300, 3), 90, np.uint8), "photo", "blank"))
    found = _index([blank, *described]).candidates()
    assert all(c.a > 0 for c in found)
    assert {(c.a, c.b) for c in found[:2]} == {(1, 8), (4, 11)}


def test_meetings_are_among_those_of_full_search(described):
    """Against matching everything with everything by one matrix product: nothing invented, most of the best found."""
    base = np.concatenate([d.descriptors for d in described])
    owner = np.concatenate([np.full(len(d.points), k) for k, d in enumerate(described)])
    met = _meet(base, [np.concatenate([d.seen(s) for d in described]) for s in SIGNS], owner)
    plain = met.signs == 0
    q, f, like = met.query[plain], met.found[plain], met.like[plain]
    full = base @ base.T
    np.testing.assert_allclose(like, full[q, f], atol=1e-4)
    assert (owner[q] < owner[f]).all()
    assert like.min() >= LEAST_LIKENESS
    full[owner[None, :] <= owner[:, None]] = -1
    best = np.flatnonzero(full.max(axis=1) > 0.9)
    pairs = set(zip(q.tolist(), f.tolist(), strict=True))
    assert np.mean([(int(k), int(full[k].argmax())) in pairs for k in best]) > 0.8


def test_each_feature_meets_a_bounded_number(described):
    """Twice the sheets bring about twice the meetings, not four times."""
    def count(sheets: list[Described]) -> int:
        base = np.concatenate([d.descriptors for d in sheets])
        owner = np.concatenate([np.full(len(d.points), k) for k, d in enumerate(sheets)])
        return len(_meet(base, [base], owner).query) / len(base)

    more = [*described, *[describe(sheet(board_face(SPECIES[k % 5], "flat", 300 + k), "p", f"{k}")) for k in range(12)]]
    assert count(more) < 1.5 * count(described)


def test_centres_are_those_of_well_parted_clusters():
    rng = np.random.default_rng(0)
    axes = np.eye(8, dtype=np.float32)[:4]
    rows = np.repeat(axes, 50, axis=0) + rng.normal(0, 0.05, (200, 8)).astype(np.float32)
    rows /= np.linalg.norm(rows, axis=1, keepdims=True)
    centres = _centres(rows.astype(np.float32), 4)
    assert (np.abs(centres @ axes.T).max(axis=0) > 0.99).all()
