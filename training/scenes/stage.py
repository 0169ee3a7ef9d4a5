"""The one file that talks to the renderer: quads, textures and lamps become a Mitsuba scene; light comes back."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.scenes.camera import APERTURE_MM, Camera, cross
from training.scenes.furniture import Quad, Vec
from training.scenes.room import Lamp

VARIANTS = ("scalar_rgb", "llvm_ad_rgb", "cuda_ad_rgb")


@dataclass(frozen=True, eq=False)
class Skin:
    """How a quad looks. `rgb`: (h, w, 3) uint8 sRGB covering `window` (shares of u and v), or one linear-free sRGB colour;
    `outward` normal; `bevel` mm of rounded arris; `relief`: (h, w) mm or None."""

    quad: Quad
    outward: Vec
    rgb: NDArray[np.uint8] | tuple[float, ...]
    roughness: float
    coat: float
    window: tuple[float, float, float, float] = (0.0, 1.0, 0.0, 1.0)
    bevel: float = 0.0
    metallic: float = 0.0
    relief: NDArray[np.float32] | None = None


def start(variant: str) -> Any:
    """Import Mitsuba with a variant set; the LLVM library is looked for in the usual places when none is named."""
    if variant not in VARIANTS:
        raise ValueError(f"unknown variant {variant!r}; known: {', '.join(VARIANTS)}")
    if variant.startswith("llvm") and "DRJIT_LIBLLVM_PATH" not in os.environ:
        for n in range(20, 10, -1):
            path = f"/usr/lib/x86_64-linux-gnu/libLLVM.so.{n}.1"
            if os.path.exists(path):
                os.environ["DRJIT_LIBLLVM_PATH"] = path
                break
    import mitsuba as mi

    mi.set_variant(variant)
    mi.set_log_level(mi.LogLevel.Error)
    return mi


def _mesh_arrays(skin: Skin) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Vertices, normals, uv and faces of a quad whose four arrises are rounded off inward."""
    q, n = skin.quad, skin.outward
    lu, lv = float(np.linalg.norm(q.u)), float(np.linalg.norm(q.v))
    bevel = min(skin.bevel, 0.24 * lu, 0.24 * lv)
    m = 0.293 * bevel
    u, v = q.u / lu, q.v / lv

    def ring(inset: float, sink: float) -> list[Vec]:
        return [
            q.corner + u * x + v * y - n * sink
            for x, y in ((inset, inset), (lu - inset, inset), (lu - inset, lv - inset), (inset, lv - inset))
        ]

    points = np.array(ring(bevel, 0.0) + (ring(m, m) if bevel > 0 else []))
    flat = [n] * 4
    if bevel > 0:
        for su, sv in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
            out = n + su * u + sv * v
            flat.append(out / np.linalg.norm(out))
    local = points - q.corner
    share = np.stack([local @ u / lu, local @ v / lv], axis=1)
    left, right, low, high = skin.window
    uv = np.stack([(share[:, 0] - left) / max(right - left, 1e-6), (share[:, 1] - low) / max(high - low, 1e-6)], axis=1)
    faces = [[0, 1, 2], [0, 2, 3]]
    if bevel > 0:
        for k in range(4):
            j = (k + 1) % 4
            faces += [[k, 4 + k, 4 + j], [k, 4 + j, j]]
    tri = np.array(faces, dtype=np.uint32)
    if np.dot(cross(q.u, q.v), n) < 0:
        tri = tri[:, ::-1]
    return points, np.array(flat), uv, tri


def _mesh(mi: Any, name: str, skin: Skin, bsdf: Any, emitter: Any = None) -> Any:
    points, normals, uv, tri = _mesh_arrays(skin)
    props = mi.Properties()
    props["mesh_bsdf"] = bsdf
    if emitter is not None:
        props["mesh_emitter"] = emitter
    mesh = mi.Mesh(name, len(points), len(tri), has_vertex_normals=True, has_vertex_texcoords=True, props=props)
    params = mi.traverse(mesh)
    params["vertex_positions"] = np.ascontiguousarray(points, dtype=np.float32).ravel()
    params["vertex_normals"] = np.ascontiguousarray(normals, dtype=np.float32).ravel()
    params["vertex_texcoords"] = np.ascontiguousarray(uv, dtype=np.float32).ravel()
    params["faces"] = np.ascontiguousarray(tri, dtype=np.uint32).ravel()
    params.update()
    return mesh


def _linear(rgb: tuple[float, ...]) -> list[float]:
    return [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb]


def _bsdf(mi: Any, skin: Skin) -> Any:
    if isinstance(skin.rgb, tuple):
        colour: dict[str, Any] = {"type": "rgb", "value": _linear(skin.rgb)}
    else:
        # the first texture row lies at v = 0
        colour = {
            "type": "bitmap",
            "bitmap": mi.Bitmap(np.ascontiguousarray(skin.rgb)),
            "wrap_mode": "clamp",
            "filter_type": "bilinear",
        }
    base: dict[str, Any] = {
        "type": "principled",
        "base_color": colour,
        "roughness": float(np.clip(skin.roughness, 0.06, 0.95)),
        "specular": float(skin.coat),
        "metallic": float(skin.metallic),
    }
    if skin.relief is not None:
        picture = mi.Bitmap(np.ascontiguousarray(_normals(skin)))
        base = {
            "type": "normalmap",
            "normalmap": {"type": "bitmap", "bitmap": picture, "raw": True, "wrap_mode": "clamp"},
            "bsdf": base,
        }
    return mi.load_dict({"type": "twosided", "bsdf": base})


