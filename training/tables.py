"""Feature tables: what the classifier is taught on, small enough to be committed, with no picture and no name in them.

One row a panel: feature values (float32), looks projected to a few dozen numbers each (float16), labels as indices (-1 =
unknown), trust, and short hashes of author, specimen and photo. The shipped model is always taught from a table as
stored, so that teaching again from the committed tables gives the same model.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.measuring import Measured
from training.real_photos import Labelled
from vision import registry
from vision.features import schema_hash
from vision.inference.model import TARGETS
from vision.looks import LOOKS

FOLDER = Path(__file__).resolve().parent / "tables"
REAL, RENDERED, PROJECTION = FOLDER / "real.npz", FOLDER / "rendered.npz", FOLDER / "projection.npz"
CUES = tuple(registry.CUES)


@dataclass(frozen=True, eq=False)
class Projection:
    """Looks to few numbers: z = ((look - mean) / scale) @ basis, one set a crop. Shapes (crops, length), (crops, length),
    (crops, length, dims); `spread` (crops, dims) is the standard deviation of z on the photos it was made from."""

    mean: NDArray[np.float32]
    scale: NDArray[np.float32]
    basis: NDArray[np.float32]
    spread: NDArray[np.float32]

    def __call__(self, looks: NDArray[np.float32]) -> NDArray[np.float32]:
        """(n, crops, length) -> (n, crops, dims)."""
        return np.einsum("ncl,cld->ncd", (looks - self.mean) / self.scale, self.basis).astype(np.float32)

    @staticmethod
    def fit(looks: NDArray[np.float32], dims: int) -> Projection:
        """Principal directions of standardised looks (n, crops, length), scaled as a whole to unit mean variance.

        No label is used. The sign of each direction is fixed by its largest entry, so that a fit can be repeated.
        """
        mean = looks.mean(axis=0)
        scale = looks.std(axis=0) + 1e-3 * looks.std(axis=0).mean(axis=1, keepdims=True) + 1e-9
        bases, spreads = [], []
        for crop in range(looks.shape[1]):
            u = ((looks[:, crop] - mean[crop]) / scale[crop]).astype(np.float64)
            _, s, v = np.linalg.svd(u, full_matrices=False)
            v = v[:dims] * np.sign(v[np.arange(dims), np.abs(v[:dims]).argmax(axis=1)])[:, None]
            sd = s[:dims] / np.sqrt(len(u))
            whole = float(np.sqrt((sd**2).mean()))
            bases.append(v.T / whole)
            spreads.append(sd / whole)
        as32 = [np.asarray(a, dtype=np.float32) for a in (mean, scale, np.stack(bases), np.stack(spreads))]
        return Projection(*as32)

    def save(self, path: Path) -> None:
        """Written as float32 arrays."""
        np.savez_compressed(path, mean=self.mean, scale=self.scale, basis=self.basis.astype(np.float16), spread=self.spread)

    @staticmethod
    def load(path: Path) -> Projection:
        """Read what `save` wrote."""
        with np.load(path, allow_pickle=False) as d:
            return Projection(d["mean"], d["scale"], d["basis"].astype(np.float32), d["spread"])


@dataclass(frozen=True, eq=False)
class Table:
    """Rows of one kind, real or rendered. Arrays share their first axis; `face`, `core`, `view`, `core_visible` are indices
    into `vision.inference.model.TARGETS` or -1; `cues` (n, cues) bool; `schema` names the features."""

    schema: str
    names: NDArray[np.str_]
    values: NDArray[np.float32]
    looks: NDArray[np.float16]
    face: NDArray[np.int8]
    core: NDArray[np.int8]
    view: NDArray[np.int8]
    core_visible: NDArray[np.int8]
    weight: NDArray[np.float32]
    headline: NDArray[np.bool_]
    cues: NDArray[np.bool_]
    author: NDArray[np.str_]
    specimen: NDArray[np.str_]
    photo: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.face)

    def rows(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Table:
        """Some of the rows."""
        kept = {f.name: getattr(self, f.name)[which] for f in fields(self) if f.name not in ("schema", "names")}
        return replace(self, **kept)

    def labels(self, target: str) -> NDArray[np.int8]:
        """Label indices of a target, -1 = unknown."""
        found: NDArray[np.int8] = getattr(self, target)
        return found

    @property
    def shared_weight(self) -> NDArray[np.float64]:
        """Trust, shared out so that the rows of one specimen count at most as one panel."""
        _, at, counts = np.unique(self.specimen, return_inverse=True, return_counts=True)
        return np.asarray(self.weight.astype(np.float64) / counts[at])

    def save(self, path: Path) -> None:
        """Written compressed, without anything that could run code when read."""
        path.parent.mkdir(parents=True, exist_ok=True)
        arrays: dict[str, Any] = {f.name: np.asarray(getattr(self, f.name)) for f in fields(self)}
        np.savez_compressed(path, **arrays)

    @staticmethod
    def load(path: Path) -> Table:
        """Read what `save` wrote."""
        with np.load(path, allow_pickle=False) as d:
            found: dict[str, Any] = {f.name: d[f.name] for f in fields(Table)}
            return Table(**{**found, "schema": str(found["schema"])})


def short_hash(text: str) -> str:
    """Ten hexadecimal digits that stand for a name."""
    return hashlib.sha256(text.encode()).hexdigest()[:10]


def core_visible_label(view: str | None, face: str | None, core: str | None, shown: bool | None = None) -> int:
    """0 = visible, 1 = hidden, -1 = unknown. Edges, ends and joints with a known core show it unless they are known (`shown`) to
    be banded or painted; a raw board's face is its core; any other face hides it."""
    if view in ("edge", "end", "joint"):
        if shown is False:
            return 1
        return 0 if core is not None else -1
    if face == "bare_board":
        return 0
    return 1 if view == "face" and face is not None else -1


