"""Rows of a rendered test: what was measured of each panel beside what the truth tells of it, in one or a few npz files.

Looks are kept raw (`raw`: as the backbone gives them, float16) or projected with the committed projection (`projected`: a
fifteenth of the size). A file that would grow beyond `FILE_BYTES` goes on in NAME-2.npz, NAME-3.npz ...
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.real_photos import Labelled
from training.rendered_test_truth import CUES, Facts

#: Largest file written, bytes, about.
FILE_BYTES = 14_000_000
_TEXT = ("role", "part", "side", "layout", "edging", "coat", "kind", "style", "twin", "piece", "shot", "delivery", "camera")
_NUMBER = ("faces", "panels", "photo_width", "photo_height", "width_px", "area_px", "mm_per_px")
FACTS = (*_TEXT, *_NUMBER, "core_shown")


@dataclass(frozen=True, eq=False)
class RenderedRows:
    """n panels. `schema` and `names` (features,) say what `values` (n, features) float32 hold; `looks` (n, crops, length)
    float16, `projected` or not; `ids`, `group` (pieces alike are one), `photo` (n,) names; `face`, `core`, `view` (n,) names, ''
    unknown; `core_visible` (n,) is 0 visible, 1 hidden, -1 unknown, as in a table; `facts`: name of FACTS -> (n,);
    `cues` (n, len(CUES)) bool; `more`: further inputs of the model by name -> (n, k), e.g. what a net said."""

    schema: str
    names: NDArray[np.str_]
    values: NDArray[np.float32]
    looks: NDArray[np.float16]
    projected: bool
    ids: NDArray[np.str_]
    group: NDArray[np.str_]
    photo: NDArray[np.str_]
    face: NDArray[np.str_]
    core: NDArray[np.str_]
    view: NDArray[np.str_]
    core_visible: NDArray[np.int8]
    facts: dict[str, NDArray[Any]]
    cues: NDArray[np.bool_]
    more: dict[str, NDArray[np.float32]]

    def __len__(self) -> int:
        return len(self.ids)

    def rows(self, which: NDArray[np.bool_] | NDArray[np.intp] | slice) -> RenderedRows:
        """Some of the rows."""
        return self._each(lambda a: a[which])

    def _each(self, change: Any) -> RenderedRows:
        found: dict[str, Any] = {}
        for f in fields(self):
            value = getattr(self, f.name)
            if f.name in ("schema", "names", "projected"):
                found[f.name] = value
            else:
                found[f.name] = {k: change(v) for k, v in value.items()} if isinstance(value, dict) else change(value)
        return RenderedRows(**found)

    def with_numbers(self, ids: Sequence[str], names: Sequence[str], values: NDArray[np.float32]) -> RenderedRows:
        """The rows with further numbers (len(ids), len(names)) measured elsewhere, joined by panel; nan where there are none.
        Numbers of a name that is there already replace those."""
        place = {str(i): k for k, i in enumerate(ids)}
        at = np.array([place.get(str(i), -1) for i in self.ids], dtype=np.intp)
        found = np.where(at[:, None] >= 0, values[at], np.nan).astype(np.float32)
        old = [k for k, n in enumerate(self.names.tolist()) if n not in set(names)]
        return replace(self, names=np.array([*self.names[old].tolist(), *names]), values=np.hstack([self.values[:, old], found]))

    def cue(self, name: str) -> NDArray[np.bool_]:
        """(n,) whether a cue shows."""
        found: NDArray[np.bool_] = self.cues[:, CUES.index(name)]
        return found


def joined(parts: Sequence[RenderedRows]) -> RenderedRows:
    """Several files as one; a panel that is in two counts once, as in the first.

    Raises
    ------
    ValueError
        if they hold different numbers.
    """
    first = parts[0]
    for p in parts[1:]:
        if p.schema != first.schema or p.projected != first.projected or list(p.names) != list(first.names):
            raise ValueError("the files hold different measurements")
    found: dict[str, Any] = {}
    for f in fields(first):
        values = [getattr(p, f.name) for p in parts]
        if f.name in ("schema", "names", "projected"):
            found[f.name] = values[0]
        elif isinstance(values[0], dict):
            found[f.name] = {k: np.concatenate([v[k] for v in values]) for k in values[0]}
        else:
            found[f.name] = np.concatenate(values)
    whole = RenderedRows(**found)
    _, at = np.unique(whole.ids, return_index=True)
    return whole if len(at) == len(whole) else whole.rows(np.sort(at))


def built(
    rows: Sequence[Labelled], facts: Sequence[Facts], values: NDArray[np.float32], looks: NDArray[np.float32], *,
    names: Sequence[str], schema: str, projected: bool,
) -> RenderedRows:
    """Rows of measured panels, all arguments in one order."""
    from training.tables import core_visible_label

    text: dict[str, NDArray[Any]] = {k: np.array([getattr(f, k) for f in facts], dtype=np.str_) for k in _TEXT}
    number = {k: np.array([getattr(f, k) for f in facts], dtype=np.float32) for k in _NUMBER}
    return RenderedRows(
        schema=schema, names=np.array(names), values=values.astype(np.float32), looks=looks.astype(np.float16),
        projected=projected, ids=np.array([r.id for r in rows]), group=np.array([r.author for r in rows]),
        photo=np.array([r.path.stem for r in rows]), face=np.array([r.face or "" for r in rows]),
        core=np.array([r.core or "" for r in rows]), view=np.array([r.view or "" for r in rows]),
        core_visible=np.array([core_visible_label(r.view, r.face, r.core) for r in rows], dtype=np.int8),
        facts={**text, **number, "core_shown": np.array([f.core_shown for f in facts])},
        cues=np.array([[c in f.cues for c in CUES] for f in facts]).reshape(len(rows), len(CUES)), more={},
    )


def _name(path: Path, number: int) -> Path:
    return path if number == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")


def save(rows: RenderedRows, path: Path) -> list[Path]:
    """Write the rows; the paths written. Older continuations of the same name are removed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    each = rows.values[:1].nbytes + rows.looks[:1].nbytes + sum(v[:1].nbytes for v in rows.more.values()) + 150
    most = max(1, int(FILE_BYTES / max(1, each)))
    written = []
    for number, start in enumerate(range(0, max(1, len(rows)), most), 1):
        part = rows.rows(slice(start, start + most))
        arrays: dict[str, Any] = {}
        for f in fields(part):
            value = getattr(part, f.name)
            arrays |= {f"{f.name}.{k}": v for k, v in value.items()} if isinstance(value, dict) else {f.name: np.asarray(value)}
        np.savez_compressed(_name(path, number), **arrays)
        written.append(_name(path, number))
    number = len(written) + 1
    while _name(path, number).exists():
        _name(path, number).unlink()
        number += 1
    return written


def _load(path: Path) -> RenderedRows:
    with np.load(path, allow_pickle=False) as d:
        found: dict[str, Any] = {"facts": {}, "more": {}}
        for key in d.files:
            kind, _, rest = key.partition(".")
            if rest:
                found[kind][rest] = d[key]
            else:
                found[key] = d[key]
    return RenderedRows(**{**found, "schema": str(found["schema"]), "projected": bool(found["projected"])})


def load(*paths: Path) -> RenderedRows:
    """Read files and their continuations as one."""
    parts = []
    for path in paths:
        number = 1
        while number == 1 or _name(path, number).exists():
            parts.append(_load(_name(path, number)))
            number += 1
    return joined(parts)
