"""Cues that a careful eye uses: gaps between strips, colour of dark spots, colour and sheen in step with the figure."""

from vision.cues_seen.measure import FEATURES, EyeCues, measure, read_cues

__all__ = ["FEATURES", "EyeCues", "measure", "read_cues"]
