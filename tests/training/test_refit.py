"""The shipped model is what the committed tables and settings give, and its files answer as the fitted classifier does."""

from dataclasses import replace

import numpy as np
import pytest

from training import pack
from training.config_file import load_config
from training.fit import fit, numbers
from training.tables import Table, crops
from training.teach import basis_of, load_tables
from vision.inference import load_model
from vision.inference.located import SHARES
from vision.looks import LOOKS


@pytest.fixture(scope="module")
def taught():
    config = load_config()
    real, rendered, projection = load_tables()
    return config, real, rendered, projection, fit(real, rendered, config)


def looks_behind(table: Table, projection, row: int):
    """Looks whose projection is the stored one: the least change from the mean look."""
    out = {}
    for i, crop in enumerate(crops()):
        back = np.linalg.pinv(projection.basis[i].astype(np.float64))
        z = table.looks[row, i].astype(np.float64)
        out[crop] = (projection.mean[i] + projection.scale[i] * (z @ back)).astype(np.float32)
    return out


def judged(model, table, projection, rows):
    found = []
    for r in rows:
        values = {str(n): float(v) for n, v in zip(table.names, table.values[r], strict=True)}
        j = model.judge(values, looks_behind(table, projection, r))
        found.append([*j.face.values(), *j.core.values(), *j.view.values(), j.core_visible])
    return np.array(found)


def test_teaching_again_gives_the_shipped_model(taught, tmp_path):
    config, real, rendered, projection, fitted = taught
    pack.write(tmp_path, fitted, projection, config, real, basis_of(rendered, config))
    rows = range(0, len(real), 9)
    shipped = judged(load_model(), real, projection, rows)
    again = judged(load_model(tmp_path), real, projection, rows)
    assert np.abs(shipped - again).max() <= 1e-3


def test_files_answer_as_the_fitted_classifier(taught, tmp_path):
    config, real, rendered, projection, fitted = taught
    pack.write(tmp_path, fitted, projection, config, real, basis_of(rendered, config))
    rows = np.arange(0, len(real), 25)
    model = load_model(tmp_path)
    # The files allow for panels that had no part in the projection: they call a panel so much less unlike.
    a = replace(fitted, directions=fitted.directions / config.distance_unseen).answers(real.rows(rows), config)
    ours = np.hstack([a.face, a.core, a.view, a.visible[:, None]])
    assert np.abs(judged(model, real, projection, rows) - ours).max() < 5e-4


def test_looks_are_in_the_order_of_the_program():
    assert crops() == LOOKS


def test_every_feature_is_read_by_one_expert(taught):
    config, real, *_ = taught
    read = sum(numbers(real, s).shape[1] for s in config.experts if not s.crops)
    assert read + sum(len(SHARES[kind]) for kind in config.located) == len(real.names)
    assert {s.kind for s in config.experts} <= set(load_model().tables["kinds"].values())


def test_tables_hold_no_names_and_stay_small():
    from training.tables import FOLDER

    assert sum(p.stat().st_size for p in FOLDER.glob("*.npz")) < 8_000_000
    real, *_ = load_tables()
    for column in (real.author, real.specimen, real.photo):
        assert all(len(v) == 10 and set(v) <= set("0123456789abcdef") for v in column.tolist())
