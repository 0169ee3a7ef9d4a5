"""What the panel net saw, in words and places: compact spots where its evidence lies in some, else the panel as a whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.findings.base import PanelContext
from vision.findings.place import rounded
from vision.net_regions import NetRegions, NetSpot, net_regions
from vision.registry import FACE_WORDS, FACES
from vision.types import Outline, Region

NET_KIND = "net_region"
#: Below this many nats the net sees as much for one face as for the other.
EVEN_NATS = 0.1
#: A spot with less than this share of its area on the panel lies beside it.
ON_PANEL = 0.5


@dataclass(frozen=True)
class NetPlace:
    """`where` as in Finding; `located`: whether these are spots; `pair`: (face the net leans to, the other); `text`: one or two
    sentences."""

    where: tuple[Region, ...]
    located: bool
    pair: tuple[str, str]
    text: str


def net_place(ctx: PanelContext) -> NetPlace | None:
    """Where the net's evidence on the panel's open question lies; None where neither a net nor a weight of one is at hand.

    The question is that of the classifier's weight; without one, or on a narrow side, where cores are asked about and the net
    has no places, that between the two faces the net itself puts first.
    """
    weight, answer, view = ctx.weights.get(NET_KIND), ctx.net, ctx.measure.view
    whole = (ctx.outline_region(),)
    if answer is None and weight is None:
        return None
    if weight is not None and (answer is None or weight.supports not in FACES):
        return NetPlace(whole, False, (weight.supports, weight.against), "What a trained network makes of the panel as a whole.")
    if answer is None or view.photo_pixels is None:
        return None
    height, width = view.photo_pixels.shape[:2]
    found = net_regions(answer, view, (width, height), (weight.supports, weight.against) if weight is not None else None)
    text = _words(found)
    if weight is not None and weight.supports != found.pair[0] and abs(found.nats) >= EVEN_NATS:
        text += " Beside labelled photos of others, such an answer has counted the other way."
    if abs(found.nats) < EVEN_NATS or not found.spots:
        return NetPlace(whole, False, found.pair, text)
    panel = ctx.panel
    marks = tuple(Region(panel.photo, panel.id, "polygon", _on_photo(s.outline, width, height)) for s in found.spots)
    return NetPlace(marks, True, found.pair, text)


def _on_photo(outline: Outline, width: int, height: int) -> Outline:
    points = np.clip(np.array(outline), 0, [width - 1, height - 1])
    return rounded(tuple((float(x), float(y)) for x, y in points))


def _words(found: NetRegions) -> str:
    a, b = (FACE_WORDS[f] for f in found.pair)
    if abs(found.nats) < EVEN_NATS:
        return f"A trained network sees about as much for {a} as for {b} here."
    if not found.spots:
        manner = "lies mostly beside it, in what surrounds it" if found.beside > 0.5 else "is spread over the panel"
        return f"What a trained network sees for {a} rather than {b} {manner}: no place stands out."
    shares = [f"{100 * s.share:.0f} %" for s in found.spots]
    listed = shares[0] if len(shares) == 1 else f"{', '.join(shares[:-1])} and {shares[-1]}"
    places = "lies in the marked place" if len(shares) == 1 else f"lie in the {len(shares)} marked places"
    return f"Of what a trained network sees for {a} rather than {b}, {listed} {places}{_beside(found.spots)}."


def _beside(spots: tuple[NetSpot, ...]) -> str:
    off = sum(s.inside < ON_PANEL for s in spots)
    if off == 0:
        return ""
    return ", beside the panel" if off == len(spots) else f", {off} of them beside the panel"
