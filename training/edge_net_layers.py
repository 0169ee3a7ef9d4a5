"""The edge net, in PyTorch (which no install of the program needs).

It sees the canvas of an edge (vision/edges/canvas.py) and the pixels beside the arris. From the canvas it answers what the
narrow side shows and, row by row of the depth, where plies and a thin sheet end; the two sides of the arris go through the
same layers and what they draw along it is compared in place and out of place.
"""

from __future__ import annotations

import torch  # type: ignore[import-not-found]
import torch.nn.functional as F  # type: ignore[import-not-found]
from torch import Tensor, nn

from vision.edges.canvas import BESIDE, TALL, TOLD

#: Channels compared over the arris, shifts allowed for in place, shifts at which chance is measured (places of 2 px).
DRAWN, NEAR, FAR = 24, (-2, -1, 0, 1, 2), (-61, -47, -34, -23, 23, 34, 47, 61)


def block(inputs: int, outputs: int, kernel: int = 3, stride: tuple[int, int] = (1, 1)) -> nn.Sequential:
    """Convolution with normalisation."""
    return nn.Sequential(nn.Conv2d(inputs, outputs, kernel, stride, kernel // 2, bias=False), nn.BatchNorm2d(outputs), nn.ReLU())


class Residual(nn.Module):  # type: ignore[misc, unused-ignore]
    """Two 3x3 convolutions added to what came in."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.one = block(width, width)
        self.two = nn.Sequential(nn.Conv2d(width, width, 3, 1, 1, bias=False), nn.BatchNorm2d(width))

    def forward(self, x: Tensor) -> Tensor:
        return F.relu(x + self.two(self.one(x)))


class Across(nn.Module):  # type: ignore[misc, unused-ignore]
    """The canvas: (features of the whole (n, 352), maps (n, 2, TALL) logits)."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = block(3, 20, 5, (2, 2))
        self.fine = Residual(20)
        self.down1 = block(20, 32, 3, (1, 2))
        self.second = Residual(32)
        self.down2 = block(32, 48, 3, (1, 2))
        self.third = Residual(48)
        self.by_row = nn.Sequential(nn.Conv1d(3 * 48, 64, 5, padding=2), nn.BatchNorm1d(64), nn.ReLU(),
                                    nn.Conv1d(64, 64, 7, padding=3), nn.BatchNorm1d(64), nn.ReLU(),
                                    nn.Conv1d(64, 64, 7, padding=3), nn.BatchNorm1d(64), nn.ReLU())
        self.maps = nn.Conv1d(64, 4, 3, padding=1)
        self.down3 = block(48, 80, 3, (2, 2))
        self.fourth = nn.Sequential(Residual(80), nn.Dropout2d(0.05), Residual(80))
        self.down4 = block(80, 112, 3, (2, 2))
        self.fifth = nn.Sequential(Residual(112), nn.Dropout2d(0.05))

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        x = self.third(self.down2(self.second(self.down1(self.fine(self.stem(x))))))
        mean = x.mean(3)
        rows = self.by_row(torch.cat([mean, x.amax(3), (x - mean[..., None]).square().mean(3)], 1))
        m = self.maps(rows)  # two rows of each map at every place
        maps = m.reshape(m.shape[0], 2, 2, TALL // 2).transpose(2, 3).reshape(m.shape[0], 2, TALL)
        deep = self.fifth(self.down4(self.fourth(self.down3(x))))
        return torch.cat([deep.mean((2, 3)), deep.amax((2, 3)), rows.mean(2), rows.amax(2)], 1), maps


class Over(nn.Module):  # type: ignore[misc, unused-ignore]
    """The arris: (n, 4 * DRAWN + 2 * 48)."""

    def __init__(self) -> None:
        super().__init__()
        self.side = nn.Sequential(block(3, 16, 3, (1, 2)), block(16, 24, 3, (2, 1)), Residual(24), block(24, 32, 3, (2, 1)))
        self.draw = nn.Sequential(nn.Conv1d(32 * (BESIDE // 4), 48, 3, padding=1), nn.BatchNorm1d(48), nn.ReLU(),
                                  nn.Conv1d(48, DRAWN, 3, padding=1))
        self.both = nn.Sequential(block(3, 16, 5, (1, 2)), block(16, 24, 3, (2, 2)), block(24, 32, 3, (2, 2)), Residual(32),
                                  block(32, 48, 3, (2, 2)))

    def drawn(self, side: Tensor) -> Tensor:
        f = self.side(side)
        n, c, r, w = f.shape
        e = self.draw(f.reshape(n, c * r, w)).float()
        e = e - F.avg_pool1d(e, 49, 1, 24, count_include_pad=False)
        return e / (e.square().mean(2, keepdim=True) + 1e-3).sqrt()

    def forward(self, x: Tensor) -> Tensor:
        a, b = self.drawn(x[:, :, :BESIDE].flip(2)), self.drawn(x[:, :, BESIDE:])
        w = a.shape[2]

        def at(lag: int) -> Tensor:
            return (a[..., lag:] * b[..., :w - lag] if lag >= 0 else a[..., :w + lag] * b[..., -lag:]).mean(2)

        here = torch.stack([at(k) for k in NEAR])
        away = torch.stack([at(k) for k in FAR])
        whole = self.both(x)
        return torch.cat([here.amax(0), here[len(NEAR) // 2], away.mean(0), away.amax(0), whole.mean((2, 3)), whole.amax((2, 3))],
                         1)


class EdgeNet(nn.Module):  # type: ignore[misc, unused-ignore]
    """(strip (n, 3, TALL, w), arris (n, 3, 2 * BESIDE, LONG), told (n, TOLD)) -> logits: kind (n, kinds), sheet, seam and
    continuous (n, 3; log odds of yes), build (n, builds), maps (n, 2, TALL)."""

    def __init__(self, kinds: int = 8, builds: int = 29) -> None:
        super().__init__()
        self.across, self.over = Across(), Over()
        wide = 2 * 112 + 2 * 64 + 4 * DRAWN + 2 * 48 + TOLD
        self.whole = nn.Sequential(nn.Linear(wide, 192), nn.BatchNorm1d(192), nn.ReLU(), nn.Dropout(0.3))
        self.deeper = nn.Sequential(nn.Linear(192, 96), nn.ReLU(), nn.Dropout(0.1))
        self.kind, self.build = nn.Linear(288, kinds), nn.Linear(192, builds)
        self.asks = nn.Linear(288, 3)

    def forward(self, strip: Tensor, arris: Tensor, told: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        seen, maps = self.across(strip)
        x = self.whole(torch.cat([seen, self.over(arris).to(seen.dtype), told.to(seen.dtype)], 1))
        both = torch.cat([x, self.deeper(x)], 1)
        return self.kind(both), self.asks(both), self.build(x), maps


def disturbed(strip: Tensor, arris: Tensor, generator: torch.Generator) -> tuple[Tensor, Tensor]:
    """Both pictures (0..255, alike) as another camera and light would give them: exposure, contrast, white balance, saturation,
    blur, noise in blotches (as JPEG leaves it) and fine, light changing along the edge, and turned over end to end."""
    n, device = strip.shape[0], strip.device

    def rand(*shape: int) -> Tensor:
        return torch.rand(*shape, generator=generator, device=device)

    def randn(*shape: int) -> Tensor:
        return torch.randn(*shape, generator=generator, device=device)

    gain = torch.exp(0.22 * randn(n, 1, 1, 1) + 0.07 * randn(n, 3, 1, 1) * (rand(n, 1, 1, 1) < 0.7))
    power = torch.exp(0.15 * randn(n, 1, 1, 1))
    keep = 1 - 0.6 * rand(n, 1, 1, 1) * (rand(n, 1, 1, 1) < 0.25)
    noise = 7 * rand(n, 1, 1, 1) ** 3
    blotch = 6 * rand(n, 1, 1, 1) ** 3
    soft = (rand(n, 1, 1, 1) < 0.2).float() * rand(n, 1, 1, 1)
    slope, flip = 0.15 * randn(n, 1, 1, 1), rand(n, 1, 1, 1) < 0.5
    out = []
    for x in (strip, arris):
        y = torch.linspace(-1, 1, x.shape[3], device=device)[None, None, None]
        x = torch.where(flip, x.flip(3), x)
        x = 255 * (x / 255).clamp(min=0.002) ** power * gain * torch.exp(slope * y)
        grey = x.mean(1, keepdim=True)
        x = grey + (x - grey) * keep
        x = torch.lerp(x, F.avg_pool2d(x, 3, 1, 1, count_include_pad=False), soft)
        coarse = randn(n, 3, (x.shape[2] + 3) // 4, (x.shape[3] + 3) // 4)
        coarse = F.interpolate(coarse, scale_factor=4, mode="nearest")[..., :x.shape[2], :x.shape[3]]
        x = x + noise * randn(*x.shape) + blotch * coarse
        out.append(x.clamp(0, 255) / 64 - 2)
    return out[0], out[1]
