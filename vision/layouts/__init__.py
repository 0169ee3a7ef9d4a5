"""Leaf layouts: how the leaves or boards of a panel were laid, and what that says about veneer."""

from vision.layouts.layout import LAYOUTS, NO_LAYOUT, WIDTHS, Axis, Centre, Layout, Leaf, Relation, Seam
from vision.layouts.measure import FEATURES
from vision.layouts.read import measure, read_layout

__all__ = ["FEATURES", "LAYOUTS", "NO_LAYOUT", "WIDTHS", "Axis", "Centre", "Layout", "Leaf", "Relation", "Seam", "measure",
           "read_layout"]
