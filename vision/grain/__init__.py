"""Grain direction and what it shows: flow, strips of boards, direction seams and knots."""

from vision.grain.field import grain_field
from vision.grain.scales import GrainParams

__all__ = ["GrainParams", "grain_field"]
