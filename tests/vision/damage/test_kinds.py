"""The rule of minor and major."""

from __future__ import annotations

import pytest

from vision.damage.kinds import BEARINGS, KINDS, bearing, level, severity


@pytest.mark.parametrize("kind", list(KINDS))
def test_more_area_is_never_less_severe(kind: str) -> None:
    for border in (False, True):
        said = [severity(kind, share, border) for share in (0.0005, 0.003, 0.008, 0.015, 0.04, 0.3)]
        assert said == sorted(said, key=("minor", "major").index) and said[-1] == "major"


def test_plan_changing_kinds_are_major_early() -> None:
    assert severity("delaminated_ply", 0.001, False) == "major"
    assert severity("crumbled", 0.005, True) == "major"
    assert severity("water_mark", 0.03, False) == "minor"
    assert severity("crack", 0.008, True) == "major" and severity("crack", 0.008, False) == "minor"


def test_only_mould_and_insects_are_for_the_hand() -> None:
    assert {k for k, v in KINDS.items() if v.by_hand} == {"mould", "insect_holes"}


def test_share_out_of_range_is_refused() -> None:
    with pytest.raises(ValueError, match="share"):
        severity("chip", 1.2, False)


@pytest.mark.parametrize("kind", list(KINDS))
def test_levels_rise_with_area_and_major_is_high(kind: str) -> None:
    shares = (0.0001, 0.0005, 0.003, 0.008, 0.015, 0.04, 0.3)
    said = [level(kind, share, severity(kind, share, False)) for share in shares]
    assert said == sorted(said, key=("low", "medium", "high").index) and said[-1] == "high"


def test_a_core_in_sight_outweighs_what_the_kind_means() -> None:
    assert bearing("chip", None) == "face_missing" and bearing("worn_through", "same_wood") == "nearly_through"
    assert {bearing(k, "particles") for k in KINDS} == {"shows_core"}
    assert {bearing(k, None) for k in KINDS} < set(BEARINGS)
