"""Spoils pictures on the GPU as cameras do: size, cut, colour, light, blur, noise, JPEG. Needs PyTorch."""

from __future__ import annotations

from typing import Any

import numpy as np

#: Quantisation tables of the JPEG standard (ITU-T T.81, annex K.1), luminance and chrominance.
LUMINANCE = (
    (16, 11, 10, 16, 24, 40, 51, 61), (12, 12, 14, 19, 26, 58, 60, 55), (14, 13, 16, 24, 40, 57, 69, 56),
    (14, 17, 22, 29, 51, 87, 80, 62), (18, 22, 37, 56, 68, 109, 103, 77), (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101), (72, 92, 95, 98, 112, 100, 103, 99),
)  # fmt: skip
CHROMINANCE = (
    (17, 18, 24, 47, 99, 99, 99, 99), (18, 21, 26, 66, 99, 99, 99, 99), (24, 26, 56, 99, 99, 99, 99, 99),
    (47, 66, 99, 99, 99, 99, 99, 99), (99, 99, 99, 99, 99, 99, 99, 99), (99, 99, 99, 99, 99, 99, 99, 99),
    (99, 99, 99, 99, 99, 99, 99, 99), (99, 99, 99, 99, 99, 99, 99, 99),
)  # fmt: skip
#: sRGB to luma and colour differences (ITU-R BT.601, as JFIF uses it).
TO_YCC = ((0.299, 0.587, 0.114), (-0.168736, -0.331264, 0.5), (0.5, -0.418688, -0.081312))
#: Grey of what lies outside the panel, 0..1.
OUTSIDE = 127 / 255


def spoil(pictures: Any, truth: Any) -> tuple[Any, Any, Any]:
    """(pictures (n, 3, s, s) float 0..1, inside (n, 1, s, s) float, truth (n, 3, g, g) long) of raw uint8 lessons.

    `pictures`: (n, s, s, 4) uint8 as in a store; `truth`: (n, 3, g, g) uint8. Both on the device that computes.
    """
    import torch  # type: ignore[import-not-found, unused-ignore]

    with torch.no_grad():
        x = pictures.permute(0, 3, 1, 2).float() / 255
        t = truth.float()
        if torch.rand(()) < 0.5:
            x, t = x.transpose(2, 3), t.transpose(2, 3)
        x, t = _moved(x, t)
        x, t = _cut(x, t)
        inside = (x[:, 3:] > 0.5).float()
        rgb = _noisy(_blurred(_coloured(x[:, :3])))
        rgb = _coded(rgb.clamp(0, 1)).clamp(0, 1)
        rgb = (rgb * 255).round() / 255
        return rgb * inside + OUTSIDE * (1 - inside), inside, t.long()


def _draw(n: int, low: float, high: float, device: Any) -> Any:
    import torch

    return low + (high - low) * torch.rand((n, 1, 1, 1), device=device)


def _some(n: int, share: float, device: Any) -> Any:
    import torch

    return (torch.rand((n, 1, 1, 1), device=device) < share).float()


def _moved(x: Any, t: Any) -> tuple[Any, Any]:
    """Mirrored, and in half of the cases larger or smaller, shifted and a little sheared."""
    import torch
    import torch.nn.functional as F  # type: ignore[import-not-found, unused-ignore]

    n, device = len(x), x.device
    moves = _some(n, 0.5, device).view(n)
    zoom = torch.exp(moves * (_draw(n, float(np.log(0.6)), float(np.log(1.6)), device).view(n)))
    aspect = torch.exp(moves * 0.12 * torch.randn(n, device=device))
    flip = 1 - 2 * (torch.rand((2, n), device=device) < 0.5).float()
    theta = torch.zeros((n, 2, 3), device=device)
    theta[:, 0, 0], theta[:, 1, 1] = flip[0] / (zoom * aspect), flip[1] * aspect / zoom
    theta[:, 0, 1], theta[:, 1, 0] = 0.04 * moves * torch.randn(n, device=device), 0.04 * moves * torch.randn(n, device=device)
    room = (1 - 1 / zoom).abs() * 0.8
    theta[:, :, 2] = (2 * torch.rand((n, 2), device=device) - 1) * (moves * room)[:, None]
    where = F.affine_grid(theta, (n, 4, *x.shape[2:]), align_corners=False)
    coarse = F.affine_grid(theta, (n, 3, *t.shape[2:]), align_corners=False)
    return (
        F.grid_sample(x, where, mode="bilinear", padding_mode="zeros", align_corners=False),
        F.grid_sample(t, coarse, mode="nearest", padding_mode="zeros", align_corners=False),
    )


