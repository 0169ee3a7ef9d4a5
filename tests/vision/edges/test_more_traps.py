"""Traps beside those of tests/training/edges: a face ply's own end grain, a board seen from below, shadows of shelves across a
narrow side, a printed band over particle board. Made pictures at fixed seeds, judged by the stored models."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from training.edge_rows import spoilt
from training.edges import view
from training.edges.boards import make_board
from training.edges.make import EdgePicture, make_edge, take
from vision.edges.edge import EdgeReport, measure_edge


def report(picture: EdgePicture) -> EdgeReport | None:
    outline, face_at = spoilt(picture.truth)
    return measure_edge(picture.pixels, outline, face_at=face_at)


def from_below(name: str, seed: int) -> EdgePicture | None:
    """A board's narrow side and underside, its upper face out of view."""
    rng = np.random.default_rng([seed, 5])
    build = make_board(name, rng, ())
    high = 70.0 / build.size[2] / np.cos(np.deg2rad(28))
    pose = view.Pose(-28.0, 6.0, 1.0, high, (0.0, 0.0, -build.size[2]), 3.0, (600, 320))
    return take(build, pose, "close", seed, rng)


def mean_chances(reports: list[EdgeReport]) -> dict[str, float]:
    return {k: float(np.mean([r.chances[k] for r in reports])) for k in reports[0].chances}


@pytest.mark.parametrize("name", ["bare_plywood", "veneer_plywood"])
def test_end_grain_of_a_face_ply_does_not_make_plywood_one_piece(name: str) -> None:
    """The outermost ply shows true end grain that runs on from its own face; the plies below it tell."""
    found = [r for s in (11, 12) if (r := report(make_edge(name, "close", s))) is not None]
    chances = mean_chances(found)
    assert chances["plies"] > chances["solid_end"] + chances["solid_edge"]
    assert name != "bare_plywood" or not any(r.kind in ("solid_end", "solid_edge") for r in found)
    assert np.mean([r.continuation.log_ratio for r in found if r.continuation.usable] or [0.0]) < 1.0


@pytest.mark.parametrize(("name", "kind"), [("bare_plywood", "plies"), ("bare_particle", "particles"),
                                            ("solid_end", "solid_end")])
def test_from_below_an_edge_is_named_as_from_above(name: str, kind: str) -> None:
    picture = from_below(name, 21)
    found = None if picture is None else report(picture)
    assert found is not None and kind == max(found.chances, key=found.chances.__getitem__)


def shaded(p: EdgePicture, soft: float) -> EdgePicture:
    """Two dark bands along a narrow side; `soft`: width of their rims over the thickness."""
    assert p.truth.arris is not None and p.truth.lower is not None
    across = np.mean(p.truth.lower, axis=0) - np.mean(p.truth.arris, axis=0)
    thick = float(np.hypot(*across))
    ys, xs = np.mgrid[: p.pixels.shape[0], : p.pixels.shape[1]]
    depth = ((xs - p.truth.arris[0][0]) * across[0] + (ys - p.truth.arris[0][1]) * across[1]) / thick**2
    shade = np.ones(depth.shape)
    for middle in (0.25, 0.75):
        shade -= 0.4 / (1 + np.exp(np.clip((np.abs(depth - middle) - 0.12) / (0.25 * soft), -40, 40)))
    return replace(p, pixels=np.clip(p.pixels * shade[..., None], 0, 255).astype(np.uint8))


@lru_cache
def solid_edge(seed: int) -> EdgePicture:
    return make_edge("solid_edge", "close", seed)


def named_plies(soft: float) -> list[bool]:
    found = [report(shaded(solid_edge(s), soft)) for s in (31, 32)]
    return [r.kind == "plies" for r in found if r is not None]


@pytest.mark.parametrize("soft", [0.05, 0.4])
def test_shadows_of_two_shelves_across_a_wooden_edge_are_no_plies(soft: float) -> None:
    found = named_plies(soft)
    assert found and not any(found)


def test_a_printed_band_over_particle_board_is_not_called_wood_all_through() -> None:
    """Where the band lies over the core nothing of it shows: banding, or no answer, but no end grain of one piece."""
    found = report(make_edge("band_print", "close", 41))
    assert found is not None and found.kind not in ("solid_end", "solid_edge")
