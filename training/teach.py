"""Teach the classifier: measure labelled panels (or take the committed tables), fit, write the model and its card."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from training import pack, tables
from training.config_file import Config, load_config
from training.fit import Fitted, fit
from training.measuring import measure_all
from training.real_photos import Labelled, labelled_panels
from training.tables import Projection, Table

MODELS = Path(str(files("vision").joinpath("models")))


def tell(text: str) -> None:
    """Progress, on stderr."""
    print(text, file=sys.stderr, flush=True)


def make_tables(photos: Path, renders: Path | None, cache: Path, config: Config, workers: int = 2) -> None:
    """Measure the panels of a folder of photos (and of rendered scenes) and write the tables.

    The projection of looks is made from the real photos alone, so that renders cannot bend it.
    """
    names, schema = tables.current_schema()
    rows: Sequence[Labelled] = labelled_panels(photos)
    measured = measure_all(rows, cache, workers)
    Projection.fit(measured.looks, config.look_dims).save(tables.PROJECTION)
    projection = Projection.load(tables.PROJECTION)
    tables.build(rows, measured, projection, names, schema).save(tables.REAL)
    tell(f"{len(measured.ids)} real panels in {tables.REAL.name}")
    if renders is not None:
        from training.rendered import rendered_panels

        whole = rendered_panels(renders)
        rows = tables.spread(whole, config.rendered_rows, config.seed)
        measured = measure_all(rows, cache, workers)
        tables.build(rows, measured, projection, names, schema).save(tables.RENDERED)
        tell(f"{len(measured.ids)} of {len(whole)} rendered panels in {tables.RENDERED.name}")


def load_tables() -> tuple[Table, Table | None, Projection]:
    """The tables as stored: real, rendered (None where there is none), projection.

    Raises
    ------
    ValueError
        if they were measured with other features than this program has.
    """
    real = Table.load(tables.REAL)
    rendered = Table.load(tables.RENDERED) if tables.RENDERED.exists() else None
    _, schema = tables.current_schema()
    for table in (real, rendered):
        if table is not None and table.schema != schema:
            raise ValueError(f"the tables hold feature schema {table.schema}, the program has {schema}: measure again")
    return real, rendered, Projection.load(tables.PROJECTION)


def basis_of(rendered: Table | None, config: Config) -> str:
    """What probabilities rest on: weights and calibration always on real photos; 'mixed' where renders taught an expert."""
    return "mixed" if rendered is not None and any(v > 0 for v in config.rendered.values()) else "real"


def teach(folder: Path = MODELS, config: Config | None = None) -> tuple[Fitted, dict[str, Any]]:
    """Fit on the stored tables and write the model into `folder`."""
    config = load_config() if config is None else config
    real, rendered, projection = load_tables()
    tell(f"fitting on {len(real)} real and {0 if rendered is None else len(rendered)} rendered panels")
    fitted = fit(real, rendered, config)
    made = pack.write(folder, fitted, projection, config, real, basis_of(rendered, config))
    tell(f"wrote model {made['id']} to {folder.name}")
    return fitted, made


def teach_folds(folder: Path, config: Config | None = None) -> dict[str, int]:
    """One model a fold of authors, each taught without the authors of its fold, in `folder`/0, 1, ...; returns short photo
    hash -> number of the model that never saw its author."""
    from training.stacking import author_folds

    config = load_config() if config is None else config
    real, rendered, projection = load_tables()
    found: dict[str, int] = {}
    for k, test in enumerate(author_folds(real.author, real.face, config.outer_folds, config.seed + 1)):
        fitted = fit(real.rows(~test), rendered, config)
        pack.write(folder / str(k), fitted, projection, config, real, basis_of(rendered, config))
        found |= {str(p): k for p in np.unique(real.photo[test])}
        tell(f"fold {k}: {int((~test).sum())} panels taught, {int(test.sum())} held out")
    return found