def _cut(x: Any, t: Any) -> tuple[Any, Any]:
    """A third loses a corner or a side to the outside, as outlines that are no rectangles do."""
    import torch

    n, device = len(x), x.device
    about = 6.2832 * torch.rand((n, 1, 1, 1), device=device)
    reach = _draw(n, 0.55, 1.25, device) + 9 * (1 - _some(n, 0.33, device))

    def kept(size: int) -> Any:
        at = (torch.arange(size, device=device).float() + 0.5) / size * 2 - 1
        return (torch.cos(about) * at[None, None, None] + torch.sin(about) * at[None, None, :, None] < reach).float()

    x = torch.cat([x[:, :3], x[:, 3:] * kept(x.shape[2])], dim=1)
    t = torch.cat([t[:, :2], t[:, 2:] * kept(t.shape[2])], dim=1)
    return x, t


def _coloured(x: Any) -> Any:
    """White balance, exposure, contrast about the mean, gamma, saturation."""
    import torch

    n, device = len(x), x.device
    use = _some(n, 0.75, device)
    gain = torch.exp(use * (0.16 * torch.randn((n, 1, 1, 1), device=device) + 0.06 * torch.randn((n, 3, 1, 1), device=device)))
    x = x * gain
    middle = x.mean(dim=(1, 2, 3), keepdim=True)
    x = middle + (x - middle) * torch.exp(use * 0.14 * torch.randn((n, 1, 1, 1), device=device))
    grey = x.mean(dim=1, keepdim=True)
    x = grey + (x - grey) * torch.exp(use * 0.25 * torch.randn((n, 1, 1, 1), device=device))
    return x.clamp(1e-4, 1) ** torch.exp(use * 0.15 * torch.randn((n, 1, 1, 1), device=device))


def _blurred(x: Any) -> Any:
    """A third is blurred, sharpened or smeared in one direction."""
    import torch
    import torch.nn.functional as F

    n, device = len(x), x.device
    at = torch.arange(-4, 5, device=device).float()
    y, u = at[None, :, None], at[None, None, :]
    about = 3.1416 * torch.rand((n, 1, 1), device=device)
    along, across = _draw(n, 0.4, 1.8, device).view(n, 1, 1), _draw(n, 0.35, 0.9, device).view(n, 1, 1)
    p = torch.cos(about) * u + torch.sin(about) * y
    q = torch.cos(about) * y - torch.sin(about) * u
    kernel = torch.exp(-0.5 * ((p / along) ** 2 + (q / across) ** 2))
    kernel = kernel / kernel.sum(dim=(1, 2), keepdim=True)
    padded = F.pad(x, (4, 4, 4, 4), mode="replicate")
    soft = F.conv2d(padded.reshape(1, 3 * n, *padded.shape[2:]), kernel.repeat_interleave(3, 0)[:, None], groups=3 * n)
    soft = soft.reshape(x.shape)
    much = _some(n, 0.3, device) - 0.6 * _some(n, 0.12, device)
    return x + much * (soft - x)


def _noisy(x: Any) -> Any:
    """Noise of single pixels and of clumps of two."""
    import torch
    import torch.nn.functional as F

    n, device = len(x), x.device
    fine = torch.randn_like(x) * (_some(n, 0.6, device) * _draw(n, 0, 5 / 255, device))
    half = torch.randn((n, 3, x.shape[2] // 2, x.shape[3] // 2), device=device)
    clumps = F.interpolate(half, scale_factor=2, mode="bilinear", align_corners=False)
    return x + fine + clumps * (_some(n, 0.3, device) * _draw(n, 0, 6 / 255, device))


def _coded(x: Any) -> Any:
    """Two fifths go through the blocks and tables of JPEG at qualities 35 to 92, colour at full size."""
    import torch

    n, device = len(x), x.device
    k = torch.arange(8, device=device).float()
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * np.pi / 16) * 0.5
    basis[0] = np.sqrt(1 / 8)
    turn = torch.tensor(TO_YCC, device=device)
    tables = torch.tensor((LUMINANCE, CHROMINANCE, CHROMINANCE), device=device).float()
    quality = _draw(n, 35, 92, device)
    scale = torch.where(quality < 50, 50 / quality, 2 - quality / 50)
    step = (tables[None] * scale).clamp(min=1)[:, :, None, None]
    ycc = torch.einsum("kc,nchw->nkhw", turn, x * 255)
    h, w = x.shape[2] // 8, x.shape[3] // 8
    blocks = ycc.reshape(n, 3, h, 8, w, 8).permute(0, 1, 2, 4, 3, 5)
    freq = basis @ blocks @ basis.T
    blocks = basis.T @ ((freq / step).round() * step) @ basis
    ycc = blocks.permute(0, 1, 2, 4, 3, 5).reshape(x.shape)
    back = torch.einsum("kc,nchw->nkhw", torch.linalg.inv(turn), ycc) / 255
    return torch.where(_some(n, 0.4, device) > 0, back, x)
