"""Bring one panel into a working view for measuring: perspective taken out where four corners allow, never aliased."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import UsageError
from vision.panels import geometry
from vision.panels.geometry import Points
from vision.resize import resize
from vision.types import Panel, Photo, WorkingView

#: Longest side of a working view, px.
WORKING_PX = 640
#: A panel at least this many times longer than wide is laid down so that its long side is horizontal.
STRIP_ASPECT = 3.0
#: A four-cornered reading must cover the outline to this intersection over union to be used.
QUAD_FIT = 0.85


def rectify(photo: Photo, panel: Panel, *, working_px: int = WORKING_PX) -> WorkingView:
    """Working view of `panel` cut from `photo`.

    With four trustworthy corners (the panel's `quad`, or an outline of four corners) the perspective is undone and the
    true aspect is estimated; otherwise a thin strip is turned so that its long side is horizontal, and anything else
    becomes its upright bounding box. Small panels are not enlarged. `to_photo` of the result maps working pixel centres
    to photo pixel centres exactly.

    Raises
    ------
    UsageError
        if the panel shares less than one pixel with the photo.
    """
    if working_px < 8:
        raise ValueError(f"working_px must be at least 8, got {working_px}")
    outline = np.asarray(panel.outline, dtype=np.float64)
    native_box = _pixel_box(outline, photo)
    quad = panel_quad(panel)
    if quad is not None:
        to_photo, width, height = _quad_frame(quad, photo, working_px)
    else:
        to_photo, width, height = _plain_frame(outline, native_box, working_px)
    centre = np.array([[(width - 1) / 2, (height - 1) / 2]])
    px_scale = float(geometry.local_scale(to_photo, centre)[0])
    x0, y0, x1, y1 = native_box
    mask = _working_mask(outline, to_photo, width, height)
    return WorkingView(
        panel=panel,
        pixels=_sample(photo.pixels, to_photo, width, height),
        mask=mask,
        to_photo=to_photo,
        px_scale=px_scale,
        native=photo.pixels[y0:y1, x0:x1],
        native_mask=geometry.polygon_mask(outline - [x0, y0], x1 - x0, y1 - y0),
        native_origin=(x0, y0),
        mm_per_px=_mm_per_px(photo, geometry.apply(to_photo, centre)[0], px_scale),
        photo_pixels=photo.pixels,
    )


def _mm_per_px(photo: Photo, at: NDArray[np.float64], px_scale: float) -> float | None:
    """Millimetres per working pixel: by the photo's scale at the panel's own middle where it reaches that far, which takes
    perspective into account, else as at the object of known size."""
    here = photo.scale.mm_per_px_at((float(at[0]), float(at[1]))) if photo.scale is not None else None
    if here is not None:
        return here[0] * px_scale
    return None if photo.mm_per_px is None else photo.mm_per_px * px_scale


def panel_quad(panel: Panel) -> Points | None:
    """Ordered corners (4, 2) to undo perspective with: the panel's own quad or a four-cornered outline, if trustworthy."""
    from shapely.geometry import Polygon

    outline = np.asarray(panel.outline, dtype=np.float64)
    if panel.quad is not None:
        corners = np.asarray(panel.quad, dtype=np.float64)
    elif len(outline) == 4:
        corners = outline
    else:
        return None
    quad = geometry.order_corners(corners)
    if not geometry.is_trustworthy(quad):
        return None
    a, b = Polygon(quad), Polygon(outline).buffer(0)
    if a.intersection(b).area < QUAD_FIT * a.union(b).area:
        return None
    return quad


def _pixel_box(outline: Points, photo: Photo) -> tuple[int, int, int, int]:
    """(x0, y0, x1, y1) half-open pixel box of the outline inside the photo."""
    low, high = np.floor(outline.min(axis=0)), np.ceil(outline.max(axis=0)) + 1
    x0, y0 = max(0, int(low[0])), max(0, int(low[1]))
    x1, y1 = min(photo.width, int(high[0])), min(photo.height, int(high[1]))
    if x1 <= x0 or y1 <= y0:
        raise UsageError(f"panel {panel_name(outline)}", "it lies outside the photo.", "Draw the outline on the photo.")
    return x0, y0, x1, y1


def panel_name(outline: Points) -> str:
    """Short text that tells which outline is meant when it has no name."""
    return "at " + " ".join(f"{x:.0f},{y:.0f}" for x, y in outline[:3]) + (" ..." if len(outline) > 3 else "")


def _quad_frame(quad: Points, photo: Photo, working_px: int) -> tuple[NDArray[np.float64], int, int]:
    """(to_photo, width, height) of the rectangle behind an ordered quad, laid down when it is a strip."""
    across, down = geometry.side_means(quad)
    aspect = geometry.true_aspect(quad, photo.width, photo.height)
    if 1 / aspect >= STRIP_ASPECT:
        quad, aspect, across, down = np.roll(quad, -1, axis=0), 1 / aspect, down, across
    # The side that is not foreshortened sets the size, so that its detail is kept.
    width, height = (down * aspect, down) if across < down * aspect else (across, across / aspect)
    shrink = min(1.0, working_px / max(width, height))
    w, h = max(4, round(width * shrink)), max(4, round(height * shrink))
    # The outline runs along pixel borders of the view, hence -0.5 .. size - 0.5.
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], dtype=np.float32) - 0.5
    to_photo = cv2.getPerspectiveTransform(corners, quad.astype(np.float32))
    return np.asarray(to_photo, dtype=np.float64), w, h