def _index(target: str, value: str | None) -> int:
    return TARGETS[target].index(value) if value in TARGETS[target] else -1


def build(rows: Sequence[Labelled], measured: Measured, projection: Projection, names: Sequence[str], schema: str) -> Table:
    """Table of the measured ones among `rows`."""
    by_id = {r.id: r for r in rows}
    kept = [by_id[i] for i in measured.ids]
    return Table(
        schema=schema, names=np.array(names, dtype="U64"), values=measured.values.astype(np.float32),
        looks=projection(measured.looks).astype(np.float16),
        face=np.array([_index("face", r.face) for r in kept], dtype=np.int8),
        core=np.array([_index("core", r.core) for r in kept], dtype=np.int8),
        view=np.array([_index("view", r.view) for r in kept], dtype=np.int8),
        core_visible=np.array([core_visible_label(r.view, r.face, r.core, r.core_shown) for r in kept], dtype=np.int8),
        weight=np.array([r.weight for r in kept], dtype=np.float32), headline=np.array([r.headline for r in kept]),
        cues=np.array([[c in r.cues for c in CUES] for r in kept]),
        author=np.array([short_hash(r.author) for r in kept]), specimen=np.array([short_hash(r.specimen) for r in kept]),
        photo=np.array([short_hash(r.path.name) for r in kept]),
    )


def spread(rows: Sequence[Labelled], most: int, seed: int) -> list[Labelled]:
    """At most `most` of the rows, in their order, drawn so that rare pairs of view and face are kept first."""
    order = np.random.default_rng(seed).permutation(len(rows))
    taken: dict[tuple[str | None, str | None], int] = {}
    ranked = []
    for place, i in enumerate(order.tolist()):
        cell = (rows[i].view, rows[i].face)
        taken[cell] = taken.get(cell, 0) + 1
        ranked.append((taken[cell], place, i))
    return [rows[i] for i in sorted(i for _, _, i in sorted(ranked)[:most])]


def current_schema() -> tuple[list[str], str]:
    """Feature names and schema hash of this program."""
    from vision import measure

    return [f.name for f in measure.schema()], schema_hash(measure.schema(), measure.SCHEMA_VERSION)


def crops() -> tuple[str, ...]:
    """Names of the looks in the order of a table's `looks`."""
    return LOOKS
