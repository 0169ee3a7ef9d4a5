"""Paper tags and numbered dots: the words on the picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from vision.evidence.bands import draw_band, polyline
from vision.evidence.palette import BANDS, BED, INK, PAPER, UNDECIDED, Band
from vision.evidence.placement import Box
from vision.registry import CORE_WORDS
from vision.types import Verdict

#: Share from which a core is treated as seen and worth a line of its own.
CORE_SEEN = 0.5
_SWATCH = 2.1  # in text sizes


@dataclass(frozen=True)
class Tag:
    """Lines of a tag, the band it shows (None on a tag that holds but a name), and the text size in pixels."""

    lines: tuple[str, ...]
    band: Band | None
    size: int

    @property
    def indent(self) -> int:
        """Pixels the first line stands in from the left, behind the band."""
        return round((_SWATCH + 0.35) * self.size) if self.band else 0

    @property
    def extent(self) -> tuple[int, int]:
        """(width, height) in pixels."""
        pad = round(0.35 * self.size)
        width = max(self.indent + text_width(self.lines[0], self.size), *(text_width(line, self.size) for line in self.lines))
        return width + 2 * pad, round(1.3 * self.size * len(self.lines)) + 2 * pad


def percent(share: float) -> str:
    """Whole percents that never round to a certainty that is not there."""
    if 0.99 < share < 1:
        return "over 99 %"
    return "under 1 %" if 0 < share < 0.01 else f"{100 * share:.0f} %"


def band_of(verdict: Verdict) -> Band:
    """Band of the likeliest face, or the chalk stitches of an undecided panel."""
    return BANDS[UNDECIDED] if verdict.undecided else BANDS[_likeliest(verdict)]


def tag_forms(name: str, verdict: Verdict, reasons: Sequence[int], size: int) -> tuple[Tag, ...]:
    """The tag of a panel, fullest form first; shorter ones serve where space is short.

    An undecided panel says what it cannot be told between (the face set); a decided one gives its probability. A core
    that is in view gets a line. `reasons`: numbers of the findings that bear on the panel as a whole.
    """
    band = band_of(verdict)
    if verdict.undecided:
        head = [f"{name}  cannot tell"]
        detail = _alternatives([BANDS[f].words for f in verdict.face_set])
    else:
        face = _likeliest(verdict)
        head = [f"{name}  {BANDS[face].words} {percent(verdict.face[face])}"]
        detail = []
    if verdict.core_visible >= CORE_SEEN:
        core = max(verdict.core, key=verdict.core.__getitem__)
        known = len(verdict.core_set) == 1
        detail.append(f"core: {CORE_WORDS[core]} {percent(verdict.core[core])}" if known else "core: cannot tell")
    seen = [f"reason{'s' * (len(reasons) > 1)} {', '.join(str(n) for n in reasons[:6])}"] if reasons else []
    forms = [(*head, *detail, *seen), (*head, *detail), tuple(head), (name,)]
    return tuple(Tag(lines, band if lines != (name,) else None, size) for lines in dict.fromkeys(forms))


def fitting(forms: Sequence[tuple[Tag, ...]], area: float) -> int:
    """How many of the fullest forms to pass over, the same for all panels, so that all tags together fit in `area` px."""
    longest = max((len(f) for f in forms), default=1)
    for level in range(longest):
        chosen = [f[min(level, len(f) - 1)].extent for f in forms]
        if sum(w * h for w, h in chosen) <= area:
            return level
    return longest - 1


def draw_tag(picture: NDArray[np.uint8], box: Box, tag: Tag) -> None:
    """Paper tag with a sample of its band, drawn in place."""
    _paper(picture, box)
    pad, half = round(0.35 * tag.size), 0.17 * tag.size
    if tag.band:
        y = box.y + pad + 0.65 * tag.size
        left, right = box.x + pad + half, box.x + pad + _SWATCH * tag.size - half
        draw_band(picture, np.array([[left, y], [right, y]]), tag.band, half, closed=False)
    for k, line in enumerate(tag.lines):
        x = box.x + pad + (tag.indent if k == 0 else 0)
        write(picture, (x, box.y + pad + (k + 0.65) * 1.3 * tag.size - 0.195 * tag.size), line, tag.size, bold=k == 0)


def draw_string(picture: NDArray[np.uint8], box: Box, to: tuple[float, float], width: float) -> None:
    """The string that ties a tag to its panel, from the tag's nearest rim point."""
    start = (float(np.clip(to[0], box.x, box.x + box.width)), float(np.clip(to[1], box.y, box.y + box.height)))
    line = np.array([start, to])
    polyline(picture, line, BED, width + 3)
    polyline(picture, line, PAPER, width)
    cv2.circle(picture, (round(to[0]), round(to[1])), round(2.5 * width), BED, -1, cv2.LINE_AA)
    cv2.circle(picture, (round(to[0]), round(to[1])), round(1.5 * width), PAPER, -1, cv2.LINE_AA)


