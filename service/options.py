"""Reading what the user typed: outlines and taps, each with a clear refusal.

Values for one of several photos carry its name in front, as it was given on the command line: 'chest.jpg=120,340'.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from vision.errors import UsageError
from vision.types import Point

_PAIR = re.compile(r"^\s*([-+]?\d+(?:\.\d+)?)\s*,\s*([-+]?\d+(?:\.\d+)?)\s*$")
#: Outline of one panel: its id (None: chosen by the program) and its corners in photo pixels.
GivenOutline = tuple[str | None, list[Point]]


def _pair(text: str, option: str) -> Point:
    match = _PAIR.match(text)
    if match is None:
        raise UsageError(
            option, f"'{text}' is not a point.",
            "Write a point as X,Y in pixels of the upright photo, as in 812,430.",
        )
    return float(match[1]), float(match[2])


def split_file(value: str, files: Sequence[str], option: str) -> tuple[str, str]:
    """(file, rest) of a value. Without a file in front the one photo is meant; with several that is refused."""
    for file in sorted(files, key=len, reverse=True):
        if value.startswith(file + "="):
            return file, value[len(file) + 1:]
    if "=" in value:
        name = value.split("=", 1)[0]
        raise UsageError(
            option, f"'{name}' is not one of the photos given.", "Write the photo's name just as you gave it.",
        )
    if len(set(files)) != 1:
        raise UsageError(
            option, "several photos were given and this does not say which one is meant.",
            f"Put the photo's name in front: {option} '{files[0] if files else 'PHOTO'}={value}'.",
        )
    return files[0], value


def parse_taps(values: Sequence[str], files: Sequence[str]) -> dict[str, list[Point]]:
    """Taps by file from '[FILE=]X,Y' values."""
    out: dict[str, list[Point]] = {}
    for value in values:
        file, rest = split_file(value, files, "--at")
        out.setdefault(file, []).append(_pair(rest, "--at"))
    return out


def parse_outlines(values: Sequence[str], files: Sequence[str]) -> dict[str, list[GivenOutline]]:
    """Outlines by file from '[FILE=]x,y x,y x,y ...' values."""
    out: dict[str, list[GivenOutline]] = {}
    for value in values:
        file, rest = split_file(value, files, "--outline")
        points = [_pair(p, "--outline") for p in rest.split()]
        if len(points) < 3:
            raise UsageError(
                "--outline", f"{len(points)} points make no outline.", "Give at least three points: 'x,y x,y x,y'.",
            )
        out.setdefault(file, []).append((None, points))
    return out


def check_inside(file: str, points: Sequence[Point], width: int, height: int, option: str) -> None:
    """Refuse points that do not lie on the photo."""
    for x, y in points:
        if not (0 <= x <= width and 0 <= y <= height):
            raise UsageError(
                option, f"the point {x:g},{y:g} lies outside {file}, which is {width} x {height} px once upright.",
                "Count pixels from the top left corner of the upright photo.",
            )


def read_outlines(path: Path, files: Sequence[str]) -> dict[str, list[GivenOutline]]:
    """Outlines by file from a JSON file {"<file as given>": [{"id": .., "points": [[x, y], ..]}]}.

    Raises UsageError for a missing file, broken JSON, a photo that was not given, unknown keys and wrong shapes.
    """
    name = str(path)
    try:
        data = json.loads(path.read_text("utf-8"))
    except OSError as err:
        raise UsageError(
            name, f"the outlines cannot be read ({err.strerror or err}).",
            "Check the name and that you may read it.",
        ) from err
    except UnicodeDecodeError as err:
        raise UsageError(name, "the outlines are not UTF-8 text.", "Save the file as UTF-8 JSON.") from err
    except (json.JSONDecodeError, RecursionError) as err:
        where = f" in line {err.lineno}, column {err.colno}" if isinstance(err, json.JSONDecodeError) else ""
        raise UsageError(
            name, f"the outlines are broken JSON{where}.", "Mend the file; it must be one JSON object.",
        ) from err
    if not isinstance(data, dict):
        raise UsageError(
            name, "the outlines are not a JSON object.",
            'Write {"photo.jpg": [{"id": "top", "points": [[x, y], ...]}]}.',
        )
    out: dict[str, list[GivenOutline]] = {}
    for file, rows in data.items():
        if file not in files:
            raise UsageError(
                name, f"it outlines '{file}', which is not one of the photos given.",
                "Use the names just as given to look.",
            )
        if not isinstance(rows, list):
            raise UsageError(name, f"what stands under '{file}' is not a list.", "Give a list of outlines.")
        out[file] = [_row(name, file, n, row) for n, row in enumerate(rows)]
        ids = [i for i, _ in out[file] if i is not None]
        twice = sorted({i for i in ids if ids.count(i) > 1})
        if twice:
            raise UsageError(
                name, f"'{file}' uses the id '{twice[0]}' twice.", "Give each outline of a photo its own id.",
            )
    return out


def _row(name: str, file: str, n: int, row: object) -> GivenOutline:
    here = f"outline {n + 1} of '{file}'"
    if not isinstance(row, Mapping):
        raise UsageError(name, f"{here} is not an object.", 'Write {"id": "top", "points": [[x, y], ...]}.')
    unknown = sorted(set(row) - {"id", "points"})
    if unknown:
        raise UsageError(name, f"{here} has the unknown key '{unknown[0]}'.", "Use only the keys 'id' and 'points'.")
    given = row.get("id")
    if given is not None and not (isinstance(given, str) and given.strip()):
        raise UsageError(name, f"the id of {here} is not text.", "Leave the id out or give it as text.")
    points = row.get("points")
    if not isinstance(points, list) or len(points) < 3:
        raise UsageError(name, f"{here} has fewer than three points.", "Give at least three [x, y] points.")
    out: list[Point] = []
    for p in points:
        good = isinstance(p, list) and len(p) == 2 and all(
            isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in p
        )
        if not good:
            raise UsageError(
                name, f"{here} has a point that is not [x, y].", "Give each point as two numbers, in pixels.",
            )
        out.append((float(p[0]), float(p[1])))
    return given, out


def merge_outlines(
    first: Mapping[str, list[GivenOutline]], second: Mapping[str, list[GivenOutline]]
) -> dict[str, list[GivenOutline]]:
    """Outlines from both sources, photo by photo, in that order."""
    return {file: [*first.get(file, []), *second.get(file, [])] for file in dict.fromkeys([*first, *second])}
