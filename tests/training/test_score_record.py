"""Stored figures of score runs come back as they went in."""

import json

from training import score_record


def test_figures_and_texts_survive_the_store(tmp_path, monkeypatch):
    monkeypatch.setattr(score_record, "STORE", tmp_path / "scores.json")
    assert list(score_record.section()) == ["No run of the score script is stored."]
    run = tmp_path / "run.json"
    run.write_text(json.dumps({"unanswered": 1, "figures": {"view: balanced": 0.61234, "AUC": None},
                               "intervals": {"view: balanced": [0.5, 0.7]},
                               "panels": [{"group": "a"}, {"group": "a"}, {"group": "b"}]}))
    text = tmp_path / "finding.txt"
    text.write_text("inside one panel 0.7\n")
    score_record.record({"held_out": run})
    score_record.record({"finding": text})
    lines = "\n".join(score_record.section())
    assert "| view: balanced | 0.612 | [0.50, 0.70] |" in lines and "| AUC | - |  |" in lines
    assert "3 panels of 2 specimens, 1 unanswered" in lines
    assert "inside one panel 0.7" in "\n".join(score_record.printed())