def _plain_frame(outline: Points, box: tuple[int, int, int, int], working_px: int) -> tuple[NDArray[np.float64], int, int]:
    """(to_photo, width, height): a strip laid horizontally, else the upright bounding box."""
    (cx, cy), (rw, rh), degrees = cv2.minAreaRect(outline.astype(np.float32))
    if max(rw, rh) >= STRIP_ASPECT * max(1.0, min(rw, rh)):
        if rw < rh:
            rw, rh, degrees = rh, rw, degrees + 90.0
        degrees = (degrees + 90.0) % 180.0 - 90.0  # never upside down: the view's x axis points to the right
        shrink = min(1.0, working_px / max(rw, 1.0))
        w, h = max(4, round(rw * shrink)), max(4, round(rh * shrink))
        c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
        sx, sy = max(rw, 1.0) / w, max(rh, 1.0) / h
        turn = np.array([[c * sx, -s * sy, cx], [s * sx, c * sy, cy], [0, 0, 1.0]])
        return turn @ geometry.shift(-(w - 1) / 2, -(h - 1) / 2), w, h
    x0, y0, x1, y1 = box
    shrink = min(1.0, working_px / max(x1 - x0, y1 - y0))
    w, h = max(1, round((x1 - x0) * shrink)), max(1, round((y1 - y0) * shrink))
    return geometry.shift(x0, y0) @ geometry.scaling((x1 - x0) / w, (y1 - y0) / h), w, h


def _working_mask(outline: Points, to_photo: NDArray[np.float64], width: int, height: int) -> NDArray[np.bool_]:
    """Mask of the outline in the working view, (height, width) bool."""
    inverse = np.asarray(np.linalg.inv(to_photo), dtype=np.float64)
    inverse /= inverse[2, 2] if abs(inverse[2, 2]) > 1e-12 else 1.0
    frame = geometry.apply(to_photo, np.array([[-0.5, -0.5], [width, -0.5], [width, height], [-0.5, height]], dtype=np.float64))
    depth = np.c_[frame, np.ones(4)] @ inverse[2]
    if (np.c_[outline, np.ones(len(outline))] @ inverse[2] * np.sign(depth.mean()) > 1e-9).all():
        mask = geometry.polygon_mask(geometry.apply(inverse, outline), width, height)
    else:  # a corner beyond the horizon of the panel's plane: test every pixel on the photo instead
        ys, xs = np.mgrid[0:height, 0:width]
        points = geometry.apply(to_photo, np.c_[xs.ravel(), ys.ravel()].astype(np.float64)).astype(np.float32)
        contour = outline.astype(np.float32).reshape(-1, 1, 2)
        inside = [cv2.pointPolygonTest(contour, (float(x), float(y)), False) >= 0 for x, y in points]
        mask = np.array(inside, dtype=bool).reshape(height, width)
    if not mask.any():
        mask[height // 2, width // 2] = True
    return mask


def _sample(pixels: NDArray[np.uint8], to_photo: NDArray[np.float64], width: int, height: int) -> NDArray[np.uint8]:
    """(height, width, 3) view of `pixels` through `to_photo` without aliasing.

    The part needed is first reduced by area averaging as far as the least reduced corner allows; where the far end of
    the panel needs more reduction than the near end, the warp runs on a finer grid that is averaged down afterwards.
    """
    photo_h, photo_w = pixels.shape[:2]
    corners = np.array([[-0.5, -0.5], [width - 0.5, -0.5], [width - 0.5, height - 0.5], [-0.5, height - 0.5]])
    on_photo = geometry.apply(to_photo, corners)
    steps = _axis_scales(to_photo, corners)
    least, most = float(steps.min()), float(steps.max())
    x0, y0 = np.maximum(np.floor(on_photo.min(axis=0)).astype(int) - 2, 0)
    x1, y1 = np.minimum(np.ceil(on_photo.max(axis=0)).astype(int) + 3, [photo_w, photo_h])
    x0, y0 = min(x0, photo_w - 1), min(y0, photo_h - 1)
    x1, y1 = max(x1, x0 + 1), max(y1, y0 + 1)
    part = pixels[y0:y1, x0:x1]
    reduce = max(1.0, least)
    rw, rh = max(1, round((x1 - x0) / reduce)), max(1, round((y1 - y0) / reduce))
    part = resize(part, rw, rh)
    sx, sy = rw / (x1 - x0), rh / (y1 - y0)
    view_to_part = geometry.scaling(sx, sy) @ geometry.shift(-x0, -y0) @ to_photo
    finer = int(np.clip(np.ceil(most / reduce - 0.25), 1, 4))
    fine_to_part = view_to_part @ geometry.scaling(1 / finer, 1 / finer)
    whole = np.allclose(fine_to_part, np.eye(3), atol=1e-9) and (rw, rh) == (width, height)
    if whole:
        return np.ascontiguousarray(part)
    view = cv2.warpPerspective(part, fine_to_part, (width * finer, height * finer),
                               flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
    return resize(np.asarray(view, dtype=np.uint8), width, height)


def _axis_scales(matrix: NDArray[np.float64], points: Points) -> NDArray[np.float64]:
    """(n, 2) lengths on the photo of a step of one working pixel along x and along y at each point."""
    here = geometry.apply(matrix, points)
    right = geometry.apply(matrix, points + np.array([0.5, 0.0])) - here
    below = geometry.apply(matrix, points + np.array([0.0, 0.5])) - here
    return np.asarray(2 * np.c_[np.hypot(right[:, 0], right[:, 1]), np.hypot(below[:, 0], below[:, 1])], dtype=np.float64)
