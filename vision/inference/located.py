"""Evidence of things seen and located - figure that recurs - as likelihoods of the face classes.

A detector says how much likelier its measurements are if a thing is there than if it is not (the likelihood ratio, one
feature a hypothesis, log; 0 where nothing was found). How often each face shows the thing is not measured anywhere: the
shares below are common practice, no source, and deliberately cautious. With share s and ratio r,

    p(measurements | face) / p(measurements | nothing there) = 1 + sum over hypotheses of s * (r - 1),

so nothing found says exactly nothing (a missing repeat proves nothing), and the strongest find says no more than the
shares allow: reconstituted veneer repeats as prints do. Leaf layouts are not here: tried the same way on real photos they moved
nothing (docs/accuracy.md), so they weigh what the classifier learns of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.inference.joint import FACES

Array = NDArray[np.float64]
#: No log ratio is believed beyond this: the detectors were tried on a few hundred independent negatives, not on more.
MOST_NATS: Final = float(np.log(300.0))

#: Finding kind -> feature (log ratio of one hypothesis) -> share of panels of each face that show it to a photo.
SHARES: Final[Mapping[str, Mapping[str, Mapping[str, float]]]] = MappingProxyType({
    "figure_repeat": MappingProxyType({
        "repeat_log_copy": {"printed": 0.25, "veneer": 0.004, "solid_wood": 0.0005, "opaque": 0.01, "not_wood": 0.03},
        "repeat_log_slip": {"veneer": 0.08, "printed": 0.02, "solid_wood": 0.001},
        "repeat_log_book": {"veneer": 0.10, "printed": 0.01, "solid_wood": 0.004},
        "repeat_log_rotary": {"veneer": 0.03, "printed": 0.005},
    }),
})


def face_terms(values: Mapping[str, float] | Mapping[str, Array]) -> dict[str, Array]:
    """Kind -> (..., 6) log-likelihood terms (nats) of the faces, from feature values (numbers or arrays of one shape).

    Features that are absent, nan or not positive speak for nothing and add nothing; terms are centred over the faces.
    """
    out: dict[str, Array] = {}
    for kind, hypotheses in SHARES.items():
        known = [np.asarray(values[name], dtype=np.float64) for name in hypotheses if name in values]
        if not known:
            continue
        ratio = np.ones((*known[0].shape, len(FACES)))
        for name, share in hypotheses.items():
            if name not in values:
                continue
            nats = np.clip(np.nan_to_num(np.asarray(values[name], dtype=np.float64), nan=0.0), 0.0, MOST_NATS)
            ratio += np.expm1(nats)[..., None] * np.array([share.get(f, 0.0) for f in FACES])
        terms = np.log(ratio)
        out[kind] = terms - terms.mean(axis=-1, keepdims=True)
    return out
