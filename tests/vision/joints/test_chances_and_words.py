"""Chances add up and refuse what does not fit; words never say more than the find supports."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision import registry
from vision.joints.chances import Net, parse
from vision.joints.finds import Gap, JointReading, Pair, Relief, RoundThing, Row, Strokes, Tails
from vision.joints.sides import Slant
from vision.joints.tails import name_of
from vision.joints.words import OUT_OF_REACH, saying

SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 5.0))


def raw() -> dict[str, object]:
    return {"inputs": ["a", "b"], "classes": ["nothing", "there"], "mean": [1.0, 2.0], "scale": [2.0, 1.0],
            "hidden": [[1.0, -1.0, 0.5], [0.2, 0.3, -0.4]], "hidden_bias": [0.1, 0.0, -0.2],
            "out": [[0.0, 1.5], [0.0, -0.5], [0.0, 2.0]], "bias": [0.0, -0.3], "temperature": 1.5}


def test_chances_follow_the_formula() -> None:
    """Closed form: one hidden layer of rectified units, softmax over temperature."""
    net = parse(raw())
    a, b = (3.0 - 1.0) / 2.0, (1.0 - 2.0) / 1.0
    hidden = np.maximum([a + 0.2 * b + 0.1, -a + 0.3 * b, 0.5 * a - 0.4 * b - 0.2], 0)
    score = (hidden @ [1.5, -0.5, 2.0] - 0.3) / 1.5
    p = net.chances([{"a": 3.0, "b": 1.0}])
    assert p[0, 1] == pytest.approx(1 / (1 + math.exp(-score)))
    assert p.sum() == pytest.approx(1)


def test_what_was_not_measured_counts_as_the_mean() -> None:
    net = parse(raw())
    assert np.allclose(net.chances([{"a": math.nan, "b": math.inf}]), net.chances([{"a": 1.0, "b": 2.0}]))
    assert net.chances([]).shape == (0, 2)


@pytest.mark.parametrize("key", ["mean", "hidden", "out", "bias"])
def test_nets_whose_shapes_do_not_fit_are_refused(key: str) -> None:
    bad = raw()
    bad[key] = bad[key][:-1]  # type: ignore[index]
    with pytest.raises(ValueError):
        parse(bad)


def tails(name: str = "dovetail", made: str = "hand") -> Tails:
    return Tails(SQUARE, "left", name, 4, 3, 41.0, 0.4, 0.08, 8.3, 0.5, 22.0, made, 0.9, 0.95, ())


def round_thing(name: str) -> RoundThing:
    return RoundThing(5, 6, 4.0, 0.2, name, 0.8, (0.1,) * 7)


FINDS = [tails(), tails("fingers", "machine"), tails("cannot_tell", "cannot_tell"),
         *(round_thing(n) for n in ("hole", "cam", "cap", "screw", "dowel", "nail", "knob")),
         Row("row", ((0, 0), (32, 0), (64, 0), (96, 0)), 32.0, 0.2, 5.0, 0.9),
         Row("grid", ((0, 0), (25, 0)), 25.0, 0.2, 5.0, 0.9),
         Pair(((0, 0), (96, 0)), 96.0, 0.2, 0.01, 0.7, 96.0, 96.0), Strokes((SQUARE[:2],) * 3, 10.0, 30.0, 0.7),
         Gap(((0, 0), (0, 90)), 0.0, 4.0, 0.4, 0.8), Relief(SQUARE, 0.0, 0.9)]


@pytest.mark.parametrize("find", FINDS)
def test_every_find_says_what_it_means_and_what_it_does_not(find: Tails) -> None:
    s = saying(find)
    assert s.seen and s.means and s.limits and s.speaks_for
    assert set(s.cores) <= set(registry.CORES)
    assert "nan" not in s.seen and "decisive" not in s.means
    assert s.strength in ("nothing", "weak", "moderate") and (s.strength != "nothing" or not s.cores)


def test_dovetails_speak_only_for_the_side_they_are_in() -> None:
    s = saying(tails())
    assert "only for the drawer side they are cut in" in s.limits and set(s.cores) == {"lumber", "plywood"}


def test_backs_and_bottoms_are_said_to_be_out_of_reach() -> None:
    assert any("rabbet" in line for line in OUT_OF_REACH)
    assert any("drawer bottom" in line and "raw edge" in line for line in OUT_OF_REACH)


def test_a_perforated_back_says_nothing_of_the_front() -> None:
    s = saying(FINDS[11])
    assert s.speaks_for == "the back panel" and "front" in s.limits


def test_millimetres_only_where_a_scale_is_known() -> None:
    assert "mm" not in saying(tails()).seen
    assert "mm" in saying(FINDS[12]).seen


def test_names_need_an_angle_beyond_its_error() -> None:
    assert name_of(Slant(8.0, 0.5, 1.0, 0.0)) == "dovetail"
    assert name_of(Slant(0.4, 0.5, 1.0, 0.0)) == "fingers"
    assert name_of(Slant(5.0, 3.0, 4.0, 0.0)) == "cannot_tell"
    assert name_of(Slant(-9.0, 0.5, 1.0, 0.0)) == "cannot_tell"  # tails that narrow are no dovetails
    assert name_of(None) == "cannot_tell"


def test_unknown_names_are_refused() -> None:
    with pytest.raises(ValueError):
        tails("mortise")
    with pytest.raises(ValueError):
        round_thing("rivet")


def test_a_reading_lists_all_its_finds() -> None:
    r = JointReading(tails=(tails(),), rounds=(round_thing("cam"),))
    assert len(r.finds) == 2
    assert isinstance(parse(raw()), Net)
