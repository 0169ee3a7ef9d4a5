"""Facts beside the tables: rows found again, photo types by size, nothing where they belong to other rows."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.training import accuracy_made as made
from training import panel_facts
from training.panel_facts import KINDS, aligned, load_facts, real_facts
from training.real_photos import labelled_panels
from training.tables import short_hash
from vision.inference.model import TARGETS

COLUMNS = "id,file,group,source,polygon,view,face,core,edge,layout,damage,p,trust,evidence,notes"
BIG, SMALL = "0:0 1000:0 1000:500 0:500", "10:10 60:10 60:60 10:60"
ROWS = [
    f"k1,a.png,g1,au,{BIG},face,veneer,plywood,none,none,none,1,visible,rotary figure,",
    f"k2,a.png,g2,au,{SMALL},face,veneer,plywood,none,book,none,1,visible,mirrored leaves,",
    f"k3,a.png,g2,au,{SMALL},face,veneer,plywood,plies,none,none,1,visible,stripes,",
    f"k4,b.png,g3,bu,{SMALL},end,solid_wood,lumber,end_grain,none,none,1,author_stated,post: dovetails,",
]


@pytest.fixture
def collection(tmp_path) -> Path:
    (tmp_path / "img").mkdir()
    for name, size in (("a.png", (1200, 900)), ("b.png", (400, 300))):
        Image.new("RGB", size).save(tmp_path / "img" / name)
    (tmp_path / "panels.csv").write_text("\n".join([COLUMNS, *ROWS]) + "\n")
    return tmp_path


def table_of(rows):
    full = made.table(n=len(rows) * 2).rows(np.arange(len(rows)))
    index = lambda target, value: TARGETS[target].index(value) if value in TARGETS[target] else -1  # noqa: E731
    labels = {t: np.array([index(t, getattr(r, t)) for r in rows], np.int8) for t in ("face", "core", "view")}
    return replace(full, photo=np.array([short_hash(r.path.name) for r in rows]),
                   specimen=np.array([short_hash(r.specimen) for r in rows]), **labels)


def test_facts_of_a_collection(collection):
    rows = labelled_panels(collection)
    found = real_facts(table_of(rows), collection)
    assert list(found.id) == ["k1", "k2", "k3", "k4"]
    assert found.share[0] == pytest.approx(1000 * 500 / (1200 * 900)) and found.side[1] == pytest.approx(50)
    assert list(found.long) == [1200, 1200, 1200, 400] and list(found.faces) == [3, 3, 3, 0]
    assert list(found.plywood) == [True, False, True, False]  # a matched layout is a furniture veneer
    assert [KINDS[k] for k in found.kind] == ["close-up", *["listing thumbnail"] * 3]


def test_rows_left_out_of_the_table_are_passed_over(collection):
    rows = labelled_panels(collection)
    assert [r.id for r in aligned(table_of([rows[0], rows[2]]), rows)] == ["k1", "k2"]  # k2 and k3 look alike to a table
    assert [r.id for r in aligned(table_of(rows[1:]), rows)] == ["k2", "k3", "k4"]
    other = replace(table_of(rows), face=np.zeros(len(rows), np.int8))
    with pytest.raises(ValueError, match="other panels"):
        aligned(other, rows)


def test_facts_of_other_rows_are_not_taken(tmp_path):
    table = made.table()
    at = tmp_path / "facts.npz"
    assert load_facts(table, at) is None
    made.facts(table).save(at)
    kept = load_facts(table, at)
    assert kept is not None and (kept.kind == made.facts(table).kind).all()
    assert load_facts(table.rows(np.arange(len(table) - 1)), at) is None
    assert load_facts(replace(table, photo=table.photo[::-1].copy()), at) is None


def test_the_committed_facts_belong_to_the_committed_tables():
    from training.tables import REAL, Table

    facts = load_facts(Table.load(REAL), panel_facts.FACTS_REAL)
    assert facts is not None and len(np.unique(facts.id)) == len(facts.id) and facts.share.max() <= 1
