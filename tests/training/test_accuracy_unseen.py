"""Targets read back from the very lines that the rendered test prints."""

import re

import numpy as np

from training import accuracy_unseen, rendered_scores
from training.rendered_scores_stats import Value


def value(v, low, high, panels=420):
    """A figure of the rendered test, whatever else its record holds."""
    filled = {"value": v, "low": low, "high": high, "panels": panels, "groups": 30}
    return Value(**{name: filled[name] for name in Value.__dataclass_fields__})


FOUND = {
    "coverage": value(0.812, 0.79, 0.83), "decided: balanced accuracy": value(0.88, 0.85, 0.92),
    "ECE opaque": value(0.031, 0.02, 0.06),
    "wood/print AUC: a cue in view": value(0.5, 0.4, 0.6), "decided: right": value(0.9, 0.8, 0.95),
}


def page():
    line = lambda label, name=None: rendered_scores._line(label, name or label, FOUND)  # noqa: E731
    names = ("coverage", "right", "forced", "wood/print", "wrong at p >= 0.9", "left open", "set holds both")
    cells = {k: value(v, 0, 1, 77) for k, v in zip(names, (0.1, 0.2, 0.3, float("nan"), 0.4, 0.95, 0.6), strict=True)}
    table = list(rendered_scores._tables({f"cue none: {k}": v for k, v in cells.items()}))
    return ["Rendered test: 900 panels; model x", "No group taught", line("coverage"), line("decided: right"),
            line("decided: balanced accuracy"), line("wood/print AUC: a cue in view"),
            "Expected calibration error, 10 bins", line("opaque", "ECE opaque") + " [0.010], 30 groups", *table]


def test_every_target_is_read_back():
    found = {one.name: one for one in accuracy_unseen.lines(page())}
    assert set(found) == {"coverage", "decided: balanced accuracy", "wood/print AUC: a cue in view",
                          "calibration error of opaque", "cue none: left open"}
    assert found["coverage"].met and not found["coverage"].doubtful and found["coverage"].asked == "at least 0.70"
    balanced = found["decided: balanced accuracy"]
    assert not balanced.met and balanced.doubtful and balanced.interval == "[0.850, 0.920]" and balanced.panels == 420
    assert not found["wood/print AUC: a cue in view"].met
    assert found["calibration error of opaque"].met and found["calibration error of opaque"].asked == "at most 0.04"
    assert found["cue none: left open"].value == "0.950" and found["cue none: left open"].met


def test_only_a_whole_classifier_counts_and_silence_without_a_record():
    alone = ["Rendered test: 900 panels; model none: the panel net alone", *page()[1:]]
    other = ["something else", *page()[1:]]
    wrapped = [line for output in (other, alone, page()) for line in ("`python -m x`", "", "```", *output, "```", "")]
    assert [o[0] for o in accuracy_unseen.outputs(wrapped)] == [page()[0]]
    text = list(accuracy_unseen.section(wrapped))
    assert "3 of 5 targets are met" in text[0] and sum(bool(re.search(r"\*\*missed\*\*", line)) for line in text) == 2
    assert list(accuracy_unseen.section(["```", *other, "```"])) == []
    assert np.isfinite(FOUND["coverage"].value)
