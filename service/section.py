"""A part drawn in section: what lies on top of what, as far as it is known. Inline SVG for the report.

Hatching tells materials apart, not colour alone; what is not known is left blank, dashed and marked with a question mark.
"""

from __future__ import annotations

from html import escape

from service.contract import Judged
from service.words import CORE_SEEN, best_face, core_words, face_words, probabilities

WIDTH, HEIGHT, LAYER = 112, 64, 10
_INK, _WOOD, _PALE, _FILM, _PAINT = "#2a2420", "#d9b382", "#efe0c4", "#b9c7cc", "#7c8f86"


def _grain(y0: float, y1: float) -> str:
    """Long grain: gently waving lines."""
    lines = []
    y = y0 + 4
    while y < y1 - 2:
        lines.append(f"M4 {y:.0f} q 26 -3 52 0 t 52 0")
        y += 6
    return f'<path d="{" ".join(lines)}" fill="none" stroke="{_INK}" stroke-width=".8"/>'


def _core(kind: str | None, y0: float) -> str:
    """The body below the face layer; None is unknown."""
    size = f'x="2" y="{y0}" width="{WIDTH - 4}" height="{HEIGHT - 2 - y0}"'
    frame = f'<rect {size} fill="%s" stroke="{_INK}" stroke-width="1.4"%s/>'
    if kind is None:
        mark = f'<text x="{WIDTH / 2}" y="{(y0 + HEIGHT) / 2 + 6}" font-size="18" text-anchor="middle" fill="{_INK}">?</text>'
        return frame % ("none", ' stroke-dasharray="4 3"') + mark
    out = frame % (_PALE if kind != "lumber" else _WOOD, "")
    if kind == "lumber":
        return out + _grain(y0, HEIGHT - 2)
    if kind == "plywood":
        step = (HEIGHT - 2 - y0) / 5
        for n in range(1, 5):
            y = y0 + n * step
            out += f'<line x1="2" x2="{WIDTH - 2}" y1="{y:.1f}" y2="{y:.1f}" stroke="{_INK}" stroke-width="1"/>'
        for n in (1, 3):
            y = y0 + n * step + step / 2
            dots = "".join(f'<circle cx="{x}" cy="{y:.1f}" r="1"/>' for x in range(8, WIDTH - 4, 8))
            out += f'<g fill="{_INK}">{dots}</g>'
        return out
    if kind == "particle_board":
        chips = []
        for n in range(42):
            x, y = 6 + (n * 37) % (WIDTH - 16), y0 + 4 + (n * 23) % max(1, int(HEIGHT - 10 - y0))
            chips.append(f"M{x} {y:.0f} l{4 + n % 4} {(-2, 0, 2)[n % 3]}")
        return out + f'<path d="{" ".join(chips)}" stroke="{_INK}" stroke-width="1.6"/>'
    specks = "".join(
        f'<circle cx="{6 + (n * 17) % (WIDTH - 12)}" cy="{y0 + 4 + (n * 29) % max(1, int(HEIGHT - 10 - y0)):.0f}" r=".7"/>'
        for n in range(90)
    )
    return out + f'<g fill="{_INK}">{specks}</g>'


def _face(kind: str | None) -> str:
    """The layer on top; empty for solid wood and raw board, which have none."""
    strip = f'<rect x="2" y="2" width="{WIDTH - 4}" height="{LAYER}" fill="%s" stroke="{_INK}" stroke-width="1.4"%s/>'
    if kind is None:
        mark = f'<text x="{WIDTH / 2}" y="11" font-size="10" text-anchor="middle" fill="{_INK}">?</text>'
        return strip % ("none", ' stroke-dasharray="4 3"') + mark
    if kind == "veneer":
        return strip % (_WOOD, "") + _grain(1, LAYER)
    if kind == "printed":
        dots = "".join(f'<circle cx="{x}" cy="{y}" r=".9"/>' for x in range(6, WIDTH - 4, 4) for y in (5, 9))
        return strip % (_FILM, "") + f'<g fill="{_INK}">{dots}</g>'
    if kind == "opaque":
        return strip % (_PAINT, "")
    return ""


def section_svg(judged: Judged, narrow: bool = False) -> str:
    """SVG of the part in section, with a text alternative that says the same."""
    face = None if judged.undecided or narrow else best_face(judged)[0]
    seen = judged.core_visible >= CORE_SEEN and len(judged.core_set) == 1 and not (narrow and judged.undecided)
    core = next(iter(probabilities(judged, "core"))) if seen else None
    if face == "not_wood":
        body = _core(None, 2)
    elif face == "solid_wood":
        body = _core("lumber", 2)
    elif face == "bare_board":
        body = _core(core, 2)
    else:
        body = _face(face) + _core(core, 2 + LAYER)
    label = escape(f"In section: face {face_words(judged, narrow)}; core {core_words(judged, narrow)}.")
    return f'<svg class="section" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{label}">{body}</svg>'
