"""Reading --scale: what lies on the surface and how large it is, each with a clear refusal."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from vision.errors import UsageError
from vision.scale.find import ScaleAsked
from vision.types import Point

_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_POINT = re.compile(rf"^\s*({_NUMBER})\s*,\s*({_NUMBER})\s*$")
_POINTS = re.compile(rf"^\s*({_NUMBER}),({_NUMBER})[,\s]\s*({_NUMBER}),({_NUMBER})\s*=\s*({_NUMBER})\s*(?:mm)?\s*$")
_LINE = re.compile(rf"^\s*({_NUMBER}),({_NUMBER})[,\s]\s*({_NUMBER}),({_NUMBER})\s*$")
FORMS = (
    "Write auto, none, card, sheet, ruler:mm, ruler:inch or points:X,Y,X,Y=MM; a point on the card may follow after @, as in "
    "'card@812,430'."
)
RULER_UNITS: Mapping[str, str] = {"mm": "mm", "cm": "mm", "inch": "inch", "in": "inch"}


def parse_scale_options(values: Sequence[str], files: Sequence[str]) -> dict[str, ScaleAsked]:
    """What is asked for by file from '[FILE=]FORM' values; a form without a file counts for all photos not named.

    Nothing is looked for where nothing is asked: the search takes a second or two of a large photo, and most hold no card.
    """
    out: dict[str, ScaleAsked] = {}
    general: ScaleAsked | None = None
    for value in values:
        file = next((f for f in sorted(files, key=len, reverse=True) if value.startswith(f + "=")), None)
        asked = parse_scale(value if file is None else value[len(file) + 1 :])
        if file is None and asked.points and len(set(files)) > 1:
            raise UsageError(
                "--scale", "points were given and this does not say on which photo they lie.",
                f"Put the photo's name in front: --scale '{files[0]}={value}'.",
            )
        if (file is not None and file in out) or (file is None and general is not None):
            raise UsageError("--scale", "a photo is given two scales.", "Give one for a photo.")
        if file is None:
            general = asked
        else:
            out[file] = asked
    chosen = {f: out.get(f, general) for f in files}
    return {f: asked for f, asked in chosen.items() if asked is not None}


def parse_scale(text: str) -> ScaleAsked:
    """One form of --scale; raises UsageError with the forms there are."""
    kind, _, rest = text.strip().partition(":")
    kind, at_head, head_point = kind.partition("@")
    kind = kind.strip().lower()
    if kind == "points":
        match = _POINTS.match(rest)
        if match is None:
            raise UsageError("--scale", f"'{rest}' is not two points and a length.", "Write points:X,Y,X,Y=MM, as in "
                             "points:120,340,1820,352=600.")
        x0, y0, x1, y1, mm = (float(v) for v in match.groups())
        if (x0 - x1) ** 2 + (y0 - y1) ** 2 < 100:
            raise UsageError("--scale", "the two points are less than 10 px apart.", "Mark a longer line; it measures better.")
        return ScaleAsked("points", mm=_length(mm), points=((x0, y0), (x1, y1)))
    rest, at, point = (rest, at_head, head_point) if at_head else rest.partition("@")
    rest = rest.strip()
    if kind in ("auto", "none") and not rest and not at:
        return ScaleAsked(kind)
    if kind == "card" and not rest:
        return ScaleAsked("card", points=_tap(point) if at else ())
    if kind == "coin":
        raise UsageError("--scale", "a coin is not measured well enough yet: in trials its error bars failed one time in four.",
                         "Lay a bank card (card) or the printed sheet (sheet) beside it, or mark two points (points:...).")
    if kind == "sheet" and not at:
        return ScaleAsked("sheet", mm=_length(_number(rest)) if rest else None)
    if kind == "ruler" and not rest:
        raise UsageError("--scale", "the unit of the ruler's ticks is not named.", "Write ruler:mm or ruler:inch.")
    if kind == "ruler" and rest.lower() in RULER_UNITS:
        return ScaleAsked("ruler", unit=RULER_UNITS[rest.lower()], points=_line(point) if at else ())
    raise UsageError("--scale", f"'{text}' is no scale.", FORMS)


def _number(text: str) -> float:
    match = re.fullmatch(rf"({_NUMBER})\s*(?:mm)?", text)
    if match is None:
        raise UsageError("--scale", f"'{text}' is not a length in mm.", FORMS)
    return float(match[1])


def _length(mm: float) -> float:
    if not 0 < mm <= 20_000:
        raise UsageError("--scale", f"a length of {mm:g} mm cannot be.", "Give mm, above 0 and up to 20000.")
    return mm


def _tap(text: str) -> tuple[Point, ...]:
    match = _POINT.match(text)
    if match is None:
        raise UsageError("--scale", f"'{text}' is not a point.", "Write X,Y in pixels of the upright photo, as in 812,430.")
    return ((float(match[1]), float(match[2])),)


def _line(text: str) -> tuple[Point, ...]:
    match = _LINE.match(text)
    if match is None:
        raise UsageError("--scale", f"'{text}' is not two points.", "Write two along the ticks: ruler:mm@100,200,900,220.")
    x0, y0, x1, y1 = (float(v) for v in match.groups())
    return (x0, y0), (x1, y1)
