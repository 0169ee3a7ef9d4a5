"""Crops find their way back to the photo: a photo that says where each of its pixels lies is cut, and the cut asked."""

import cv2
import numpy as np
import pytest

from vision import looks, panel_net
from vision.crop_places import PLACES, CropPlace, crop_places
from vision.panels import rectify
from vision.types import Panel, Photo

WIDTH, HEIGHT = 255, 210
OUTLINES = {
    "turned": ((60.0, 50.0), (190.0, 70.0), (180.0, 170.0), (50.0, 150.0)),
    "at the border": ((0.0, 0.0), (150.0, 0.0), (150.0, 200.0), (0.0, 200.0)),
    "strip": ((10.0, 100.0), (240.0, 90.0), (240.0, 115.0), (10.0, 125.0)),
    "triangle": ((40.0, 30.0), (220.0, 60.0), (90.0, 190.0)),
}


def told(outline, factor=1):
    """A photo whose red is x and whose green is y (in steps of `factor` px), and the panel's view."""
    y, x = np.mgrid[0 : HEIGHT * factor, 0 : WIDTH * factor] // factor
    photo = Photo("p", "a.png", "", np.stack([x, y, np.full_like(x, 9)], axis=-1).astype(np.uint8))
    panel = Panel("a", "p", tuple((x * factor, y * factor) for x, y in outline))
    return photo, rectify(photo, panel)


def cuts(photo, view):
    return {"context": looks.context_crop(photo, view), "panel": looks.panel_crop(view), "native": looks.native_tile(view)}


@pytest.mark.parametrize("factor", [1, 3])
@pytest.mark.parametrize("name", list(OUTLINES))
def test_places_are_where_the_pixels_came_from(name, factor):
    photo, view = told(OUTLINES[name], factor)
    for crop, pixels in cuts(photo, view).items():
        (place,) = crop_places((crop,), (photo.width, photo.height), view)
        inner = np.arange(12, 224, 20)
        c, r = (g.ravel() for g in np.meshgrid(inner, inner))
        at = place.on_photo(np.c_[c + 0.5, r + 0.5] / 224)
        says = pixels[r, c, :2].astype(float) * factor + (factor - 1) / 2
        kept = np.ones(len(r), bool)
        if crop == "panel" and not view.mask.all():  # beyond the outline it is filled
            inside = cv2.erode(view.mask.astype(np.uint8), np.ones((7, 7)), borderType=cv2.BORDER_REPLICATE) > 0
            kept = inside[(r * inside.shape[0]) // 224, (c * inside.shape[1]) // 224]
        assert np.abs(at - says)[kept].max() < 2.5 * factor, (crop, np.abs(at - says)[kept].max())
        assert kept.sum() > 20


def test_wide_surroundings_reach_further_than_close_ones():
    photo, view = told(OUTLINES["turned"], 2)
    corners = np.array([[0.0, 0.0], [1.0, 1.0]])
    wide, context = (p.on_photo(corners) for p in crop_places(("wide", "context"), (photo.width, photo.height), view))
    assert (wide[0] < context[0]).all() and (wide[1] >= context[1]).all()
    assert wide.min() >= -0.5 and wide[1, 0] <= photo.width - 0.5 and wide[1, 1] <= photo.height - 0.5


def test_a_mirrored_tile_folds_back_onto_the_panel():
    photo, view = told(((30.0, 40.0), (130.0, 40.0), (130.0, 100.0), (30.0, 100.0)))
    h, w = view.native.shape[:2]
    (place,) = crop_places(("native",), (photo.width, photo.height), view)
    assert place.fold == (w / 224, h / 224)
    pixels = looks.native_tile(view)
    for c, r in ((w + 5, 3), (w - 1, h + 2), (2 * w + 3, 2 * h + 7)):
        (at,) = place.on_photo(np.array([[(c + 0.5) / 224, (r + 0.5) / 224]]))
        assert np.allclose(at, pixels[r, c, :2], atol=0.01)


def test_panel_net_crops_agree():
    """The net's own pictures lie where their places say."""
    assert set(panel_net.CROPS) <= set(PLACES)
    photo, view = told(OUTLINES["turned"], 2)
    for place, picture in zip(crop_places(tuple(panel_net.CROPS), (photo.width, photo.height), view),
                              panel_net.crops(photo, view), strict=True):
        for c, r in ((40, 50), (112, 112), (180, 150)):
            (at,) = place.on_photo(np.array([[(c + 0.5) / 224, (r + 0.5) / 224]]))
            assert np.abs(at - (picture[r, c, :2].astype(float) * 2 + 0.5)).max() < 4


def test_no_fold_leaves_points_alone():
    at = CropPlace(np.diag([10.0, 20.0, 1.0])).on_photo(np.array([[0.0, 0.0], [1.0, 1.0], [0.3, 0.7]]))
    assert np.allclose(at, [[0, 0], [10, 20], [3, 14]])
