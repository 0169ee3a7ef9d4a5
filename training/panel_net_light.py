"""What happens to crops before the panel net sees them: windows, flips, turns, light, blur, compression; all on the device."""

from __future__ import annotations

from typing import Any

import torch  # type: ignore[import-not-found]
import torch.nn.functional as F  # type: ignore[import-not-found]

from vision.looks import SIDE
from vision.panel_net import CROPS

#: Least share of a crop's side that a window keeps, by crop.
LEAST = {"wide": 0.8, "context": 0.75, "panel": 0.6, "native": 0.6}
#: Crops that may be turned by quarter turns: gravity says nothing there.
TURNED = ("panel", "native")


def as_read(crops: Any) -> Any:
    """(n, 4, h, w, 4) uint8 to (n, 4, 4, SIDE, SIDE) float in -1..1, the whole crop."""
    x = crops.permute(0, 1, 4, 2, 3).float()
    n, c = x.shape[:2]
    x = F.interpolate(x.flatten(0, 1), (SIDE, SIDE), mode="bilinear", antialias=True, align_corners=False)
    return normal(x).reshape(n, c, 4, SIDE, SIDE)


def normal(x: Any) -> Any:
    """As the trunk was taught to read colours; the mark alike."""
    return (x - 127.0) / 128.0


def disturbed(crops: Any, generator: Any, strength: float = 1.0) -> Any:
    """(n, 4, h, w, 4) uint8 to (n, 4, 4, SIDE, SIDE): one window, turn and light a crop, one light a panel."""
    n, c = crops.shape[:2]
    device = crops.device

    def rand(*shape: int) -> Any:
        return torch.rand(*shape, generator=generator, device=device)

    x = crops.permute(0, 1, 4, 2, 3).float()
    least = torch.tensor([LEAST[k] for k in CROPS], device=device)[None]
    side = least + (1 - least) * rand(n, c)
    aspect = torch.exp((rand(n, c) - 0.5) * 0.4 * strength)
    sx, sy = (side * aspect).clamp(max=1.0), (side / aspect).clamp(max=1.0)
    angle = (rand(n, c) - 0.5) * 0.2 * strength
    may_turn = torch.tensor([k in TURNED for k in CROPS], device=device)[None]
    quarter = torch.floor(rand(n, c) * 4) * may_turn * (torch.pi / 2)
    flip = torch.where(rand(n, c) < 0.5, -1.0, 1.0)
    cos, sin = torch.cos(angle + quarter), torch.sin(angle + quarter)
    tx, ty = (rand(n, c) * 2 - 1) * (1 - sx), (rand(n, c) * 2 - 1) * (1 - sy)
    turn = torch.stack([torch.stack([cos * sx * flip, -sin * sy, tx], -1), torch.stack([sin * sx * flip, cos * sy, ty], -1)], -2)
    grid = F.affine_grid(turn.flatten(0, 1), [n * c, 4, SIDE, SIDE], align_corners=False)
    x = F.grid_sample(x.flatten(0, 1), grid, mode="bilinear", padding_mode="reflection", align_corners=False)
    x = x.reshape(n, c, 4, SIDE, SIDE)
    rgb, mark = x[:, :, :3], x[:, :, 3:]
    rgb = _light(rgb / 255, rand, strength) * 255
    rgb = _spoil(rgb, rand, strength)
    return torch.cat([normal(rgb.clamp(0, 255)), normal(mark)], dim=2)


def _light(rgb: Any, rand: Any, strength: float) -> Any:
    """One exposure, contrast, white balance and colourfulness a panel."""
    n = len(rgb)
    shape = (n, 1, 1, 1, 1)
    gamma = torch.exp((rand(*shape) - 0.5) * 0.9 * strength)
    gain = torch.exp((rand(*shape) - 0.5) * 0.5 * strength)
    balance = torch.exp((rand(n, 1, 3, 1, 1) - 0.5) * 0.3 * strength)
    rgb = (rgb.clamp(1e-4, 1) ** gamma) * gain * balance
    grey = rgb.mean(2, keepdim=True)
    colourful = 1 + (rand(*shape) - 0.5) * 0.9 * strength
    rgb = grey + (rgb - grey) * colourful
    middle = rgb.mean((2, 3, 4), keepdim=True)
    return (middle + (rgb - middle) * (1 + (rand(*shape) - 0.5) * 0.5 * strength)).clamp(0, 1)


def _spoil(rgb: Any, rand: Any, strength: float) -> Any:
    """Less resolution on a third, noise on a third, a hidden patch on a third of the crops."""
    n, c, _, h, w = rgb.shape
    flat = rgb.flatten(0, 1)
    small = F.interpolate(flat, scale_factor=0.5, mode="bilinear", antialias=True, align_corners=False)
    small = F.interpolate(small, (h, w), mode="bilinear", align_corners=False)
    share = (rand(n * c, 1, 1, 1) < 0.33 * strength).float() * rand(n * c, 1, 1, 1)
    flat = flat * (1 - share) + small * share
    grain = (rand(n * c, 1, 1, 1) < 0.33).float() * rand(n * c, 1, 1, 1) * 14
    flat = flat + (rand(n * c, 3, h, w) - 0.5) * 2 * grain
    size = (0.15 + 0.25 * rand(n * c, 1, 1)) * (rand(n * c, 1, 1) < 0.33 * strength).float() * h
    cy, cx = rand(n * c, 1, 1) * h, rand(n * c, 1, 1) * w
    ys, xs = (torch.arange(k, device=rgb.device).float() for k in (h, w))
    hidden = ((ys[None, :, None] - cy).abs() < size / 2) & ((xs[None, None, :] - cx).abs() < size / 2)
    flat = torch.where(hidden[:, None], flat.mean((2, 3), keepdim=True), flat)
    return flat.reshape(n, c, 3, h, w)
