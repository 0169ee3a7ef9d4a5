"""Particles, fibre and ring arcs on made edges and ends of known build."""

from __future__ import annotations

import math

import numpy as np
import pytest
from skimage.measure import CircleModel

from tests.vision.edges.edge_strips_made import arcs, fibre, long_grain, particles, plies, veneered
from tests.vision.surface.surface_faces import jpeg, view_of
from vision.edges import strips
from vision.edges.particles import granulometry
from vision.edges.rings import fit_arcs
from vision.edges.strips import RingArc
from vision.surface.sample import gradients


def values(pixels):
    return strips.measure(view_of(pixels), None)


@pytest.mark.parametrize("quality", [None, 70])
def test_three_layer_board_is_coarser_in_the_middle(quality):
    def v(p):
        return values(p if quality is None else jpeg(p, quality))

    board, even = v(particles()), v(particles(middle=1.5, skin=1.5))
    assert board["particles_size_gap"] > 0.2 > abs(even["particles_size_gap"]) + 0.1
    assert board["particles_rough_gap"] > 0.5
    assert abs(v(fibre())["particles_rough_gap"]) < 0.2


def test_fibre_is_finer_and_evener_than_particles():
    board, mat = values(particles()), values(fibre())
    assert mat["particles_rough"] < board["particles_rough"] - 0.8
    assert mat["particles_size"] < board["particles_size"]
    assert mat["particles_even"] < board["particles_even"]
    assert mat["layers_skin_tone"] < -0.02


def test_granulometry_finds_the_size_of_discs():
    rng = np.random.default_rng(0)
    y, x = np.mgrid[:120, :300]
    for radius, index in ((2, 1), (4, 2), (6, 3)):
        plane = np.zeros((120, 300), np.float32)
        for cx, cy in zip(rng.integers(10, 290, 25), rng.integers(10, 110, 25), strict=True):
            plane[(x - cx) ** 2 + (y - cy) ** 2 <= (radius - 0.5) ** 2] = 50
        energy = granulometry(plane).mean(axis=(1, 2))
        assert int(np.argmax(energy)) == index


@pytest.mark.parametrize("centre", [(150, 230), (60, -120), (210, 420), (500, 200)])
def test_arc_centre_is_found(centre):
    end = arcs(centre)
    luma = end.astype(np.float32).mean(axis=2)
    (fit,) = fit_arcs(gradients(luma), np.ones(luma.shape, bool))
    assert math.dist(fit.centre, centre) < 0.1 * max(100.0, fit.radius)
    assert fit.fit > 0.97 and fit.fit > fit.straight_fit


def test_drawn_arc_lies_on_a_circle_about_the_true_centre():
    found = [x for x in strips.located(view_of(jpeg(arcs((150, 230)), 80)), None) if isinstance(x, RingArc)]
    assert len(found) == 1
    # Checked with scikit-image's least-squares circle.
    circle = CircleModel.from_estimate(np.array(found[0].points))
    (xc, yc), r = circle.center, circle.radius
    assert math.hypot(xc - 150, yc - 230) < 15 and r == pytest.approx(found[0].radius, rel=0.05)
    assert all(-1 <= x <= 420 and -1 <= y <= 160 for x, y in found[0].points)


def test_arcs_gain_over_straight_lines_and_nothing_else_does():
    bent = values(arcs((150, 230)))
    assert bent["rings_gain"] > 0.9 and bent["rings_turn"] > 0.6
    for other in (arcs((200, 90000)), long_grain(), plies(7), fibre(), veneered(), particles()):
        v = values(other)
        assert 0 <= v["rings_gain"] < 0.45 and v["rings_turn"] < 0.2


def test_flatter_arcs_turn_less():
    near, far = values(arcs((150, 230))), values(arcs((200, 700)))
    assert near["rings_turn"] > 2 * far["rings_turn"] > 0.2
    # The radius as drawn: from the panel's middle to the centre.
    assert far["rings_curve"] == pytest.approx(math.hypot(160, 420) / math.hypot(10, 620), rel=0.15)


def test_long_grain_runs_along():
    assert values(long_grain())["rings_long_grain"] > 1.5
    across = np.ascontiguousarray(long_grain(thickness=700, length=700)[:, :72].transpose(1, 0, 2))
    assert values(across)["rings_long_grain"] < -1.5


def test_each_board_of_a_lay_up_has_its_own_arcs():
    boards = [arcs((110, 190), 1, 100, 200), arcs((90, -100), 2, 100, 200), arcs((130, 180), 3, 100, 200)]
    view = view_of(np.hstack(boards))
    v = strips.measure(view, None)
    assert v["rings_gain"] > 0.7
    found = [x for x in strips.located(view, None) if isinstance(x, RingArc)]
    assert len(found) == 3
    for k, arc in enumerate(found):
        assert all(200 * k - 1 <= x <= 200 * (k + 1) for x, _ in arc.points)
