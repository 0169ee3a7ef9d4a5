"""The layout net, in PyTorch (which no install of the program needs).

It sees a canvas (vision/layouts/canvas.py) and answers, a quarter of the size, where mirror axes, other joints and the
centre lie, and which layout it all is. Besides plain convolutions it compares every row of the picture with every other,
as it stands and turned over, and every column likewise: leaves that mirror or repeat show as streaks of those matrices,
whatever their figure. Rows are also compared at places far along them, which tells how alike unrelated wood is.
"""

from __future__ import annotations

import torch  # type: ignore[import-not-found]
import torch.nn.functional as F  # type: ignore[import-not-found]
from torch import Tensor, nn

from vision.layouts.canvas import CHANNELS, TALL, WIDE

ROWS, COLS = TALL // 4, WIDE // 4
NEAR, FAR = (-1, 0, 1), (-19, 17)
_EACH, _GROUPS = 8, 3
_KINDS = 2 * 2 * _GROUPS  # mirrored or not, near or far, of every group
_SPANS = (6, 14, 30)
_SINES = 5  # channel that changes sign when the picture is turned over


def block(inputs: int, outputs: int, stride: int = 1) -> nn.Sequential:
    """3x3 convolution with normalisation."""
    return nn.Sequential(nn.Conv2d(inputs, outputs, 3, stride, 1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU())


class Residual(nn.Module):  # type: ignore[misc, unused-ignore]
    """Depthwise 5x5, then two pointwise convolutions, added to what came in."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(width, width, 5, 1, 2, groups=width, bias=False), nn.BatchNorm2d(width),
            nn.Conv2d(width, 2 * width, 1, bias=False), nn.BatchNorm2d(2 * width), nn.ReLU(),
            nn.Conv2d(2 * width, width, 1, bias=False), nn.BatchNorm2d(width))

    def forward(self, x: Tensor) -> Tensor:
        return F.relu(x + self.body(x))


class Embed(nn.Module):  # type: ignore[misc, unused-ignore]
    """Local figure at a quarter of the size. Even kernels, so that a mirrored picture gives the mirrored grid of places."""

    def __init__(self) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(CHANNELS, 16, 4, 2, 1, bias=False), nn.BatchNorm2d(16), nn.ReLU(),
            nn.Conv2d(16, 32, 4, 2, 1, bias=False), nn.BatchNorm2d(32), nn.ReLU())
        self.figure = nn.Conv2d(32, _EACH * _GROUPS, 3, 1, 1)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        x = self.body(x)
        return x, self.figure(x)


def centred(e: Tensor) -> Tensor:
    """Groups of features less their mean: along x, along y, over all."""
    a, b, c = (e[:, k * _EACH:(k + 1) * _EACH] for k in range(_GROUPS))
    a = a - F.avg_pool2d(a, (1, 17), 1, (0, 8), count_include_pad=False)
    b = b - F.avg_pool2d(b, (17, 1), 1, (8, 0), count_include_pad=False)
    return torch.cat([a, b, c - c.mean((2, 3), keepdim=True)], 1)


def likeness(e: Tensor, over: Tensor) -> Tensor:
    """(n, _KINDS, rows, rows): correlation of every row of `e` (n, c, rows, cols) with every row of itself and of `over`."""
    n, _, rows, cols = e.shape

    def unit(x: Tensor) -> Tensor:
        x = x.reshape(n, _GROUPS, _EACH, rows, cols).float()
        return x / (x.square().sum((2, 4), keepdim=True) + 1e-4).sqrt()

    one = unit(e)
    plain = one.permute(0, 1, 3, 4, 2).reshape(n, _GROUPS, rows, cols * _EACH)
    out = []
    for other in (one, unit(over)):
        found = []
        for shift in (*NEAR, *FAR):
            part = other[..., shift:] if shift >= 0 else other[..., :shift]
            moved = F.pad(part, (0, shift) if shift >= 0 else (-shift, 0)) * (cols / (cols - abs(shift)))
            flat = moved.permute(0, 1, 4, 2, 3).reshape(n, _GROUPS, cols * _EACH, rows)
            found.append(plain @ flat)
        near = torch.stack(found[:len(NEAR)]).amax(0)
        far = torch.stack(found[len(NEAR):]).mean(0)
        out += [near, far]
    return torch.cat(out, 1)


def sheared(x: Tensor) -> Tensor:
    """(n, c, r, 2r - 1) with entry [i, i + j] = x[i, j]."""
    n, c, r, _ = x.shape
    return F.pad(x, (0, r)).reshape(n, c, 2 * r * r)[..., :r * (2 * r - 1)].reshape(n, c, r, 2 * r - 1)


class Streaks(nn.Module):  # type: ignore[misc, unused-ignore]
    """Reads a likeness matrix: evidence for every row (n, 24, rows), and in all (n, 96)."""

    def __init__(self) -> None:
        super().__init__()
        self.body = nn.Sequential(block(_KINDS + 1, 24), block(24, 24), block(24, 24))
        self.mix = nn.Sequential(nn.Conv1d(24 * (len(_SPANS) + 2), 48, 5, padding=2), nn.BatchNorm1d(48), nn.ReLU(),
                                 nn.Conv1d(48, 24, 5, padding=2), nn.ReLU())

    def forward(self, g: Tensor) -> tuple[Tensor, Tensor]:
        rows = g.shape[2]
        at = torch.arange(rows, device=g.device)
        apart = (at[:, None] - at[None]).abs()
        f = self.body(torch.cat([4 * g, (apart.float() / rows).to(g.dtype).expand(g.shape[0], 1, rows, rows)], 1))
        parts = []
        for span in _SPANS:
            keep = ((apart <= span) & (apart >= 1)).to(f.dtype)
            line = sheared(f * keep).sum(2) / sheared(keep[None, None]).sum(2).clamp(min=1.0)
            # places between rows count for the row before and after
            line = torch.maximum(line[..., ::2], F.max_pool1d(F.pad(line[..., 1::2], (1, 1)), 2, 1))
            parts.append(line)
        by_row = torch.cat([*parts, f.mean(3), f.amax(3)], 1)
        pitch = sheared(f.flip(3)).mean(2)[..., rows // 5:rows]
        evidence = self.mix(by_row)
        return evidence, torch.cat([evidence.mean(2), evidence.amax(2), pitch.amax(2), f.mean((2, 3))], 1)


class LayoutNet(nn.Module):  # type: ignore[misc, unused-ignore]
    """canvas (n, 8, TALL, WIDE) -> name logits (n, 13), wedge logits (n, 9), maps (n, 5, TALL / 4, WIDE / 4): axis logit,
    cos and sin of twice its angle, joint logit, centre logit."""

    def __init__(self, names: int = 13, wedges: int = 9) -> None:
        super().__init__()
        self.embed, self.streaks = Embed(), Streaks()
        self.join = block(32 + 24 + 48, 40)
        self.at4 = nn.Sequential(Residual(40), Residual(40))
        self.down8 = block(40, 64, 2)
        self.at8 = nn.Sequential(Residual(64), Residual(64))
        self.down16 = block(64, 96, 2)
        self.at16 = nn.Sequential(Residual(96), Residual(96), Residual(96))
        self.up8, self.up4 = nn.Conv2d(96, 64, 1), nn.Conv2d(64, 40, 1)
        self.back8, self.back4 = Residual(64), nn.Sequential(Residual(40), Residual(40))
        self.maps = nn.Conv2d(40, 5, 1)
        self.whole = nn.Sequential(nn.Linear(2 * 96 + 2 * 64 + 2 * 96, 160), nn.ReLU(), nn.Dropout(0.2))
        self.name, self.wedges = nn.Linear(160, names), nn.Linear(160, wedges)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        sign = torch.ones(CHANNELS, device=x.device, dtype=x.dtype)
        sign = torch.where(torch.arange(CHANNELS, device=x.device) == _SINES, -sign, sign)[None, :, None, None]
        n = x.shape[0]
        all_ways = torch.cat([x, x.flip(2) * sign, x.flip(3) * sign])
        stem, figure = self.embed(all_ways)
        stem = stem[:n]
        plain, down, side = figure[:n], figure[n:2 * n].flip(2), figure[2 * n:].flip(3)
        plain_c = centred(plain)
        rows, whole_rows = self.streaks(likeness(plain_c, centred(down)))
        swap = centred(side).transpose(2, 3)
        turned = plain_c.transpose(2, 3)
        # of columns, what is centred along x and along y changes places
        order = torch.cat([turned[:, _EACH:2 * _EACH], turned[:, :_EACH], turned[:, 2 * _EACH:]], 1)
        swap = torch.cat([swap[:, _EACH:2 * _EACH], swap[:, :_EACH], swap[:, 2 * _EACH:]], 1)
        cols, whole_cols = self.streaks(likeness(order, swap))
        spread = torch.cat([rows[..., None].expand(-1, -1, -1, COLS), cols[:, :, None].expand(-1, -1, ROWS, -1)], 1)
        quarter = self.at4(self.join(torch.cat([stem, plain, spread.to(stem.dtype)], 1)))
        eighth = self.at8(self.down8(quarter))
        deep = self.at16(self.down16(eighth))
        up = self.back8(eighth + F.interpolate(self.up8(deep), scale_factor=2, mode="nearest"))
        fine = self.back4(quarter + F.interpolate(self.up4(up), scale_factor=2, mode="nearest"))
        whole = self.whole(torch.cat([deep.mean((2, 3)), deep.amax((2, 3)), up.mean((2, 3)), up.amax((2, 3)),
                                      whole_rows.to(deep.dtype), whole_cols.to(deep.dtype)], 1))
        return self.name(whole), self.wedges(whole), self.maps(fine)


def moved(channels: Tensor, lines: Tensor, points: Tensor, generator: torch.Generator) -> tuple[Tensor, Tensor, Tensor]:
    """Canvases turned over and zoomed a little at random, with their segments (n, m, 4) and points (n, 2)."""
    n, device = channels.shape[0], channels.device
    r = torch.rand(n, 8, generator=generator).to(device)
    fx, fy = torch.where(r[:, 0] < 0.5, -1.0, 1.0), torch.where(r[:, 1] < 0.5, -1.0, 1.0)
    zx, zy = 1 - 0.1 * r[:, 2] * (r[:, 6] < 0.5), 1 - 0.1 * r[:, 3] * (r[:, 6] < 0.5)
    ox, oy = (1 - zx) * (2 * r[:, 4] - 1), (1 - zy) * (2 * r[:, 5] - 1)
    lean = (r[:, 7] - 0.5) * 0.06 * (r[:, 6] < 0.5)  # shear of up to a degree and a half
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 0, 2] = fx * zx, ox
    theta[:, 1, 1], theta[:, 1, 2] = fy * zy, oy
    theta[:, 1, 0] = lean * zx
    grid = F.affine_grid(theta, [n, 1, TALL, WIDE], align_corners=False)
    out = F.grid_sample(channels, grid, mode="bilinear", padding_mode="zeros", align_corners=False)
    out[:, _SINES] *= (fx * fy)[:, None, None]
    out[:, 7] = channels[:, 7, :1, :1] + torch.log(zx / zy)[:, None, None]
    size = torch.tensor([WIDE, TALL], device=device)
    inverse = torch.linalg.inv(theta[:, :, :2])

    def place(p: Tensor) -> Tensor:
        unit = (p + 0.5) / size * 2 - 1
        return ((unit - theta[:, None, :, 2]) @ inverse.transpose(1, 2) + 1) / 2 * size - 0.5

    ends = place(lines.reshape(n, -1, 2)).reshape(lines.shape)
    return out, ends, place(points[:, None])[:, 0]


def disturbed(x: Tensor, generator: torch.Generator) -> Tensor:
    """Canvases with channels weakened or left out, noise, blur, and parts that are no panel."""
    n, device = x.shape[0], x.device

    def rand(*shape: int) -> Tensor:
        return torch.rand(*shape, generator=generator).to(device)

    gain = torch.exp(0.5 * (rand(n, CHANNELS, 1, 1) - 0.5))
    gain[:, 6:] = 1
    gain[:, 2:4] *= (rand(n, 1, 1, 1) > 0.1).float()
    gain[:, 4:6] = gain[:, 4:5] * (rand(n, 1, 1, 1) > 0.1).float()
    x = x * gain
    soft = F.avg_pool2d(x[:, :2], 3, 1, 1)
    x = torch.cat([torch.lerp(x[:, :2], soft, (rand(n, 1, 1, 1) < 0.15).float()), x[:, 2:]], 1)
    noise = torch.randn(n, 2, TALL, WIDE, device=device) * 0.5 * rand(n, 1, 1, 1) ** 3
    x = torch.cat([x[:, :2] + noise, x[:, 2:]], 1)
    # some panels are no full rectangle: one corner or side is missing
    t = rand(n, 3)
    turn = 6.2832 * t[:, 0]
    u = torch.linspace(-1, 1, WIDE, device=device)[None, None]
    v = torch.linspace(-1, 1, TALL, device=device)[None, :, None]
    far = u * torch.cos(turn)[:, None, None] + v * torch.sin(turn)[:, None, None]
    keep = ((far < 0.85 + 0.4 * t[:, 1, None, None]) | (t[:, 2, None, None] > 0.12)).float()[:, None]
    return torch.cat([x[:, :7] * keep, x[:, 7:]], 1).clamp(-3.2, 3.2)


def lines_map(lines: Tensor, sigma: float) -> tuple[Tensor, Tensor]:
    """(soft map of segments at a quarter of the size (n, rows, cols), direction (n, 2, rows, cols) of the nearest one).

    `lines` (n, m, 4) canvas px, nan where there is none; `sigma` in cells."""
    n, m, _ = lines.shape
    real = torch.isfinite(lines[..., 0])
    p = torch.nan_to_num(lines).reshape(n, m, 2, 2)
    p = (p + 0.5) / 4 - 0.5
    y, x = torch.meshgrid(torch.arange(ROWS, device=lines.device), torch.arange(COLS, device=lines.device), indexing="ij")
    at = torch.stack([x, y], -1).float()
    d = p[:, :, 1] - p[:, :, 0]
    length = d.square().sum(-1).clamp(min=1e-6)
    rel = at[None, None] - p[:, :, None, None, 0]
    t = ((rel * d[:, :, None, None]).sum(-1) / length[..., None, None]).clamp(0, 1)
    off = (rel - t[..., None] * d[:, :, None, None]).square().sum(-1)
    off = torch.where(real[..., None, None], off, 1e6)
    least, which = off.min(1)
    angle = 2 * torch.atan2(-d[..., 1], d[..., 0])
    chosen = torch.gather(angle, 1, which.reshape(n, -1)).reshape(which.shape)
    return torch.exp(-least / (2 * sigma**2)), torch.stack([torch.cos(chosen), torch.sin(chosen)], 1)
