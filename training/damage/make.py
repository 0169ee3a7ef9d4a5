"""One damaged (or sound) panel from a seed: base, look-alikes, damages, light, camera, and the true regions.

Everything follows from the seed and the bank's figures. About half the panels are sound.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import Shot, photograph
from training.damage import breaks, lifting, losses, spots
from training.damage.bases import BASES, Bank, Base, make_base, real_base
from training.damage.fields import Mask, cloud, grown
from training.damage.fooling import FOOLERS, Draw
from training.damage.marks import UNDER, Mark, Work
from training.damage.more_fooling import MORE
from training.damage.surface import Surface, any_lamp, shine
from vision.damage.kinds import KINDS

#: Kind -> (how it is drawn, how often where it can be).
DAMAGES: dict[str, tuple[Callable[[Work], Mark | None], float]] = {
    "lifted_face": (lifting.lifted, 2.4),
    "chip": (losses.chip, 1.5),
    "worn_through": (losses.worn_through, 1.4),
    "delaminated_ply": (lifting.delaminated, 4.0),
    "swollen_edge": (breaks.swollen, 1.3),
    "flaking_finish": (losses.flaking, 1.3),
    "water_mark": (spots.water_mark, 1.4),
    "mould": (spots.mould, 0.9),
    "insect_holes": (spots.insect_holes, 2.0),
    "crack": (breaks.crack, 2.0),
    "crumbled": (losses.crumbled, 1.2),
    "lifted_banding": (lifting.lifted_banding, 4.0),
    "scratch": (breaks.scratch, 1.1),
    "burn": (spots.burn, 0.9),
    "stain": (spots.stain, 0.9),
}
NAMES = tuple(KINDS)
#: Panels that share one raw surface; least area of a region.
PANELS_A_SURFACE, LEAST_AREA = 6, 30
#: Share of taught panels that are drawn on rendered furniture, where a bank holds any.
RENDERED = 0.2
#: Least change of grey level that counts as visible on a plain face, and what a grey level of the figure about it adds:
#: found by looking at faint ones.
LEAST_CHANGE, MASKED = 8.0, 0.45
CODE_UNKNOWN = 255


@dataclass(frozen=True, eq=False)
class Panel:
    """`pixels`: (h, w, 3) uint8 as rectified. `labels`: (h, w) uint8, 0 sound, k + 1 for kind k of NAMES, 255 where a drawn
    damage cannot be seen. `under`: (h, w) uint8, 0 unknown, k + 1 for UNDER[k]. `fools`: name -> (h, w) bool. `base`, `face`,
    `core`, `group`: what it was drawn on. `marks`: (h, w) uint8, k + 1 on the k-th drawn damage, seen or not."""

    pixels: NDArray[np.uint8]
    labels: NDArray[np.uint8]
    under: NDArray[np.uint8]
    fools: dict[str, Mask]
    base: str
    face: str
    core: str
    group: str
    mm: float
    marks: NDArray[np.uint8]


def make_panel(seed: int, bank: Bank, *, sound: bool | None = None) -> Panel:
    """The panel of a seed; `sound` forces one with or without damage."""
    rng = np.random.default_rng([seed, 77])
    shared = seed // PANELS_A_SURFACE
    names = list(BASES)
    name = names[
        int(np.random.default_rng([shared, 5]).choice(len(names), p=np.array(list(BASES.values())) / sum(BASES.values())))
    ]
    base = _rendered(seed, bank, rng) or make_base(name, shared, bank, rng)
    surface = Surface(
        base.colour.copy(), base.relief.copy(), np.full(base.shape, base.gloss, np.float32), np.ones(base.shape, np.float32)
    )
    surface.height += 0.25 * cloud(base.shape, 60, 90, rng)
    work = Work(base, surface, rng)
    fools = _fool(work, FOOLERS | MORE if bank.rendered else FOOLERS)
    lamp = any_lamp(rng)
    labels, under, numbers = (np.zeros(base.shape, np.uint8) for _ in range(3))
    if not ((rng.random() < 0.5 if sound is None else sound) or base.sound_only):
        before = shine(work.surface, lamp)
        marks = _damage(work)
        after = shine(work.surface, lamp)
        _label(marks, before, after, labels, under)
        for k, mark in enumerate(marks):
            numbers[mark.mask] = k + 1
    else:
        after = shine(work.surface, lamp)
    picture = np.clip(np.round(after), 0, 255).astype(np.uint8)
    return _shot(base, picture, (labels, under, numbers), fools, rng)


def _rendered(seed: int, bank: Bank, rng: np.random.Generator) -> Base | None:
    """In teaching, now and then a rendered panel; else None."""
    pick = np.random.default_rng([seed, 13])
    if not bank.rendered or pick.random() >= RENDERED:
        return None
    return real_base(bank.rendered[int(pick.integers(len(bank.rendered)))], rng)


def _fool(work: Work, kinds: dict[str, tuple[Draw, float]]) -> dict[str, Mask]:
    rng = work.rng
    names = list(kinds)
    weight = np.array([kinds[n][1] for n in names])
    out: dict[str, Mask] = {}
    for k in rng.choice(len(names), size=int(rng.poisson(1.3)), p=weight / weight.sum()):
        found = kinds[names[int(k)]][0](work)
        if found is not None:
            out[names[int(k)]] = out.get(names[int(k)], np.zeros(work.shape, bool)) | found
    return out


def _damage(work: Work) -> list[Mark]:
    """Draw one to four damages that do not lie on one another."""
    rng = work.rng
    marks: list[Mark] = []
    taken = np.zeros(work.shape, bool)
    wanted, tries = 1 + int(min(3, rng.poisson(0.7))), 0
    names = list(DAMAGES)
    weight = np.array([DAMAGES[n][1] for n in names])
    while len(marks) < wanted and tries < 24:
        tries += 1
        name = names[int(rng.choice(len(names), p=weight / weight.sum()))]
        kept = work.surface
        work.surface = kept.copy()
        mark = DAMAGES[name][0](work)
        if (
            mark is None
            or mark.mask.sum() < LEAST_AREA
            or mark.mask.mean() > 0.6
            or (grown(mark.mask, 3) & taken).sum() > 0.02 * mark.mask.sum()
        ):
            work.surface = kept
            continue
        taken |= grown(mark.mask, 4)
        marks.append(mark)
    return marks


def _label(
    marks: list[Mark],
    before: NDArray[np.float32],
    after: NDArray[np.float32],
    labels: NDArray[np.uint8],
    under: NDArray[np.uint8],
) -> None:
    """Write the marks into the maps; what changed too little to be seen is neither damage nor sound."""
    change = cv2.GaussianBlur(np.abs(after - before).max(axis=2), (0, 0), 1.0)
    light = before.mean(axis=2)
    figure = np.abs(light - cv2.GaussianBlur(light, (0, 0), 8.0))
    for mark in marks:
        inside = np.sort(change[mark.mask])[::-1]
        least = LEAST_CHANGE + MASKED * float(figure[grown(mark.mask, 8)].mean()) * 1.25  # mean to standard deviation
        seen = float(inside[: max(8, len(inside) // 3)].mean()) >= least
        labels[mark.mask] = NAMES.index(mark.kind) + 1 if seen else CODE_UNKNOWN
        if seen and mark.shows:
            under[mark.mask] = UNDER.index(mark.shows) + 1


def _shot(
    base: Base,
    pixels: NDArray[np.uint8],
    maps: tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]],
    fools: dict[str, Mask],
    rng: np.random.Generator,
) -> Panel:
    """Photographed, rectified, and turned as it may lie in the photo. `maps`: labels, what shows beneath, marks."""
    poor = rng.random() < 0.3
    shot = Shot(
        quality=(45, 80) if poor else (80, 95),
        noise=(1.0, 4.5 if poor else 2.5),
        corner_error=0.004,
        light=float(rng.uniform(0, 0.3)),
        blur=float(rng.uniform(0, 1.3 if poor else 0.6)),
        tilt=float(rng.uniform(0, 28)),
    )
    picture, matrix = photograph(pixels, shot, rng)
    h, w = picture.shape[:2]

    def moved(layer: NDArray[np.uint8], outside: int = 0) -> NDArray[np.uint8]:
        return np.asarray(
            cv2.warpPerspective(
                layer, matrix, (w, h), flags=cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=outside
            ),
            np.uint8,
        )

    layers = [picture, *(moved(m) for m in maps), *(moved(m.astype(np.uint8)) for m in fools.values())]
    quarter = int(rng.integers(4)) if not base.edge and rng.random() < 0.5 else 2 * int(rng.integers(2))
    layers = [np.ascontiguousarray(np.rot90(layer, quarter)) for layer in layers]
    if rng.random() < 0.5:
        layers = [np.ascontiguousarray(layer[:, ::-1]) for layer in layers]
    return Panel(
        layers[0],
        layers[1],
        layers[2],
        {n: m > 0 for n, m in zip(fools, layers[4:], strict=True)},
        base.name,
        base.face,
        base.core,
        base.group,
        base.mm,
        layers[3],
    )
