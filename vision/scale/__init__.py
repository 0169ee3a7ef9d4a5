"""Millimetres on a photo, from an object of known size that lies on the surface."""

from vision.scale.card import find_card
from vision.scale.find import ScaleAsked, find_scale
from vision.scale.focal import stated_focal_px

__all__ = ["ScaleAsked", "find_card", "find_scale", "stated_focal_px"]
