"""Pictures that are no wood at all share no figure."""

from __future__ import annotations

import numpy as np
from skimage import data

from training.trap_scenes import alarms, sheet


def test_library_textures_do_not_repeat():
    names = ("brick", "grass", "gravel", "coffee", "chelsea")
    pictures = [np.asarray(getattr(data, n)()) for n in names]
    colour = [np.dstack([p] * 3) if p.ndim == 2 else p for p in pictures]
    sheets = [sheet(np.ascontiguousarray(p), f"photo {k}", n) for k, (n, p) in enumerate(zip(names, colour, strict=True))]
    assert [r for r in alarms(sheets) if not r.within] == []
