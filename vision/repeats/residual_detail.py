"""Detail left to differ between two registered showings once their drift is taken out.

Two pictures of one print differ by noise, blur and compression alone, and these know nothing of the grain: what does not
agree is as strong in every direction of the spectrum. What is new in a neighbouring leaf is figure too, and lies as figure
lies, strongest across the grain. So within each ring of the spectrum the power that does not agree is compared with the
power of the pictures, direction by direction: the excess in strong directions over quiet ones is renewed figure, with each
pair's own noise taken out. Where noise covers everything, strong and quiet directions are alike and nothing is said.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float32]
Wide = NDArray[np.float64]

#: Rings of the spectrum, periods in px of the frame; what is slower than `SLOWEST` (Gaussian sigma, px) is left out.
RINGS: Final = {"p5": (4.0, 6.5), "p8": (6.5, 10.5), "p13": (10.5, 17.0), "p22": (17.0, 28.0)}
SLOWEST = 10.0
#: Directions a ring is cut into (half a turn); the strongest of them that count as figure, the quietest as noise.
SECTORS, STRONG, QUIET = 16, 4, 6
#: Differences under this share of a ring's power are what resampling leaves, and count as noise.
LEAST_APART = 1e-3

_PLACE = "at periods of {:g} to {:g} px of the frame"
MEASURED: Final = {
    **{f"renewed_{k}": f"Share of the figure {_PLACE.format(*v)} that is not the same, noise and drift taken out."
       for k, v in RINGS.items()},
    **{f"figured_{k}": f"How far what differs {_PLACE.format(*v)} lies as the figure does: 0 as noise, 1 as figure."
       for k, v in RINGS.items()},
}


def measure_detail(first: Map, second: Map, where: NDArray[np.bool_], field: Map) -> dict[str, float]:
    """Values over MEASURED of two registered (h, w) float32 pictures inside `where` (bool).

    field : (h, w, 2) drift, px (x, y): second(p + field) shows first(p).
    """
    h, w = where.shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    moved = cv2.remap(second, x + field[..., 0], y + field[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101)
    return renewal(first, np.asarray(moved, np.float32), where)


def renewal(first: Map, second: Map, where: NDArray[np.bool_]) -> dict[str, float]:
    """The values renewed_ and figured_ of every ring, of two (h, w) float32 pictures inside `where`."""
    ys, xs = np.nonzero(where)
    box = np.s_[int(ys.min()) : int(ys.max()) + 1, int(xs.min()) : int(xs.max()) + 1]
    inside = np.pad(where[box].astype(np.float32), 1)
    taper = cv2.GaussianBlur(cv2.erode(inside, np.ones((9, 9), np.uint8))[1:-1, 1:-1], (0, 0), 3.0)
    h, w = (cv2.getOptimalDFTSize(v) for v in taper.shape)
    waves = []
    for image in (first, second):
        part = image[box]
        waves.append(np.fft.rfft2((part - cv2.GaussianBlur(part, (0, 0), SLOWEST)) * taper, s=(h, w)))
    fy, fx = np.fft.fftfreq(h)[:, None], np.fft.rfftfreq(w)[None]
    f = np.hypot(fx, fy)
    near = (f >= 1 / max(b for _, b in RINGS.values())) & (f < 1 / min(a for a, _ in RINGS.values()))
    f, sector = f[near], ((np.arctan2(fy, fx)[near] / np.pi + 0.5) * SECTORS).astype(int) % SECTORS
    a, b = (v[near] for v in waves)
    cross, one, two = (a * b.conj()).real, np.abs(a) ** 2, np.abs(b) ** 2
    out: dict[str, float] = {}
    for name, (short, long) in RINGS.items():
        ring = (f >= 1 / long) & (f < 1 / short)
        count = np.bincount(sector[ring], minlength=SECTORS)
        sums = [np.bincount(sector[ring], v[ring], SECTORS) for v in (cross, one, two)]
        met = count >= 2
        c, p, q = (s[met] / count[met] for s in sums)
        out.update({f"{k}_{name}": v for k, v in _ring(c, p, q).items()})
    return out


def _ring(cross: Wide, one: Wide, two: Wide) -> dict[str, float]:
    """renewed and figured of mean cross power and the two mean powers by direction."""
    if len(cross) < STRONG + QUIET or min(one.sum(), two.sum()) < 1e-9:
        return {"renewed": 0.0, "figured": 0.0}
    ratio = np.sqrt(one.sum() / two.sum())  # the pictures' contrast may differ
    p, q, c = one, two * ratio**2, cross * ratio
    power = np.maximum((p + q) / 2, 1e-12)
    apart = np.maximum(power - c, 0.0) + LEAST_APART * float(power.mean())
    order = np.argsort(-power)
    strong, quiet = order[:STRONG], order[-QUIET:]
    over = float(power[strong].mean() - power[quiet].mean())
    share = float(apart[strong].mean() - apart[quiet].mean()) / max(over, 0.05 * float(power.mean()))
    x, y = np.log(power), np.log(apart)
    x = x - x.mean()
    return {"renewed": float(np.clip(share, -0.2, 1.0)), "figured": float(x @ (y - y.mean()) / (x @ x + 0.05 * len(x)))}

