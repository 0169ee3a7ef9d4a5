"""Honest figures: every author's panels are judged by a classifier that was taught, weighted and calibrated without them."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, replace
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training import conformal, stacking
from training.config_file import Config
from training.experts import Expert
from training.figures import Scored
from training.fit import Answers, Fitted, fit
from training.tables import Table
from vision.inference.decide import NARROW
from vision.inference.joint import CORES, FACES
from vision.inference.model import TARGETS

Memo = dict[tuple[str, str], tuple[Expert, NDArray[np.float64]]]


@dataclass(frozen=True, eq=False)
class HeldOut:
    """Answers to all rows of a table by classifiers that never saw their authors (or pieces), and what was decided."""

    answers: Answers
    face_set: NDArray[np.bool_]
    core_set: NDArray[np.bool_]
    decided: NDArray[np.bool_]

    def scored(self, table: Table) -> Scored:
        """Beside the truth, ready for figures."""
        a = self.answers
        return Scored(table.author, table.specimen, table.face, table.core, table.view, a.face, a.core, a.visible,
                      a.view.argmax(axis=1), self.face_set, self.decided)


def verdicts(fitted: Fitted, a: Answers, table: Table, config: Config) -> HeldOut:
    """Sets and decisions, as `vision.inference.Model.verdict` makes them."""
    face_set = conformal.in_sets(a.face, [fitted.sets["face"][c] for c in FACES])
    core_set = conformal.in_sets(a.core, [fitted.sets["core"][c] for c in CORES])
    narrow_views = [i for i, v in enumerate(TARGETS["view"]) if v in NARROW]
    narrow = np.isin(a.view.argmax(axis=1), narrow_views) & (a.visible >= 0.5)
    by_face = (face_set.sum(axis=1) == 1) & (a.face.max(axis=1) >= fitted.rule.face)
    by_core = (core_set.sum(axis=1) == 1) & (a.core.max(axis=1) >= fitted.rule.core)
    short = [i for i, n in enumerate(table.names) if n == "shape_log_short_px"]
    large = np.exp2(table.values[:, short[0]]) >= config.short_px if short else np.ones(len(table), dtype=bool)
    decided = np.where(narrow, by_core, by_face) & large & (a.unlike <= fitted.rule.unlike)
    return HeldOut(a, face_set, core_set, decided)


def _merge(parts: list[tuple[NDArray[np.bool_], HeldOut]], n: int) -> HeldOut:
    def whole(get: Callable[[HeldOut], NDArray[np.generic]]) -> NDArray[np.generic]:
        first = get(parts[0][1])
        out = np.zeros((n, *first.shape[1:]), dtype=first.dtype)
        for mask, part in parts:
            out[mask] = get(part)
        return out

    answers: dict[str, Any] = {f.name: whole(attrgetter(f"answers.{f.name}")) for f in fields(Answers)}
    sets: dict[str, Any] = {name: whole(attrgetter(name)) for name in ("face_set", "core_set", "decided")}
    return HeldOut(Answers(**answers), **sets)


def _fold(
    job: tuple[Table, Table | None, dict[str, Config], NDArray[np.bool_], NDArray[np.bool_] | None],
) -> dict[str, tuple[HeldOut, HeldOut | None]]:
    real, rendered, configs, test, test_rendered = job
    seen = None if rendered is None or test_rendered is None else rendered.rows(~test_rendered)
    memo: Memo = {}
    out = {}
    for name, config in configs.items():
        fitted = fit(real.rows(~test), seen, config, memo)
        unseen = real.rows(test)
        ours = verdicts(fitted, fitted.answers(unseen, config), unseen, config)
        theirs = None
        if rendered is not None and test_rendered is not None:
            unseen = rendered.rows(test_rendered)
            theirs = verdicts(fitted, fitted.answers(unseen, config), unseen, config)
        out[name] = (ours, theirs)
    return out


def held_out(
    real: Table, rendered: Table | None, configs: dict[str, Config], workers: int = 2
) -> dict[str, tuple[HeldOut, HeldOut | None]]:
    """Answers of each configuration to all real panels by held-out author, and to all rendered ones by held-out piece.

    All configurations share seed, folds and expert settings (they may leave experts out), so that experts are taught once.
    """
    first = next(iter(configs.values()))
    tests = list(stacking.author_folds(real.author, real.face, first.outer_folds, first.seed + 1))
    rendered_tests: list[NDArray[np.bool_]] | list[None] = [None] * len(tests)
    if rendered is not None:
        rendered_tests = list(stacking.author_folds(rendered.author, rendered.face, first.outer_folds, first.seed + 1))
    jobs = [(real, rendered, configs, t, r) for t, r in zip(tests, rendered_tests, strict=True)]
    with ProcessPoolExecutor(max_workers=workers) as pool:
        found = list(pool.map(_fold, jobs))
    out = {}
    for name in configs:
        ours = _merge([(t, f[name][0]) for t, f in zip(tests, found, strict=True)], len(real))
        theirs = None
        if rendered is not None:
            pairs = zip(rendered_tests, found, strict=True)
            theirs = _merge([(t, f[name][1]) for t, f in pairs if t is not None and f[name][1] is not None], len(rendered))  # type: ignore[misc]
        out[name] = (ours, theirs)
    return out


def without(config: Config, *names: str) -> Config:
    """The configuration without some experts."""
    return replace(config, experts=tuple(e for e in config.experts if e.name not in names))


def only(config: Config, *names: str) -> Config:
    """The configuration with some experts alone."""
    return replace(config, experts=tuple(e for e in config.experts if e.name in names))
