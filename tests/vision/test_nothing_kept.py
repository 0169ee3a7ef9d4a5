"""What was measured of a photo goes when its assessment goes: rooms remember by weak references and must not hold each other."""

import gc

import numpy as np

from vision.assess import assess
from vision.types import GrainField, Photo, WorkingView


def alive():
    gc.collect()
    return {id(o) for o in gc.get_objects() if isinstance(o, WorkingView | GrainField)}


def stripes(seed):
    rng = np.random.default_rng(seed)
    rows = np.repeat(rng.normal(0, 18, (240, 1)), 320, axis=1) + rng.normal(0, 3, (240, 320))
    return np.clip(np.dstack([170 + rows, 130 + rows, 90 + rows]), 0, 255).astype(np.uint8)


def test_views_and_fields_go_with_the_assessment():
    outlines = {"p": [("a", ((10.0, 10.0), (300.0, 10.0), (300.0, 150.0), (10.0, 150.0))),
                      ("b", ((10.0, 160.0), (300.0, 160.0), (300.0, 230.0), (10.0, 230.0)))]}
    before = alive()
    found = assess([Photo("p", "made.png", "", stripes(1))], outlines=outlines, details=False)
    assert len(found.photos[0].panels) == 2
    during = len(alive() - before)
    del found
    assert not alive() - before, f"{during} views and fields were made"
