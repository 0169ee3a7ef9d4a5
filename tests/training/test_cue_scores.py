"""Cues are tagged, print or wood is asked where it should be, and the rule that keeps it open keeps its share."""

import numpy as np

from training.cue_scores import Means, answered, asked, least_chance, print_share, questions, tags
from training.figures import PRINTED, SOLID, VENEER
from training.fit import Answers
from training.heldout import HeldOut
from training.tables import CUES, Table
from vision.inference.joint import FACES
from vision.inference.model import TARGETS
from vision.repeats.numbers import HYPOTHESIS_OF


def table(faces: list[int], views: list[int], cues: list[str], repeats: list[float]) -> Table:
    n = len(faces)
    names = np.array(list(HYPOTHESIS_OF))
    values = np.zeros((n, len(names)), np.float32)
    values[:, 1] = repeats
    i8, unknown = np.int8, np.full(n, -1, np.int8)
    text = np.array([str(k) for k in range(n)])
    return Table("s", names, values, np.zeros((n, 3, 4), np.float16), np.array(faces, i8), unknown, np.array(views, i8),
                 np.array([int(v == 0) for v in views], i8), np.ones(n, np.float32), np.ones(n, bool),
                 np.array([[c == k for c in CUES] for k in cues]), text, text, text)


def held(face: np.ndarray, views: list[int], decided: list[bool]) -> HeldOut:
    n = len(face)
    view = np.eye(len(TARGETS["view"]))[views]
    core = np.full((n, len(TARGETS["core"])), 0.25)
    shown = np.array([float(v > 0) for v in views])
    return HeldOut(Answers(face, core, view, shown, np.zeros((n, 2)), np.zeros(n)), face > 0.1, core > 0.1, np.array(decided))


def faces(*tops: int) -> np.ndarray:
    out = np.full((len(tops), len(FACES)), 0.1)
    out[np.arange(len(tops)), list(tops)] = 0.5
    return out


def test_every_panel_shows_a_cue_or_none():
    t = table([SOLID, VENEER, PRINTED, SOLID], [0, 1, 0, 0], ["wear", "none", "none", "knot"], [0, 0, 2.0, np.nan])
    found = tags(t)
    assert found["wear"].tolist() == [True, False, False, False]
    assert found["edge or end"].tolist() == [False, True, False, False]
    assert found["repeat (measured)"].tolist() == [False, False, True, False]
    assert found["none of these"].tolist() == [False, False, False, True]
    assert found["  of them with knot or boards"].tolist() == [False, False, False, True]


def test_print_or_wood_is_asked_of_cueless_faces_and_answered_by_decided_verdicts():
    opaque = FACES.index("opaque")
    t = table([SOLID, PRINTED, opaque, VENEER, VENEER], [0, 0, 0, 0, 0], ["none", "none", "none", "wear", "none"], [0.0] * 5)
    assert asked(t, np.ones(5, bool)).tolist() == [True, True, False, False, True]
    found = held(faces(SOLID, PRINTED, SOLID, opaque, VENEER), [0, 0, 0, 0, 1], [True, False, True, True, True])
    assert answered(found).tolist() == [True, False, True, False, False]  # the last is decided as an edge
    narrow, known, right = questions(found, t)
    assert narrow.tolist() == [False] * 4 + [True] and known.tolist() == [True] * 4 + [False]
    assert right.tolist() == [True, True, False, False, False]


def test_the_print_share_leaves_other_faces_out():
    p = np.zeros((1, len(FACES)))
    p[0, [SOLID, VENEER, PRINTED, FACES.index("opaque")]] = 0.1, 0.1, 0.2, 0.6
    assert print_share(p)[0] == 0.5


def test_the_least_chance_lets_no_more_through_than_asked():
    rng = np.random.default_rng(4)
    top, spoken, weight = rng.uniform(0.4, 1, 400), rng.uniform(size=400) < 0.5, rng.uniform(0.2, 1, 400)
    limit = least_chance(top, spoken, weight, 0.1)
    through = weight[spoken & (top >= limit)].sum() / weight.sum()
    assert 0.08 < through <= 0.1
    assert least_chance(top, np.zeros(400, bool), weight, 0.1) > 1


def test_means_count_a_specimen_once():
    author, specimen = np.array(["a", "a", "a", "b"]), np.array(["x", "x", "x", "y"])
    means = Means(author, specimen)
    use = np.ones(4, bool)
    assert means.mean(np.array([True, True, True, False]), use).startswith("0.50 ")
    assert means.specimens(use) == 2
    assert means.mean(use, np.zeros(4, bool)) == "-"
