"""Layouts of hand-cut and machine-cut joints as the measurement would give them, without drawing pictures.

A plan (training.joints.tails) gives true sides; each gets the errors of place and slope that sides measured on pictures have,
the view bends places along the joint, and the same code as on pictures turns them into numbers.
"""

from __future__ import annotations

import math

import numpy as np

from training.joint_measuring import Numbers
from training.joints import tails as plans
from vision.joints import tails
from vision.joints.band import Band
from vision.joints.sides import Edge, slant_of

#: How often a finger goes unseen. Pixels a mm, error of a place (px) and of a slope (degrees): ranges over pictures.
MISSED = 0.3
PX_PER_MM, PLACE, SLOPE = (1.0, 6.0), (0.15, 0.9), (0.3, 2.0)


def candidate_of(plan: plans.Plan, rng: np.random.Generator) -> tails.Candidate:
    """A candidate as measured on some picture of the plan."""
    scale = float(np.exp(rng.uniform(*np.log(PX_PER_MM))))
    place, slope = float(np.exp(rng.uniform(*np.log(PLACE)))), float(np.exp(rng.uniform(*np.log(SLOPE))))
    height = plan.height * scale
    bend = rng.normal(0, 0.02)

    def seen(y: np.ndarray) -> np.ndarray:
        u = y * scale / height
        return np.asarray(height * (u + bend * u * (1 - u)))

    first, last = seen(plan.sides[:, 0]), seen(plan.sides[:, 1])
    depth = plan.depth * scale
    # now and then a side runs along figure or a neighbour instead: heavy tails
    middles = (first + last) / 2 + np.clip(place * rng.standard_t(2.5, len(first)), -0.2 * height, 0.2 * height)
    middles = np.sort(middles)
    slopes = (last - first) / depth + np.tan(np.deg2rad(rng.normal(0, slope, len(first)))) + rng.normal(0, 0.01)
    pin = np.zeros(max(8, round(height)), bool)
    inside = not plan.first_tail
    edges = []
    start = 0
    missed = int(rng.integers(0, max(1, len(middles) - 1))) if rng.random() < MISSED else -2
    for k, y in enumerate(middles):
        if k in (missed, missed + 1):  # one finger was not seen
            continue
        stop = int(np.clip(round(y + 0.5), start + 1, len(pin) - 1))
        pin[start:stop] = inside
        edges.append(Edge(float(y), float(slopes[k]), depth / 2, place, float(np.tan(np.deg2rad(slope))), 1 if not inside else -1,
                          5.0, place, max(4, int(depth))))
        inside, start = not inside, stop
    pin[start:] = inside
    band = Band(0.0, depth, pin, np.array([1.0, 0, 0]), 0.9, 15.0, 3.0, 0.05, 10.0, 1.0)
    return tails.Candidate(0, band, tuple(edges), slant_of(edges), (len(pin), max(8, round(3 * depth))), {})


def hands(count: int, seed: int) -> tuple[list[Numbers], list[bool]]:
    """(inputs of the net 'hand', whether by hand) of `count` random joints; those with too few fingers to judge left out."""
    rng = np.random.default_rng([seed, 77])
    numbers: list[Numbers] = []
    labels: list[bool] = []
    while len(numbers) < count:
        hand = bool(rng.random() < 0.5)
        careful = hand and bool(rng.random() < 0.4)
        if rng.random() < 0.7:
            plan = plans.dovetail_plan(rng, half_blind=bool(rng.random() < 0.5), hand=hand, careful=careful)
        elif rng.random() < 0.5:
            plan = plans.other_face(plans.dovetail_plan(rng, half_blind=False, hand=hand, careful=careful), 12.0)
        else:
            plan = plans.square_plan(rng, fingers=True)
        c = candidate_of(plan, rng)
        layout = tails.layout_of(c)
        if layout.tails >= tails.LEAST_FINGERS and math.isfinite(layout.pitch_spread):
            numbers.append(tails.hand_numbers(c, layout))
            labels.append(plan.hand)
    return numbers, labels
