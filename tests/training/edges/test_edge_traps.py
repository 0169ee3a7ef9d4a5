"""Each trap, drawn at a fixed seed and judged by the stored models: none is named, surely, what it only looks like.

How often traps fool the models stands in the scores (`training.edge_scores`, 'traps'); these tests catch a model that falls for
them as a rule.
"""

from __future__ import annotations

import numpy as np
import pytest

from training.edge_rows import spoilt
from training.edge_scores import TRAPS
from training.edges.make import make_edge
from vision.edges.edge import measure_edge


def _reports(trap, trials=(("close", 901), ("angled", 902))):
    for setting, seed in trials:
        picture = make_edge(trap, setting, seed)
        outline, face_at = spoilt(picture.truth)
        report = measure_edge(picture.pixels, outline, face_at=face_at)
        if report is not None:
            yield report


@pytest.mark.parametrize("trap", ["drawers", "books", "rope", "card", "louvre", "carpet"])
def test_what_is_no_edge_is_not_called_plies_or_particles(trap):
    reports = list(_reports(trap, (("close", 1), ("angled", 2), ("angled", 3), ("angled", 4))))
    assert reports and np.mean([r.chances["other"] for r in reports]) > max(
        np.mean([r.chances[k] for r in reports]) for k in TRAPS[trap])


@pytest.mark.parametrize("trap", ["veneer_lumber_end", "veneer_lumber_edge", "band_print"])
def test_a_foreign_face_or_strip_is_not_called_one_piece(trap):
    usable = [r.continuation.log_ratio for r in _reports(trap) if r.continuation.usable]
    assert usable and np.mean(usable) < 0


@pytest.mark.parametrize("trap", ["band_end_print", "band_wood", "book_arris"])
def test_strips_that_a_photo_can_hardly_tell_from_the_wood_are_not_strongly_called_one_piece(trap):
    ratios = [r.continuation.log_ratio for r in _reports(trap, (("close", 901), ("angled", 902), ("angled", 903)))]
    assert np.mean(ratios) < 1.0


def test_stringing_is_no_veneer_line():
    assert not any(r.layer for r in _reports("stringing"))


@pytest.mark.parametrize("trap", ["lipping", "painted"])
def test_solid_lipping_and_painted_edges_are_not_called_boards_below(trap):
    for report in _reports(trap):
        assert report.kind not in ("plies", "particles", "fibre")
