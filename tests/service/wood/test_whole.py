"""The weight of a whole piece: one board is the same as a part, known boards drop out, and it promises what it keeps."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from service.cli import app
from service.wood.weigh import Weighed, makes, weigh
from service.wood.whole import Boards, Whole, boards_of, weigh_whole
from vision.errors import UsageError

SIDE = (1000.0, 500.0, 18.0)


def by_core(piece, wood=None):
    return {e.core: e for e in weigh_whole(piece, wood)}


def test_one_board_is_weighed_as_a_part_is():
    part = {e.core: e for e in weigh(Weighed(5.9, *SIDE, mass_error=0.1, wood="cherry"))}
    whole = by_core(Whole(5.9, (Boards(SIDE),), mass_error=0.1), "cherry")
    for core, e in part.items():
        assert whole[core].mass == pytest.approx(e.mass, rel=1e-6)
        assert whole[core].low == pytest.approx(e.low, rel=0.02) and whole[core].high == pytest.approx(e.high, rel=0.02)


def test_panels_of_one_make_add_up():
    """1000 x 500 x 18 mm of particle board is 5.9 kg, of MDF 6.7 (computed from data sheet densities): four of them."""
    found = by_core(Whole(24.0, (Boards(SIDE, 4),)))
    assert found["particle_board"].mass == pytest.approx(4 * 5.9, abs=0.4)
    assert found["fibreboard"].mass == pytest.approx(4 * 6.75, abs=0.6)


def test_known_boards_and_the_rest_drop_out():
    back = Boards((1000.0, 800.0, 3.0), 1, "fibreboard")
    plain, more = by_core(Whole(24.0, (Boards(SIDE, 4),))), by_core(Whole(28.0, (Boards(SIDE, 4), back), rest=1.0))
    extra = more["plywood"].mass - plain["plywood"].mass
    assert extra == pytest.approx(1.0 + 2.4e-3 * 870, abs=0.25)


def test_pine_is_told_from_board_over_a_whole_piece():
    pine = by_core(Whole(4 * 4.0, (Boards(SIDE, 4),)), "ponderosa pine")
    assert pine["lumber"].likelihood == 1 and pine["fibreboard"].likelihood < 0.01


def test_nine_in_ten_lie_within():
    """By simulation: pieces of one make each, on a scale and a rule that err."""
    rng = np.random.default_rng(5)
    rows = tuple(makes("particle_board", 18.0, None, None))
    piece = Whole(24.0, (Boards(SIDE, 4),), mass_error=0.5, size_error=1.0)
    expected = by_core(piece)["particle_board"]
    hits = 0
    for _ in range(4000):
        make = rows[rng.choice(len(rows), p=np.array([m.share for m in rows]))]
        sizes = np.array(SIDE) + rng.normal(0, 1 / 1.645, 3)
        mass = rng.normal(make.density, make.deviation) * np.prod(sizes) * 4e-9 + rng.normal(0, 0.5 / 1.645)
        hits += expected.low <= mass <= expected.high
    assert 0.87 < hits / 4000 < 0.93


def test_boards_as_they_are_written_and_what_is_refused():
    assert boards_of("1200x500x18mm*2, plywood") == Boards((1200, 500, 18), 2, "plywood")
    for bad in ({"mass": 0.0}, {"mass": 5.0, "rest": 6.0}, {"mass": 5.0, "mass_error": -1.0}):
        with pytest.raises(UsageError):
            Whole(**{"boards": (Boards(SIDE),), **bad})
    with pytest.raises(UsageError, match="nothing is left to ask"):
        Whole(5.0, (Boards(SIDE, 1, "plywood"),))


def test_the_command_takes_a_part_or_a_whole_and_not_both():
    boards = ["--board", "1000x500x18mm*4", "--board", "1000x800x3mm, fibreboard"]
    done = CliRunner().invoke(app, ["weigh", "24kg", *boards, "--json"])
    found = json.loads(done.output)
    assert found["piece"]["boards"][1]["core"] == "fibreboard" and len(found["cores"]) == 4
    text = CliRunner().invoke(app, ["weigh", "24kg", "--board", "1000x500x18mm*4"]).output
    assert "4 boards in question" in text and "of one make" in text
    for words in (["weigh", "24kg"], ["weigh", "24kg", "1000x500x18mm", "--board", "1x1x1mm"]):
        assert CliRunner().invoke(app, words).exit_code != 0
