"""Panels: finding the flat surfaces of furniture on a photo and bringing each into a working view."""

from vision.panels.outlines import panels_from_outlines
from vision.panels.rectify import rectify

__all__ = ["panels_from_outlines", "rectify"]
