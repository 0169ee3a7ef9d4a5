"""Grain direction and what it shows: flow, strips of boards, direction seams and knots."""

from vision.grain.field import grain_field
from vision.grain.measure import FEATURES, GrainStructure, located, measure
from vision.grain.scales import GrainParams

__all__ = ["FEATURES", "GrainParams", "GrainStructure", "grain_field", "located", "measure"]
