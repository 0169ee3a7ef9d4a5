"""Weight: what it tells and what not; the masses of one panel size in every material are computed from published densities."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.wood.weigh import Weighed, makes, outside, told_against, weigh
from vision.errors import UsageError
from vision.registry import CORES

PANEL = Weighed(mass=5.9, length=1000, width=500, thickness=18)


def by_core(part):
    return {e.core: e for e in weigh(part)}


def test_masses_of_one_panel():
    """1000 x 500 x 18 mm, computed from Wood Handbook and data sheet densities at 12 %: pine 4.0 kg, cherry 5.0, particle board
    5.9, birch plywood 6.2, red oak 6.4 (trade-page density: 6.2), fibreboard 6.7 (its sheet: 6.8)."""
    dry = replace(PANEL, moisture=12.0)
    for wood, mass in (("ponderosa pine", 4.0), ("cherry", 5.0), ("red oak", 6.25)):
        assert by_core(replace(dry, wood=wood))["lumber"].mass == pytest.approx(mass, abs=0.1)
    found = by_core(dry)
    assert found["particle_board"].mass == pytest.approx(5.9, abs=0.1)
    assert found["fibreboard"].mass == pytest.approx(6.75, abs=0.15)
    (birch,) = (m for m in makes("plywood", 18, None, None) if m.name == "birch throughout")
    assert birch.density * PANEL.volume == pytest.approx(6.2, abs=0.1)


def test_heavy_does_not_mean_solid():
    """A particle-board panel outweighs the same panel of pine."""
    found = by_core(replace(PANEL, wood="ponderosa pine"))
    assert found["particle_board"].mass > found["lumber"].high
    assert "lumber" in told_against(weigh(replace(PANEL, wood="ponderosa pine", mass=5.9)))


def test_weight_alone_tells_little_without_a_wood():
    """With the wood unknown, particle board's mass leaves lumber in play."""
    assert "lumber" not in told_against(weigh(PANEL))


def test_oak_and_boards_cannot_be_told_apart():
    found = told_against(weigh(replace(PANEL, wood="oak", mass=6.2)))
    assert "lumber" not in found and "fibreboard" not in found


def test_pine_is_told_from_boards_where_wood_and_thickness_are_known():
    assert {"particle_board", "fibreboard"} <= set(told_against(weigh(replace(PANEL, wood="ponderosa pine", mass=3.95))))


@settings(max_examples=40, deadline=None)
@given(st.floats(0.5, 3.0))
def test_a_worse_scale_tells_less(error):
    good, bad = (by_core(replace(PANEL, mass=4.0, mass_error=e)) for e in (0.1, error))
    assert bad["fibreboard"].likelihood >= good["fibreboard"].likelihood - 1e-9


@settings(max_examples=40, deadline=None)
@given(st.floats(2.0, 8.0), st.floats(0.0, 1.0))
def test_fittings_are_taken_off(mass, fittings):
    plain = by_core(replace(PANEL, mass=mass, mass_error=0.0))
    with_them = by_core(replace(PANEL, mass=mass + fittings, mass_error=0.0, fittings=fittings))
    for core in CORES:
        assert with_them[core].likelihood == pytest.approx(plain[core].likelihood, rel=1e-6)
        assert with_them[core].mass == pytest.approx(plain[core].mass + fittings)


def test_nine_in_ten_lie_within_the_range_stated():
    """Made parts: densities drawn from the mixture of each core, weighed without error."""
    rng = np.random.default_rng(0)
    quiet = replace(PANEL, mass_error=0.0, size_error=0.0)
    for core in CORES:
        mixture = list(makes(core, 18, None, None))
        which = rng.choice(len(mixture), 4000, p=[m.share for m in mixture])
        drawn = np.array([rng.normal(mixture[k].density, mixture[k].deviation) for k in which]) * quiet.volume
        expected = by_core(quiet)[core]
        assert np.mean((drawn >= expected.low) & (drawn <= expected.high)) == pytest.approx(0.9, abs=0.03)


def test_what_fits_nothing_is_said_to_fit_nothing():
    assert outside(replace(PANEL, mass=20.0), weigh(replace(PANEL, mass=20.0)))
    assert not outside(PANEL, weigh(PANEL))


@pytest.mark.parametrize("wrong", [{"mass": 0}, {"thickness": -1}, {"mass": float("nan")}, {"fittings": 6.0}, {"moisture": 80},
                                   {"mass_error": -1}, {"wood": "plastic"}])
def test_bad_input_is_refused(wrong):
    with pytest.raises(UsageError):
        weigh(replace(PANEL, **wrong))