def number_extent(number: int, size: int) -> tuple[int, int]:
    """(width, height) of a numbered dot: round for one digit, longer for more."""
    height = round(1.5 * size)
    return max(height, text_width(str(number), size) + round(0.8 * size)), height


def draw_number(picture: NDArray[np.uint8], box: Box, number: int, size: int) -> None:
    """Numbered paper dot, drawn in place."""
    radius = box.height / 2
    ends = np.array([[box.x + radius, box.y + radius], [box.x + box.width - radius, box.y + radius]])
    polyline(picture, ends, BED, 2 * radius)
    polyline(picture, ends, PAPER, 2 * radius - 6)
    write(picture, (box.centre[0] - text_width(str(number), size) / 2, box.centre[1]), str(number), size, bold=True)


def write(picture: NDArray[np.uint8], at: tuple[float, float], text: str, size: int, *, bold: bool = False) -> None:
    """Text in place; `at` is the left end of its middle line."""
    height, width = picture.shape[:2]
    x0, x1 = max(0, int(at[0]) - 2), min(width, int(at[0]) + text_width(text, size) + 6)
    y0, y1 = max(0, int(at[1] - size)), min(height, int(at[1] + size))
    if x0 >= x1 or y0 >= y1:
        return
    patch = Image.fromarray(np.ascontiguousarray(picture[y0:y1, x0:x1]))
    weight = max(1, round(size / 34)) if bold else 0
    pen = ImageDraw.Draw(patch)
    pen.text((at[0] - x0, at[1] - y0), text, font=font(size), fill=INK, anchor="lm", stroke_width=weight, stroke_fill=INK)
    picture[y0:y1, x0:x1] = np.asarray(patch)


def text_width(text: str, size: int) -> int:
    """Width of a line in pixels, bold included."""
    return int(np.ceil(font(size).getlength(text))) + 2 * max(1, round(size / 34))


@lru_cache(maxsize=16)
def font(size: int) -> ImageFont.FreeTypeFont:
    """The scalable face that comes with the image library (Aileron, public domain dedication)."""
    loaded = ImageFont.load_default(size=size)
    if not isinstance(loaded, ImageFont.FreeTypeFont):
        raise RuntimeError("the image library was built without scalable fonts")
    return loaded


def _paper(picture: NDArray[np.uint8], box: Box) -> None:
    picture[box.y : box.y + box.height, box.x : box.x + box.width] = BED
    picture[box.y + 2 : box.y + box.height - 2, box.x + 2 : box.x + box.width - 2] = PAPER


def _likeliest(verdict: Verdict) -> str:
    return max(verdict.face, key=verdict.face.__getitem__)


def _alternatives(words: Sequence[str]) -> list[str]:
    """'solid wood or', 'wood veneer' spread over lines of two words each; more than three say how many."""
    if len(words) > 3:
        return [f"{len(words)} kinds possible"]
    if len(words) < 2:
        return [f"perhaps {words[0]}"] if words else []
    return [f"{', '.join(words[:-1])} or", words[-1]] if len(" or ".join(words)) > 26 else [" or ".join(words)]
