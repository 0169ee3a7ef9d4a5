"""What the classifier says of every panel of the tables when it never saw the panel's author (or rendered piece): the log
evidence over substrates that fusing photos and asking for the next one are measured with.

Fitting the outer folds takes minutes, so what they say is kept in a scratch folder under the tables' own hash.
"""

from __future__ import annotations

import hashlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training import stacking, tables
from training.config_file import CONFIG, Config, load_config
from training.fit import Fitted, fit
from training.heldout import verdicts
from training.tables import Table
from training.teach import load_tables
from vision.inference import joint

Array = NDArray[np.float64]
CACHE = Path("build/fusion")
#: As `vision.parts.fuse.FLOOR`: no substrate is ever ruled out.
FLOOR = 1e-4


@dataclass(frozen=True, eq=False)
class Evidence:
    """What n panels' verdicts hold, by classifiers that never saw their authors.

    `prior`, `substrate` (n, 16): substrate distributions before and after; `face` (n, 6), `core` (n, 4): the verdict's margins;
    `view` (n,): likeliest view, index; `visible` (n,): chance that the core shows; `face_set` (n, 6), `core_set` (n, 4) bool;
    `decided` (n,) bool.
    """

    prior: Array
    substrate: Array
    face: Array
    core: Array
    view: NDArray[np.intp]
    visible: Array
    face_set: NDArray[np.bool_]
    core_set: NDArray[np.bool_]
    decided: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.visible)

    def rows(self, which: NDArray[Any]) -> Evidence:
        """Some of the panels."""
        return Evidence(**{f.name: getattr(self, f.name)[which] for f in fields(self)})

    @property
    def log(self) -> Array:
        """(n, 16) log evidence: log posterior - log prior, floored as the program floors it, centred."""
        found = floored(self.substrate) - floored(self.prior)
        return np.asarray(found - found.mean(axis=1, keepdims=True))


def floored(p: Array) -> Array:
    """(n, 16) log probabilities with the floor that fusing uses."""
    kept = np.maximum(p, FLOOR)
    return np.asarray(np.log(kept / kept.sum(axis=-1, keepdims=True)))


def prior_of(m: Fitted) -> Array:
    """(16,) substrate distribution that a fitted classifier starts from."""
    log = joint.joint_log(np.log(m.priors["face"]), joint.log_table(m.core_table), np.zeros(6), np.zeros(4))
    return joint.substrates(log)


def said(m: Fitted, table: Table, config: Config) -> Evidence:
    """What a fitted classifier makes of the rows of a table."""
    answers = m.answers(table, config)
    held = verdicts(m, answers, table, config)
    prior = np.tile(prior_of(m), (len(table), 1))
    return Evidence(prior, answers.substrate, answers.face, answers.core, answers.view.argmax(axis=1), answers.visible,
                    held.face_set, held.core_set, held.decided)


def _fold(
    job: tuple[Table, Table | None, Config, NDArray[np.bool_], NDArray[np.bool_] | None],
) -> tuple[Evidence, Evidence | None]:
    real, rendered, config, test, other = job
    seen = None if rendered is None or other is None else rendered.rows(~other)
    m = fit(real.rows(~test), seen, config)
    theirs = None if rendered is None or other is None else said(m, rendered.rows(other), config)
    return said(m, real.rows(test), config), theirs


def _merged(parts: list[tuple[NDArray[np.bool_], Evidence]], n: int) -> Evidence:
    out: dict[str, Any] = {}
    for f in fields(Evidence):
        first = getattr(parts[0][1], f.name)
        whole = np.zeros((n, *first.shape[1:]), dtype=first.dtype)
        for mask, part in parts:
            whole[mask] = getattr(part, f.name)
        out[f.name] = whole
    return Evidence(**out)


def evidence_of(real: Table, rendered: Table | None, config: Config, workers: int = 1) -> tuple[Evidence, Evidence | None]:
    """Held-out evidence of all real rows by author and of all rendered rows by piece."""
    tests = list(stacking.author_folds(real.author, real.face, config.outer_folds, config.seed + 1))
    others: list[NDArray[np.bool_] | None] = [None] * len(tests)
    if rendered is not None:
        others = list(stacking.author_folds(rendered.author, rendered.face, config.outer_folds, config.seed + 1))
    with ProcessPoolExecutor(max_workers=workers) as pool:
        found = list(pool.map(_fold, [(real, rendered, config, t, o) for t, o in zip(tests, others, strict=True)]))
    ours = _merged([(t, f[0]) for t, f in zip(tests, found, strict=True)], len(real))
    theirs = None
    if rendered is not None:
        pairs = [(o, f[1]) for o, f in zip(others, found, strict=True) if o is not None and f[1] is not None]
        theirs = _merged(pairs, len(rendered))
    return ours, theirs


def _key() -> str:
    found = hashlib.sha256()
    for path in (tables.REAL, tables.RENDERED, CONFIG):
        found.update(path.read_bytes())
    return found.hexdigest()[:16]


def stored_evidence(cache: Path = CACHE, workers: int = 1) -> tuple[Table, Evidence, Table, Evidence]:
    """(real table, its held-out evidence, rendered table, its held-out evidence), fitted once and kept in `cache`.

    Raises
    ------
    ValueError
        if no rendered table is stored.
    """
    path = cache / f"evidence.{_key()}.npz"
    # What was kept stays true of these tables, also while the program's features move on.
    real, rendered = (Table.load(tables.REAL), Table.load(tables.RENDERED)) if path.exists() else load_tables()[:2]
    if rendered is None:
        raise ValueError("no rendered table is stored")
    if not path.exists():
        ours, theirs = evidence_of(real, rendered, load_config(), workers)
        assert theirs is not None
        cache.mkdir(parents=True, exist_ok=True)
        arrays: dict[str, Any] = {f"{name}_{f.name}": getattr(e, f.name)
                                  for name, e in (("real", ours), ("rendered", theirs)) for f in fields(Evidence)}
        part = path.with_suffix(".part")
        with part.open("wb") as stream:
            np.savez(stream, **arrays)
        part.replace(path)
    with np.load(path, allow_pickle=False) as d:
        ours, theirs = (Evidence(**{f.name: d[f"{name}_{f.name}"] for f in fields(Evidence)}) for name in ("real", "rendered"))
    return real, ours, rendered, theirs
