"""The finding of a repeat: both places, the explanation in words, doubt said where it is."""

import numpy as np
import pytest

from tests.vision.findings.scene import context, straight_grain
from vision.findings.repeats import explanations, repeat_draft, repeat_text
from vision.findings.weigh import Weight
from vision.repeats.repeat import HYPOTHESES, Repeat


def repeat(a=0, b=1, motion="shift", **nats):
    told = {h: nats.get(h, -9.0) for h in HYPOTHESES}
    square = ((10.0, 10.0), (60.0, 10.0), (60.0, 40.0), (10.0, 40.0))
    return Repeat(a, b, np.eye(3), motion, square, square, 23, np.eye(2), 1.0, {}, told)


def test_shares_of_the_explanations_by_hand():
    found = explanations(repeat(exact_copy=np.log(3.0), slip=0.0, book=-50.0, rotary=-50.0))
    assert found[0] == ("exact_copy", pytest.approx(0.75)) and found[1] == ("slip", pytest.approx(0.25))


def test_a_clear_copy_is_said_plainly_and_reconstituted_veneer_is_named():
    text = repeat_text(repeat(exact_copy=5.0))
    assert "on two panels" in text and "23 small features" in text and "dyed blocks" in text
    assert "Not settled" not in text


def test_doubt_names_both_readings():
    assert "Not settled" in repeat_text(repeat(exact_copy=1.0, slip=0.6))


def test_within_a_panel_and_mirrored():
    text = repeat_text(repeat(0, 0, "mirror", book=4.0))
    assert "twice on this panel" in text and "mirrored" in text and "like a book" in text


def test_the_draft_lies_on_both_panels_and_carries_its_weight():
    ctx = context(straight_grain())
    draft = repeat_draft(repeat(exact_copy=5.0), ctx, ctx, Weight("printed", "veneer", 12.0))
    assert draft.kind == "figure_repeat" and len(draft.where) == 2
    assert draft.weight.decibans == 12.0 and "as the surface." in draft.text and "assumed shares" in draft.text
    unweighed = repeat_draft(repeat(exact_copy=5.0), ctx, ctx, None)
    assert unweighed.weight.decibans == 0 and "settles nothing" in unweighed.text
