"""One piece, one photo: build it, place the camera, texture what it sees, render, develop, and write down the truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.figure.finish import to_bytes
from training.figure.pictures import Strip
from training.figure.slabs import VIEW_OF, texel_window
from training.scenes import phone as phones
from training.scenes import stage
from training.scenes.camera import Camera, piece_quads, place_camera, rasterise
from training.scenes.config import Settings, draw
from training.scenes.construction import Workshop
from training.scenes.damaged import Use
from training.scenes.furniture import BUILDERS, Part, Piece, Prop, Quad
from training.scenes.room import Room, build_room
from training.scenes.truth import TRUTH_SCHEMA, panel_entry

MAX_SIDE_TEXELS = 2300
#: Pixels of the finished photo a texel, on a side that is seen straight on.
TEXEL_PX = 0.75
TWINS = ("solid", "veneered", "printed")


@dataclass(frozen=True)
class Order:
    """A piece to make: `piece` id, `seed` of geometry, figure and light (twins share it), `style`, `kind`, `twin` or None."""

    piece: str
    seed: int
    style: str
    kind: str
    twin: str | None
    photos: int


@dataclass(frozen=True, eq=False)
class Shot:
    """A finished photo: JPEG bytes, instance map (h, w) uint8 and its truth."""

    jpeg: bytes
    ids: NDArray[np.uint8]
    truth: dict[str, Any]


def order_pieces(settings: Settings, first: int, count: int, prefix: str = "p") -> list[Order]:
    """Orders for pieces number `first` to `first + count - 1`; the same number always gives the same piece."""
    out = []
    for n in range(first, first + count):
        group = n // 3
        rng = np.random.default_rng([settings.seed, 1, group])
        twin = rng.random() < settings.twin_share
        if not twin:
            rng = np.random.default_rng([settings.seed, 2, n])
        seed = int(rng.integers(1 << 30))
        kind, style = draw(rng, settings.pieces), draw(rng, settings.styles)
        photos = int(rng.integers(settings.photos_per_piece[0], settings.photos_per_piece[1] + 1))
        out.append(Order(f"{prefix}{n:05d}", seed, TWINS[n % 3] if twin else style, kind, TWINS[n % 3] if twin else None, photos))
    return out


def build(order: Order, figures: list[list[Strip]] | None = None) -> tuple[Piece, Room]:
    """Geometry, construction and surroundings of an order; `figures`: real figure that a third of the pieces wear."""
    shop = Workshop(order.style, order.seed, twin=order.twin, figures=figures)
    piece = BUILDERS[order.kind](shop, np.random.default_rng([order.seed, 101]))
    return piece, build_room(piece, order.seed, full=True)


def prop_quads(prop: Prop) -> list[tuple[Quad, np.ndarray]]:
    """The six sides of a prop with outward normals."""
    o, x, y, z = prop.corner, prop.x, prop.y, prop.z
    sides = [
        (Quad(o, x, y), -z),
        (Quad(o + z, x, y), z),
        (Quad(o, x, z), -y),
        (Quad(o + y, x, z), y),
        (Quad(o, y, z), -x),
        (Quad(o + x, y, z), x),
    ]
    return [(q, n / np.linalg.norm(n)) for q, n in sides]


def photograph(
    mi: Any,
    order: Order,
    piece: Piece,
    room: Room,
    number: int,
    settings: Settings,
    *,
    spp: int | None = None,
    long_side: int | None = None,
    good: bool = False,
    view: str | None = None,
) -> Shot | None:
    """Photo `number` of a piece; None when no clear view was found. Deterministic in the order and number."""
    rng = np.random.default_rng([order.seed, 501, number])
    size = long_side or int(rng.integers(settings.long_side[0], settings.long_side[1] + 1))
    portrait = rng.random() < settings.portrait_share
    width, height = (round(size * 0.75), size) if portrait else (size, round(size * 0.75))
    view = view or draw(rng, settings.views)
    quads, owners = piece_quads(piece)
    props = [*piece.props, *room.props]
    extra: list[tuple[Quad, np.ndarray, Prop | int]] = [(s.quad, s.quad.normal, k) for k, s in enumerate(room.surfaces)]
    for prop in props:
        extra += [(q, n, prop) for q, n in prop_quads(prop)]
    everything = quads + [e[0] for e in extra]
    camera = None
    for attempt in (view, "part", "close", "whole"):
        camera = place_camera(piece, everything, owners, rng, attempt, width, height)
        if camera is not None:
            view = attempt
            break
    if camera is None:
        return None
    phone = phones.draw_phone(rng, settings.jpeg, good=good)
    share = 1.0 if good else max(phone.share(camera.width, camera.height), 0.5)
    use = Use.of(order.seed, order.twin is not None or good)
    numbers = {id(part): k for k, part in enumerate(piece.parts)}
    skins = _skins(camera, everything, owners, extra, room, use, numbers, close=view == "close", texel_px=TEXEL_PX / share)
    light = stage.render(
        mi,
        skins,
        room.lamps,
        room.ambient,
        room.flash,
        camera,
        spp=max(1, round((spp or settings.spp) * (share if share < 0.7 else 1.0))),  # shrinking averages light's noise out
        max_depth=settings.max_depth,
        seed=order.seed % 65521 + number,
    )
    picture = phones.expose(light, phone, order.seed + number, room.ambient)
    if picture.mean() < 14:
        return None
    final = camera.scaled(picture.shape[1], picture.shape[0])
    ids, panels, background = _truth(final, everything, owners, extra, room, settings, use, numbers)
    truth = {
        "truth_schema": TRUTH_SCHEMA,
        "name": f"{order.piece}_{number}",
        "piece": order.piece,
        "photo": number,
        "photos": order.photos,
        "generator": settings.version,
        "seed": order.seed,
        "kind": order.kind,
        "style": order.style,
        "twin_group": f"t{order.seed}" if order.twin else None,
        "view": view,
        "width": final.width,
        "height": final.height,
        "panels": panels,
        "background": background,
        "delivery": phone.delivery,
        "phone": phone.record(),
        "light": {"kelvin": room.kelvin, "flash": room.flash, "ambient": list(room.ambient), "lamps": len(room.lamps)},
        "camera": {
            "position": camera.position.tolist(),
            "forward": camera.forward.tolist(),
            "up": camera.up.tolist(),
            "focal_px": final.focal,
            "focus_mm": camera.focus,
        },
    }
    return Shot(phones.encode_jpeg(picture, phone.quality), ids, truth)


def _skins(
    camera: Camera, quads: list[Quad], owners: list[tuple[Part, str]], extra: list, room: Room, use: Use, numbers: dict[int, int],
    *, close: bool, texel_px: float,
) -> list[stage.Skin]:
    """Every side with its look; textures only where the camera sees them, `texel_px` pixels a texel where it is nearest."""
    seen = rasterise(camera.scaled(max(64, camera.width // 4), max(48, camera.height // 4)), quads)
    factor = camera.scaled(max(64, camera.width // 4), max(48, camera.height // 4))
    skins = []
    for k, (part, side) in enumerate(owners):
        quad, finish = quads[k], part.slab.finish
        rough, coat = finish.roughness, finish.coat
        ys, xs = np.nonzero(seen.index == k)
        bevel = min(1.2, 0.12 * part.slab.size[2])
        if len(ys) == 0:
            tone = _plain(part)
            skins.append(stage.Skin(quad, part.outward(side), tone, rough, coat, bevel=bevel))
            continue
        depth = seen.depth[ys, xs]
        hit = camera.position + factor.rays(xs.astype(float), ys.astype(float)) * depth[:, None] - quad.corner
        s, t = hit @ quad.u / (quad.u @ quad.u), hit @ quad.v / (quad.v @ quad.v)
        mm_per_px = float(np.quantile(depth, 0.08)) / camera.focal
        pad_u = 10 * mm_per_px * 2 / np.linalg.norm(quad.u) + 0.01
        pad_v = 10 * mm_per_px * 2 / np.linalg.norm(quad.v) + 0.01
        window = (max(0.0, s.min() - pad_u), min(1.0, s.max() + pad_u), max(0.0, t.min() - pad_v), min(1.0, t.max() + pad_v))
        if VIEW_OF[side] != "face":
            window = (window[0], window[1], 0.0, 1.0)
        cols, rows = part.slab.span(side)
        longest = max((window[1] - window[0]) * cols, (window[3] - window[2]) * rows)
        texel = max(texel_px * mm_per_px, 0.05, longest / MAX_SIDE_TEXELS)
        figure = part.slab.texture(side, texel, window)
        corner = use.corner(part, side)
        if corner is not None:
            figure = corner.applied(figure, part.slab, texel, window)
        hurt = use.layer(part, side, numbers[id(part)]) if VIEW_OF[side] == "face" else None
        if hurt is not None:
            figure = hurt.applied(figure, part.slab, side, texel, window)
        n, m = max(2, round(cols / texel)), max(2, round(rows / texel))
        left, right, low, high = texel_window(n, m, window)
        exact = (left / n, right / n, low / m, high / m)
        relief = figure.relief if (close or hurt is not None) and float(np.ptp(figure.relief)) > 0 else None
        skins.append(stage.Skin(quad, part.outward(side), to_bytes(figure.rgb), rough, coat, exact, bevel, relief=relief))
    for quad, normal, thing in extra:
        if isinstance(thing, int):
            surface = room.surfaces[thing]
            skins.append(stage.Skin(quad, normal, to_bytes(surface.rgb), surface.roughness, 0.3))
        else:
            skins.append(
                stage.Skin(
                    quad,
                    normal,
                    thing.colour if thing.picture is None else thing.picture,
                    thing.roughness,
                    0.4,
                    bevel=2.0,
                    metallic=0.9 if thing.material == "metal" else 0.0,
                )
            )
    return skins


def _plain(part: Part) -> tuple[float, float, float]:
    """A stand-in colour for sides out of view, which still throw light on what is in view."""
    facts = part.slab.facts()
    if facts["face"] == "opaque":
        return getattr(part.slab, "colour", (0.6, 0.6, 0.6))
    return (0.55, 0.42, 0.3)


def _truth(
    camera: Camera, quads: list[Quad], owners: list[tuple[Part, str]], extra: list, room: Room, settings: Settings, use: Use,
    numbers: dict[int, int],
) -> tuple[NDArray[np.uint8], list[dict[str, Any]], list[dict[str, Any]]]:
    index = rasterise(camera, quads).index
    ids = np.zeros(index.shape, dtype=np.uint8)
    panels: list[dict[str, Any]] = []
    found, _counts = np.unique(index[index >= 0], return_counts=True)
    number = 1
    for k in found[found < len(owners)]:
        part, side = owners[k]
        mask = index == k
        entry = panel_entry(
            number, part, side, quads[k], camera, mask, min_px=settings.min_panel_px, min_width=settings.min_panel_width_px
        )
        if entry is not None and number < 200:
            hurt = use.layer(part, side, numbers[id(part)]) if VIEW_OF[side] == "face" else None
            corner = use.corner(part, side)
            entry["joint"] = corner.facts() if corner is not None else None
            entry["damage"] = hurt.regions(part.slab.span(side)) if hurt is not None else []
            ids[mask] = number
            panels.append(entry)
            number += 1
    background: dict[str, int] = {}
    for k in found[found >= len(owners)]:
        thing = extra[k - len(owners)][2]
        material = room.surfaces[thing].material if isinstance(thing, int) else thing.material
        value = background.setdefault(material, 200 + len(background))
        ids[index == k] = value
    rows = [
        {
            "id": v,
            "class": "not_wood",
            "material": m,
            "floor": m in ("carpet", "tile", "concrete", "laminate_floor", "wood_floor"),
            "wood_like": m in ("laminate_floor", "wood_floor"),
            "area_px": int((ids == v).sum()),
        }
        for m, v in background.items()
    ]
    return ids, panels, rows
