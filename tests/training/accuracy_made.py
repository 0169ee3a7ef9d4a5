"""Made-up panels with answers, for the tests of figures, baselines and documents."""

import numpy as np

from training.accuracy_tables import Side
from training.baselines_checklist import RULES
from training.fit import Answers
from training.heldout import HeldOut
from training.panel_facts import Facts
from training.tables import CUES, Table
from vision.inference.joint import CORES, FACES, SUBSTRATES
from vision.inference.model import TARGETS


def table(n=240, seed=0):
    rng = np.random.default_rng(seed)
    specimen = np.sort(rng.integers(0, n // 3, n))
    face = rng.integers(0, len(FACES), n)[specimen].astype(np.int8)
    view = np.where(rng.random(n) < 0.8, 0, rng.integers(1, 4, n)).astype(np.int8)
    core = np.where(view > 0, rng.integers(0, len(CORES), n), -1).astype(np.int8)
    names = np.array([f"s{s:03d}" for s in specimen])
    return Table(
        schema="s", names=np.array(["one"]), values=rng.normal(size=(n, 1)).astype(np.float32),
        looks=np.zeros((n, 3, 4), np.float16),
        face=face, core=core, view=view, core_visible=(view == 0).astype(np.int8), weight=np.ones(n, np.float32),
        headline=np.ones(n, bool), cues=rng.random((n, len(CUES))) < 0.3, author=np.array([f"a{s // 4:02d}" for s in specimen]),
        specimen=names, photo=np.array([f"p{k // 2:03d}" for k in range(n)]))


def answers(t, strength, seed=1):
    """Probabilities that favour the truth by `strength` nats, with noise."""
    rng = np.random.default_rng(seed)
    n = len(t)

    def given(truth, classes):
        score = rng.normal(size=(n, classes)) + strength * (np.arange(classes) == truth[:, None])
        p = np.exp(score)
        return p / p.sum(axis=1, keepdims=True)

    face = given(t.face, len(FACES))
    zeros = np.zeros(n)
    whole = Answers(face, given(t.core, len(CORES)), given(t.view, len(TARGETS["view"])), rng.random(n),
                    np.zeros((n, len(SUBSTRATES))), zeros)
    return HeldOut(whole, face > 0.1, np.ones((n, len(CORES)), bool), face.max(axis=1) > 0.6)


def facts(t, seed=2):
    rng = np.random.default_rng(seed)
    n = len(t)
    return Facts(photo=t.photo, id=np.array([f"x{k:03d}" for k in range(n)]), share=rng.random(n).astype(np.float32) * 0.3,
                 side=rng.uniform(60, 600, n).astype(np.float32), long=rng.integers(500, 1600, n).astype(np.int32),
                 faces=rng.integers(1, 5, n).astype(np.int32), plywood=rng.random(n) < 0.5,
                 rules=rng.integers(-1, 2, (n, len(RULES))).astype(np.int8), told=np.full(n, "top|oak|boards|self"))


def side(name="real", strength=2.0, seed=0):
    t = table(seed=seed)
    others = {"embedding": ("the embedding", answers(t, 0.5, 3)), "checklist": ("the checklist", answers(t, 0.0, 4))}
    return Side(name, t, t.headline, answers(t, strength), others, facts(t))
