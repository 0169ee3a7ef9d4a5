"""Panels: finding the flat surfaces of furniture on a photo and bringing each into a working view."""

from vision.panels.find import find_panels
from vision.panels.outlines import panels_from_outlines
from vision.panels.partition import PhotoSurfaces, surface_map
from vision.panels.rectify import rectify
from vision.panels.surface import SurfaceMap
from vision.panels.tap import panel_at

__all__ = ["PhotoSurfaces", "SurfaceMap", "find_panels", "panel_at", "panels_from_outlines", "rectify", "surface_map"]
