"""The numbers of a layout that the classifier is taught on; nan where a number cannot be measured."""

from __future__ import annotations

from vision.features import Feature
from vision.layouts.gather import Evidence, gather
from vision.types import GrainField, WorkingView

_ABOUT: tuple[tuple[str, str, str], ...] = (
    ("uniform", "share", "Share of the grain direction explained by one direction."),
    ("fold_gain", "share", "What mirroring the direction at parallel lines explains beyond that."),
    ("fold_lean", "degrees", "Angle between the grain and those lines."),
    ("fold_lines", "count", "How many such lines."),
    ("quarters", "share", "Share explained by four mirrored quarters."),
    ("quarters_outward", "-1..1", "The same, positive when the grain runs outwards, negative when it runs round the centre."),
    ("box_along", "-1..1", "Share explained by four triangles: positive along the edges, negative at right angles to them."),
    ("wedges_share", "share", "Share explained by six or more wedges about a centre."),
    ("wedges_outward", "-1..1", "How far the grain runs outwards from a centre, smoothly."),
    ("wedges_margin", "share", "How far the best number of wedges beats the next best."),
    ("blocks_share", "share", "Share explained by a draughtboard of two directions."),
    ("blocks_balance", "share", "The rarer of two directions at right angles."),
    ("mirror_z", "standard deviations", "How far the best mirror axis along the joints stands over chance."),
    ("mirror_r", "correlation", "Correlation of figure at that axis."),
    ("mirror_axes", "count", "Mirror axes along the joints that stand over chance."),
    ("mirror_span", "share", "How far from the axis the figure mirrors, in heights of the panel."),
    ("repeat_z", "standard deviations", "How far the best repeat across the joints stands over chance."),
    ("repeat_r", "correlation", "Correlation of figure at that repeat."),
    ("repeat_pitch", "share", "Its pitch in heights of the panel."),
    ("end_z", "standard deviations", "How far the best mirror axis at right angles to the joints stands over chance."),
    ("end_r", "correlation", "Correlation of figure at that axis."),
    ("joints", "count", "Joints found side by side."),
    ("joint_strength", "0..1", "Their mean strength."),
    ("tone_joints", "count", "Joints seen by a step of tone alone."),
    ("width_spread", "ratio", "Coefficient of variation of the widths between joints."),
    ("mirrored_pairs", "share", "Share of neighbours whose figure mirrors."),
    ("repeated_pairs", "share", "Share of neighbours whose figure repeats."),
    ("pair_mirror", "correlation", "Mean mirrored likeness of neighbours beyond chance."),
    ("pair_repeat", "correlation", "Mean repeated likeness of neighbours beyond chance."),
    ("profile_mirror", "correlation", "Mean mirrored likeness of neighbours' tone across the grain."),
    ("profile_repeat", "correlation", "Mean repeated likeness of neighbours' tone across the grain."),
    ("tone_step", "L*", "Mean step of lightness between neighbours."),
    ("tone_turns", "share", "How often light and dark take turns."),
)

FEATURES: tuple[Feature, ...] = tuple(Feature(f"layout_{n}", "leaf_layout", unit, about) for n, unit, about in _ABOUT)
NAMES: tuple[str, ...] = tuple(n for n, _, _ in _ABOUT)


def as_features(evidence: Evidence | None) -> dict[str, float]:
    """Feature name -> number."""
    if evidence is None:
        return {f.name: float("nan") for f in FEATURES}
    return {f"layout_{n}": float(evidence.values[n]) for n in NAMES}


def measure(view: WorkingView, field: GrainField) -> dict[str, float]:
    """All layout numbers of a panel."""
    return as_features(gather(view, field))
