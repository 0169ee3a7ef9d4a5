"""Reading --scale: what lies on the surface and how large it is, each with a clear refusal."""

from __future__ import annotations

import re
from collections.abc import Sequence

from vision.errors import UsageError
from vision.scale.find import ScaleAsked

_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_POINTS = re.compile(rf"^\s*({_NUMBER}),({_NUMBER})[,\s]\s*({_NUMBER}),({_NUMBER})\s*=\s*({_NUMBER})\s*(?:mm)?\s*$")
_TAP = re.compile(rf"^\s*({_NUMBER})\s*,\s*({_NUMBER})\s*$")
FORMS = "Write sheet, card, card:X,Y (a point on the card), auto (a sheet or a card), points:X,Y,X,Y=MM or none."
#: Measured by vision.scale, but the trials (training.scale_scores) do not yet bear out their error bars.
NOT_YET = ("coin", "ruler")


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
                "--scale", "a point was given and this does not say on which photo it lies.",
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
    rest = rest.strip()
    if kind in ("auto", "none", "card") and not rest:
        return ScaleAsked(kind)
    if kind == "card":
        tap = _TAP.match(rest)
        if tap is None:
            raise UsageError("--scale", f"'{rest}' is not a point on the card.", "Write card:X,Y in pixels of the upright photo, "
                             "as in card:812,440, or card alone.")
        return ScaleAsked("card", points=((float(tap[1]), float(tap[2])),))
    if kind in NOT_YET:
        raise UsageError("--scale", f"a {kind} is not measured well enough yet: in trials its error bars failed too often.",
                         "Lay the printed sheet (sheet) or a bank card (card) on the surface, or mark two points (points:...).")
    if kind == "sheet":
        return ScaleAsked("sheet", mm=_length(_number(rest)) if rest else None)
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