def _normals(skin: Skin) -> NDArray[np.float32]:
    """Normal map (h, w, 3) of a skin's relief, 0..1 encoded, slopes held below one in one."""
    assert skin.relief is not None
    rows, cols = skin.relief.shape
    step_u = float(np.linalg.norm(skin.quad.u)) * (skin.window[1] - skin.window[0]) / cols
    step_v = float(np.linalg.norm(skin.quad.v)) * (skin.window[3] - skin.window[2]) / rows
    handed = 1.0 if np.dot(cross(skin.quad.u, skin.quad.v), skin.outward) > 0 else -1.0
    du = np.clip(np.gradient(skin.relief, axis=1) / step_u, -0.8, 0.8)
    dv = np.clip(np.gradient(skin.relief, axis=0) / step_v, -0.8, 0.8) * handed
    n = np.stack([-du, -dv, np.ones_like(du)], axis=2)
    n /= np.linalg.norm(n, axis=2, keepdims=True)
    return (0.5 * n + 0.5).astype(np.float32)


def render(
    mi: Any,
    skins: list[Skin],
    lamps: list[Lamp],
    ambient: tuple[float, ...],
    flash: float,
    camera: Camera,
    *,
    spp: int,
    max_depth: int,
    seed: int,
) -> NDArray[np.float32]:
    """Linear RGB radiance (h, w, 3) float32."""
    scene: dict[str, Any] = {"type": "scene", "integrator": {"type": "path", "max_depth": max_depth, "hide_emitters": False}}
    scene["sensor"] = _sensor(mi, camera, spp, seed)
    scene["sky"] = {"type": "constant", "radiance": {"type": "rgb", "value": list(ambient)}}
    black = mi.load_dict({"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}})
    for k, skin in enumerate(skins):
        scene[f"s{k}"] = _mesh(mi, f"s{k}", skin, _bsdf(mi, skin))
    for k, lamp in enumerate(lamps):
        emitter = mi.load_dict({"type": "area", "radiance": {"type": "rgb", "value": list(lamp.radiance)}})
        scene[f"l{k}"] = _mesh(mi, f"l{k}", Skin(lamp.quad, lamp.quad.normal, (0.0, 0.0, 0.0), 1.0, 0.0), black, emitter)
    if flash > 0:
        at = camera.position + camera.right * 12 + camera.up * 9 - camera.forward * 8
        power = flash * 1.2 * max(camera.focus, 250.0) ** 2
        scene["flash"] = {
            "type": "point",
            "position": [float(v) for v in at],
            "intensity": {"type": "rgb", "value": [power * 1.0, power * 0.97, power * 0.92]},
        }
    image = mi.render(mi.load_dict(scene), spp=spp, seed=seed)
    return despeckle(np.array(image, dtype=np.float32)[..., :3])


def despeckle(image: NDArray[np.float32]) -> NDArray[np.float32]:
    """Single pixels far brighter than all round them are rare light paths, not highlights: give them their neighbours' median."""
    import cv2

    image = np.nan_to_num(image, nan=0.0, posinf=1e4)
    grey = np.ascontiguousarray(image.mean(axis=2))
    middle = cv2.medianBlur(grey, 5)
    bad = grey > 1.7 * middle + 0.01 * float(grey.mean())
    calm = np.stack([cv2.medianBlur(np.ascontiguousarray(image[..., k]), 5) for k in range(3)], axis=2)
    return np.where(bad[..., None], calm, image).astype(np.float32)


def _sensor(mi: Any, camera: Camera, spp: int, seed: int) -> dict[str, Any]:
    origin, target = camera.position, camera.position + camera.forward
    fov = float(np.rad2deg(2 * np.arctan(camera.width / 2 / camera.focal)))
    return {
        "type": "thinlens",
        "fov": fov,
        "fov_axis": "x",
        "aperture_radius": APERTURE_MM,
        "focus_distance": float(camera.focus),
        "near_clip": 10.0,
        "far_clip": 20000.0,
        "to_world": mi.ScalarTransform4f().look_at(
            origin=[float(v) for v in origin], target=[float(v) for v in target], up=[float(v) for v in camera.up]
        ),
        "film": {
            "type": "hdrfilm",
            "width": camera.width,
            "height": camera.height,
            "rfilter": {"type": "gaussian"},
            "pixel_format": "rgb",
            "component_format": "float32",
        },
        "sampler": {"type": "independent", "sample_count": spp, "seed": seed},
    }


def shape_picture(mi: Any, skins: list[Skin], camera: Camera) -> NDArray[np.int32]:
    """Index of the skin each pixel centre sees according to the renderer (-1: none); a check on `camera.rasterise`."""
    scene: dict[str, Any] = {"type": "scene", "integrator": {"type": "aov", "aovs": "i:shape_index"}}
    sensor = _sensor(mi, camera, 1, 0)
    sensor["type"] = "perspective"
    for key in ("aperture_radius", "focus_distance"):
        del sensor[key]
    sensor["film"]["rfilter"] = {"type": "box"}
    scene["sensor"] = sensor
    for k, skin in enumerate(skins):
        scene[f"s{k:05d}"] = _mesh(mi, f"s{k:05d}", skin, _bsdf(mi, skin))
    loaded = mi.load_dict(scene)
    order = [int(shape.id()[1:]) for shape in loaded.shapes()]
    out = np.array(mi.render(loaded, spp=1))[..., -1]
    index = np.round(out).astype(np.int32) - 1  # the renderer counts from 1; 0 is nothing
    table = np.array([*order, -1], dtype=np.int32)
    return table[np.where((index >= 0) & (index < len(order)), index, len(order))]
