"""Probabilities do not depend on the machine: the sample photos, outlines given, against figures kept in the repository.

`python -m tests.vision.test_same_everywhere` writes the figures anew after the model or a measurement changed on purpose.
"""

import json
from pathlib import Path

import pytest

from vision.assess import assess
from vision.inference import load_model
from vision.intake import load_photo

ROOT = Path(__file__).resolve().parents[2]
KEPT = Path(__file__).with_name("probabilities.json")
PHOTOS = ("quarry_lane_chest_1.jpg", "quarry_lane_table_3.jpg")


def measured() -> dict[str, dict[str, dict[str, float]]]:
    """File -> "<panel> <question>" -> class -> probability, for the six largest outlines of the truth."""
    truth = {p["file"]: p for p in json.loads((ROOT / "sample_images" / "truth.json").read_text())["photos"]}
    model, out = load_model(), {}
    for file in PHOTOS:
        photo = load_photo(ROOT / "sample_images" / file, "p1")
        panels = sorted(truth[file]["panels"], key=lambda p: -_area(p["outline"]))[:6]
        outlines = [(str(p["id"]), [tuple(q) for q in p["outline"]]) for p in panels]
        found = assess([photo], outlines={"p1": outlines}, model=model).photos[0].panels
        out[file] = {}
        for r in found:
            for name, d in (("face", r.verdict.face), ("core", r.verdict.core), ("view", r.view_probabilities)):
                out[file][f"{r.panel.id} {name}"] = {k: round(float(v), 5) for k, v in d.items()}
    return out


def _area(points) -> float:
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, points[1:] + points[:1], strict=True))) / 2


def test_probabilities_agree_within_a_thousandth():
    kept, now = json.loads(KEPT.read_text()), measured()
    assert kept.keys() == now.keys()
    for file, panels in kept.items():
        assert panels.keys() == now[file].keys()
        for name, values in panels.items():
            assert now[file][name] == pytest.approx(values, abs=1e-3), (file, name)


if __name__ == "__main__":
    KEPT.write_text(json.dumps(measured(), indent=1) + "\n", encoding="utf-8")
