"""What was looked at by eye is well formed, and no photographer of the reported part is among it where the photos are at hand."""

from __future__ import annotations

import json

from training.hardware.by_eye import FILE
from vision.hardware.kinds import SEEN


def test_entries_have_an_outline_and_known_kinds() -> None:
    entries = json.loads(FILE.read_text(encoding="utf-8"))
    assert len(entries) > 50
    for e in entries:
        assert len(e["outline"]) >= 3 and ("boxes" in e) != ("spots" in e) and "/" not in e["file"]
        for kind, x0, y0, x1, y1 in e.get("boxes", ()):
            assert kind in SEEN and x0 < x1 and y0 < y1
        for kind, x, y in e.get("spots", ()):
            assert kind in (*SEEN, "nothing", "unsure") and min(x, y) >= -1
    said = [kind for e in entries for kind, *_ in e.get("spots", ())]
    assert said.count("nothing") > 30 and len(said) - said.count("nothing") - said.count("unsure") > 30
