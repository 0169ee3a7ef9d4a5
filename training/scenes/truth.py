"""Ground truth of a picture: which panel each pixel belongs to, and what that panel is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure.slabs import VIEW_OF
from training.scenes.camera import Camera
from training.scenes.furniture import Part, Quad

TRUTH_SCHEMA = "1.0"
#: Layouts whose grain runs in several directions.
SLANTING = ("diamond", "reverse_diamond", "boxed", "radial", "chevrons", "squares")


def outline_of(mask: NDArray[np.bool_]) -> tuple[list[list[float]], int]:
    """Polygon round the largest connected piece of a mask, and that piece's pixel count."""
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return [], 0
    best = max(contours, key=cv2.contourArea)
    filled = np.zeros(mask.shape, dtype=np.uint8)
    cv2.drawContours(filled, [best], -1, 1, -1)
    poly = cv2.approxPolyDP(best, 1.2, True)[:, 0].astype(float)
    return [[round(float(x), 1), round(float(y), 1)] for x, y in poly], int((filled.astype(bool) & mask).sum())


def narrowest(mask: NDArray[np.bool_]) -> float:
    """Twice the largest inscribed-circle radius of a mask, in pixels."""
    padded = np.pad(mask.astype(np.uint8), 1)
    return 2.0 * float(cv2.distanceTransform(padded, cv2.DIST_L2, 3).max())


def panel_entry(
    number: int, part: Part, side: str, quad: Quad, camera: Camera, mask: NDArray[np.bool_], *, min_px: int, min_width: float
) -> dict[str, Any] | None:
    """Truth of one visible side, or None when too little of it shows. Outline and mask in pixels of `camera`."""
    outline, area = outline_of(mask)
    width = narrowest(mask)
    if area < min_px or width < min_width or len(outline) < 3:
        return None
    h = camera.homography(quad)
    ys, xs = np.nonzero(mask)
    inverse = np.linalg.inv(h)
    mm = np.c_[xs, ys, np.ones(len(xs))] @ inverse.T
    mm = mm[:, :2] / mm[:, 2:]
    centre = np.median(mm, axis=0)
    at, along, across = (_apply(h, centre + np.array(step)) for step in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
    scale = float(np.sqrt(abs(np.linalg.det(np.stack([along - at, across - at])))))
    facts = part.slab.facts()
    view = VIEW_OF[side]
    entry: dict[str, Any] = {
        "id": number,
        "part": part.name,
        "role": "shelf" if part.role in ("drawer_bottom", "board") else part.role,
        "side": side,
        "view": view,
        **facts,
        "core_shown": view != "face" and facts["edging"] in ("raw", "self"),
        "outline": outline,
        "area_px": area,
        "width_px": round(width, 1),
        "mm_per_px": round(1.0 / max(scale, 1e-9), 4),
        "to_photo": [[float(f"{v:.8g}") for v in row] for row in h],
        "size_mm": [round(float(np.linalg.norm(quad.u)), 1), round(float(np.linalg.norm(quad.v)), 1)],
        "window_mm": [round(float(v), 1) for v in (mm[:, 0].min(), mm[:, 0].max(), mm[:, 1].min(), mm[:, 1].max())],
        "grain_deg": grain_angle(facts, view, side, along - at, across - at),
    }
    if "print_repeat_mm" in facts and view == "face":
        entry["print_repeat_px"] = [round(float(v), 2) for v in (along - at) * facts["print_repeat_mm"]]
    return entry


def _apply(h: NDArray[np.float64], p: NDArray[np.float64]) -> NDArray[np.float64]:
    q = h @ np.array([p[0], p[1], 1.0])
    return q[:2] / q[2]


def grain_angle(
    facts: dict[str, Any], view: str, side: str, along: NDArray[np.float64], across: NDArray[np.float64]
) -> float | None:
    """Grain direction on the photo at the panel's middle, degrees 0..180 counter-clockwise from +x; None without grain.

    `along`/`across`: pixels per mm step on the texture's axes. On an end only banding has grain (along the end).
    """
    face, edging = facts["face"], facts["edging"]
    banded = edging in ("veneer_band", "lipping", "print_band")
    if (
        face in ("opaque", "bare_board")
        or (view == "end" and not banded)
        or (view == "edge" and edging in ("raw", "plain_band", "painted"))
        or (view == "face" and facts.get("layout") in SLANTING)
        or facts.get("figured") == "burl"
    ):
        return None
    d = along
    return round(float(np.rad2deg(np.arctan2(-d[1], d[0])) % 180.0), 2)


def save_truth(path: Path, truth: dict[str, Any]) -> None:
    """Write one picture's truth as JSON."""
    path.write_text(json.dumps(truth, separators=(",", ":"), allow_nan=False), encoding="utf-8")


def load_truth(folder: Path) -> list[dict[str, Any]]:
    """Every picture's truth in a folder of renders, sorted by name; each carries 'folder' to find the picture."""
    out = []
    for path in sorted(folder.glob("*.json")):
        entry = json.loads(path.read_text(encoding="utf-8"))
        if entry.get("truth_schema") == TRUTH_SCHEMA:
            out.append({**entry, "folder": str(folder)})
    return out


def save_ids(path: Path, ids: NDArray[np.uint8]) -> None:
    """Instance map as an 8-bit PNG; 0 means nothing."""
    if not cv2.imwrite(str(path), ids, [cv2.IMWRITE_PNG_COMPRESSION, 9]):
        raise OSError(f"{path} could not be written")
