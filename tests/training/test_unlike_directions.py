"""How far looks lie from what was taught: the packed graph says what the formula says, unseen panels allowed for."""

from dataclasses import replace

import numpy as np
import onnxruntime
import pytest

from training.config_file import ExpertSettings, load_config
from training.experts import Expert
from training.fit import Fitted, look_distance
from training.pack import graph
from training.tables import Projection, Table, crops
from training.unlike_directions import distance, leading
from vision.inference.decide import Rule
from vision.inference.model import TARGETS

LENGTH, DIMS, KEPT, UNSEEN = 40, 12, 5, 1.25


def table(looks: np.ndarray) -> Table:
    n = len(looks)
    text, none = np.array([str(k) for k in range(n)]), np.full(n, -1, np.int8)
    return Table("s", np.array(["one"]), np.zeros((n, 1), np.float32), looks.astype(np.float16), none, none, none, none,
                 np.ones(n, np.float32), np.ones(n, bool), np.zeros((n, 11), bool), text, text, text)


@pytest.fixture(scope="module")
def made():
    rng = np.random.default_rng(1)
    raw = (rng.standard_normal((200, 3, LENGTH)) + rng.standard_normal((200, 1, LENGTH))).astype(np.float32)
    projection = Projection.fit(raw, DIMS)
    config = replace(load_config(), look_dims=DIMS, distance_dims=DIMS, distance_directions=KEPT, distance_unseen=UNSEEN,
                     experts=(ExpertSettings("look", "overall_look", 0.1, crops=("native",)),))
    known = table(projection(raw))
    frame = leading(known.looks.astype(np.float64).reshape(200, -1), KEPT)
    experts = {t: [Expert(None, np.zeros((DIMS, len(c))), np.zeros(len(c)))] for t, c in TARGETS.items()}
    fitted = Fitted(experts, {}, {}, np.zeros((6, 4)), *frame, np.linspace(0, 2, 41), 1.0, {}, Rule(1, 1, 1, 0), 200)
    return raw, projection, config, known, fitted


def test_the_packed_graph_says_what_the_formula_says(made):
    raw, projection, config, known, fitted = made
    session = onnxruntime.InferenceSession(graph(fitted, projection, config, known).SerializeToString(),
                                           providers=["CPUExecutionProvider"])
    feed = {"values": np.zeros((200, 1), np.float32), **{f"look_{c}": raw[:, i] for i, c in enumerate(crops())}}
    packed = session.run(["distance"], feed)[0]
    assert packed == pytest.approx(fitted.distance(known, config) / UNSEEN, abs=2e-3)


def test_taught_panels_are_ordinary_and_directions_are_what_counts(made):
    _, _, config, known, fitted = made
    found = look_distance(known, config, fitted.centre, fitted.spread, fitted.directions)
    assert np.sqrt((found**2).mean()) == pytest.approx(1, abs=1e-6)
    z = known.looks.astype(np.float64).reshape(200, -1)
    across = np.linalg.svd(fitted.directions, full_matrices=True)[0][:, -1] * fitted.spread
    assert distance(z + 50 * across, fitted.centre, fitted.spread, fitted.directions) == pytest.approx(found)
    along = fitted.directions[:, 0] * fitted.spread
    assert (distance(z + 50 * along, fitted.centre, fitted.spread, fitted.directions) > found + 1).all()
