"""Examples for the layout net: truth lies on the canvas where it was laid, and the stream can be made again."""

from __future__ import annotations

import numpy as np

from training.composites.layout_variety import grown_figure
from training.composites.layouts import make_layout
from training.layout_folds import FOLDS, JUDGED, fold_of
from training.layout_net_examples import CLASSES, Source, drawn, example_of
from vision.layouts.canvas import STEPS, TALL, WIDE
from vision.layouts.learned import WEDGES

FIGURES = [grown_figure(k) for k in (3, 4)]


def test_axes_of_an_example_are_where_its_figure_mirrors() -> None:
    # the figure channel correlates with its own reflection at the true axis more than elsewhere
    truth = make_layout(FIGURES[0], "centre_balance", np.random.default_rng(2))
    example = example_of(truth, np.random.default_rng(0), crop=0.0)
    assert CLASSES[example.name] == "book"
    axes = example.axes[np.isfinite(example.axes[:, 0])]
    assert len(axes) == len(truth.axes)
    level = abs(axes[0, 3] - axes[0, 1]) < abs(axes[0, 2] - axes[0, 0])
    figure = example.channels[0].astype(float) / STEPS
    if not level:
        figure, axes = figure.T, axes[:, [1, 0, 3, 2]]
    row = float((axes[0, 1] + axes[0, 3]) / 2)

    def likeness(at: float) -> float:
        k = np.arange(2, 22)
        upper, lower = (figure[np.clip(np.rint(at + s * k).astype(int), 0, len(figure) - 1)] for s in (-1, 1))
        return float(np.corrcoef(upper.ravel(), lower.ravel())[0, 1])

    # joints may lean by a pixel or two over the panel
    here = max(likeness(row + d) for d in np.arange(-2, 2.1, 0.5))
    assert here > 0.3 and here > 0.1 + max(likeness(row + d) for d in (-17, -11, 11, 17))


def test_a_seen_part_keeps_its_truth_inside() -> None:
    for seed in range(4):
        truth = make_layout(FIGURES, "sunburst", np.random.default_rng(seed), "perspective")
        example = example_of(truth, np.random.default_rng(seed), crop=1.0)
        assert WEDGES[example.wedges] == min(truth.wedges, WEDGES[-1])
        axes = example.axes[np.isfinite(example.axes[:, 0])].reshape(-1, 2)
        assert (axes > -1.5).all() and (axes < [WIDE + 0.5, TALL + 0.5]).all()
        # every seam starts at the centre
        starts = example.axes[np.isfinite(example.axes[:, 0])][:, :2]
        assert np.abs(starts - example.centre).max() < 3
        assert drawn(example).shape == (TALL, WIDE, 3)


def test_the_stream_can_be_made_again() -> None:
    one, two = (Source(FIGURES, 5, grown=0.0) for _ in range(2))
    for _ in range(2):
        a, b = one.example(), two.example()
        assert a.name == b.name and np.array_equal(a.channels, b.channels)
        assert np.array_equal(a.axes, b.axes, equal_nan=True)


def test_folds_share_out_those_who_took_figures() -> None:
    groups = [f"author {k}" for k in range(10)]
    assert {fold_of(g, groups) for g in groups} == set(range(FOLDS))
    assert fold_of("grown 7", groups) == -1 and all(f in range(FOLDS) for f in JUDGED)
