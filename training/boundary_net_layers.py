"""The boundary net and the disturbances it is taught under, in PyTorch (which no install of the program needs).

The net sees a working image and what the frozen backbone makes of it. It answers in logits: at half the size whether two
different things meet, at a quarter whether there is furniture.
"""

from __future__ import annotations

import math

import torch  # type: ignore[import-not-found]
import torch.nn.functional as F  # type: ignore[import-not-found]
from torch import Tensor, nn


def mixed(inputs: int, outputs: int, stride: int = 1) -> nn.Sequential:
    """Depthwise 3x3, then pointwise convolution, each with normalisation."""
    return nn.Sequential(
        nn.Conv2d(inputs, inputs, 3, stride, 1, groups=inputs, bias=False), nn.BatchNorm2d(inputs),
        nn.Conv2d(inputs, outputs, 1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU())


def point(inputs: int, outputs: int) -> nn.Sequential:
    """Pointwise convolution with normalisation."""
    return nn.Sequential(nn.Conv2d(inputs, outputs, 1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU())


class BoundaryNet(nn.Module):
    """image (n, 3, h, w), s8 (n, 40, h/8, w/8), s16 (n, 112, h/16, w/16), s32 (n, 320, h/32, w/32) -> logits
    boundary (n, 1, h/2, w/2) and furniture (n, 1, h/4, w/4)."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = nn.Sequential(nn.Conv2d(3, 16, 3, 2, 1, bias=False), nn.BatchNorm2d(16), nn.ReLU())
        self.level2 = mixed(16, 16)
        self.down4 = mixed(16, 32, 2)
        self.level4 = mixed(32, 32)
        self.down8 = mixed(32, 48, 2)
        self.in8, self.in16, self.in32 = point(40, 48), point(112, 64), point(320, 64)
        self.at32 = mixed(64, 64)
        self.at16 = nn.Sequential(mixed(64, 64), mixed(64, 64))
        self.to8 = point(64, 48)
        self.at8 = nn.Sequential(mixed(48, 64), mixed(64, 64))
        self.to4 = point(64, 32)
        self.at4 = nn.Sequential(mixed(32, 32), mixed(32, 32))
        self.furniture = nn.Conv2d(32, 1, 1)
        self.to2 = point(32, 16)
        self.at2 = nn.Sequential(mixed(16, 16), mixed(16, 16))
        self.boundary = nn.Conv2d(16, 1, 1)

    def forward(self, image: Tensor, s8: Tensor, s16: Tensor, s32: Tensor) -> tuple[Tensor, Tensor]:
        def twice(x: Tensor) -> Tensor:
            return F.interpolate(x, scale_factor=2, mode="nearest")

        half = self.level2(self.stem(image))
        quarter = self.level4(self.down4(half))
        x = self.at16(self.in16(s16) + twice(self.at32(self.in32(s32))))
        x = self.at8(self.in8(s8) + self.down8(quarter) + twice(self.to8(x)))
        x = self.at4(quarter + twice(self.to4(x)))
        return self.boundary(self.at2(half + twice(self.to2(x)))), self.furniture(x)


def frozen_backbone(path: str, device: str) -> nn.Module:
    """The backbone's convolutions as a module that returns (s8, s16, s32) of a normalised image.

    ONNX Runtime folds the constants first; what is left are convolutions, clips to 0..6 and additions.
    """
    import tempfile
    from pathlib import Path

    import onnx
    import onnxruntime
    from onnx import numpy_helper

    options = onnxruntime.SessionOptions()
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
    with tempfile.TemporaryDirectory() as folder:
        options.optimized_model_filepath = str(Path(folder) / "folded.onnx")
        onnxruntime.InferenceSession(path, options, providers=["CPUExecutionProvider"])
        graph = onnx.load(options.optimized_model_filepath).graph
    held = {t.name: torch.from_numpy(numpy_helper.to_array(t).copy()).to(device).half()
            for t in graph.initializer if t.data_type == onnx.TensorProto.FLOAT}
    plan = [(n.op_type, list(n.input), n.output[0], {a.name: onnx.helper.get_attribute_value(a) for a in n.attribute})
            for n in graph.node if n.op_type != "ReduceMean"]

    class Backbone(nn.Module):
        def forward(self, image: Tensor) -> tuple[Tensor, Tensor, Tensor]:
            seen = {"image": image.half().contiguous(memory_format=torch.channels_last)}
            for kind, names, name, how in plan:
                x = seen[names[0]]
                if kind == "Conv":
                    top, left, bottom, right = how["pads"]
                    pad: tuple[int, int] | int = (top, left)
                    if (top, left) != (bottom, right):
                        x, pad = F.pad(x, (left, right, top, bottom)), 0
                    bias = held[names[2]] if len(names) > 2 else None
                    seen[name] = F.conv2d(x, held[names[1]], bias, how["strides"], pad, 1, how["group"])
                elif kind == "Clip":
                    seen[name] = x.clamp(0, 6)
                elif kind == "Add":
                    seen[name] = x + seen[names[1]]
                else:
                    raise ValueError(f"unexpected operation {kind}")
            return seen["s8"], seen["s16"], seen["s32"]

    return Backbone()


def draw_gaps(images: Tensor, quads: list[Tensor | None], generator: torch.Generator) -> Tensor:
    """Draw narrow dark gaps across real surfaces, in place; returns their masks (n, 1, h, w) 0..1.

    A gap joins two opposite sides of a quadrilateral, as between drawer fronts cut from one board. `images` (n, 3, h, w)
    0..255; `quads`: corners (4, 2) px or None for each image.
    """
    n, _, h, w = images.shape
    masks = torch.zeros(n, 1, h, w, device=images.device)
    y, x = torch.meshgrid(torch.arange(h, device=images.device), torch.arange(w, device=images.device), indexing="ij")

    def draw() -> float:
        return float(torch.rand((), generator=generator))

    for k, quad in enumerate(quads):
        if quad is None or draw() < 0.35:
            continue
        turn = int(draw() * 2)
        ways = [(turn, 1 + int(draw() * 4))] + ([(1 - turn, 1)] if draw() < 0.3 else [])
        width, dark, shine = 0.6 + 1.6 * draw() ** 2, 0.25 + 0.65 * draw(), 0.25 * draw()
        for way, count in ways:
            a, b, c, d = (quad.roll(way, 0)[i] for i in range(4))
            for j in range(count):
                t = (j + 1 + 0.5 * (draw() - 0.5)) / (count + 1)
                p, q = a + t * (b - a), d + t * (c - d)
                along = q - p
                length = float(along.norm()) + 1e-6
                u = along / length
                off = (x - p[0]) * u[1] - (y - p[1]) * u[0]
                on = (x - p[0]) * u[0] + (y - p[1]) * u[1]
                inside = ((on >= 0) & (on <= length)).float()
                line = torch.exp(-((off / width) ** 2)) * inside
                gleam = torch.exp(-(((off - 2.2 * width) / width) ** 2)) * inside
                images[k] *= (1 - dark * line) * (1 + shine * gleam)
                masks[k, 0] = torch.maximum(masks[k, 0], line)
    return masks


def random_views(n: int, sizes: Tensor, side: int, generator: torch.Generator) -> Tensor:
    """Random crops, scaled, turned and mirrored: (n, side, side, 2) source pixel positions (x, y) in pictures of `sizes`
    (n, 2) height, width."""
    r = torch.rand(n, 5, generator=generator).to(sizes.device)
    scale = torch.exp(math.log(0.6) + r[:, 0] * math.log(1.4 / 0.6))
    angle = (r[:, 1] - 0.5) * 2 * math.radians(8)
    flip = torch.where(r[:, 2] < 0.5, -1.0, 1.0)
    reach = scale * side / 2
    h, w = sizes[:, 0].float(), sizes[:, 1].float()
    room_x, room_y = (w / 2 - reach).clamp(min=0), (h / 2 - reach).clamp(min=0)
    cx, cy = w / 2 + (2 * r[:, 3] - 1) * room_x * 1.1, h / 2 + (2 * r[:, 4] - 1) * room_y * 1.1
    grid = torch.arange(side, device=sizes.device).float() - (side - 1) / 2
    v, u = torch.meshgrid(grid, grid, indexing="ij")
    s, c = (scale * torch.sin(angle))[:, None, None], (scale * torch.cos(angle))[:, None, None]
    u = u[None] * flip[:, None, None]
    return torch.stack([cx[:, None, None] + c * u - s * v, cy[:, None, None] + s * u + c * v], dim=3)


def sample(values: Tensor, at: Tensor, mode: str) -> Tensor:
    """Values (n, c, h, w) at pixel positions (n, s, s, 2); 0 outside."""
    h, w = values.shape[2:]
    norm = (at + 0.5) / torch.tensor([w, h], device=at.device) * 2 - 1
    return F.grid_sample(values, norm, mode=mode, padding_mode="zeros", align_corners=False)


def disturb(images: Tensor, generator: torch.Generator) -> Tensor:
    """Light, colour, blur, noise and JPEG damage on (n, 3, s, s) 0..255; sides are multiples of 8."""
    n, _, s, _ = images.shape
    dev = images.device

    def rand(*shape: int) -> Tensor:
        return torch.rand(*shape, generator=generator).to(dev)

    x = images / 255
    grey = x.mean(dim=1, keepdim=True)
    x = grey + (x - grey) * (0.5 + rand(n, 1, 1, 1))
    x = x * (1 + 0.3 * (rand(n, 3, 1, 1) - 0.5)) * (0.65 + 0.7 * rand(n, 1, 1, 1))
    x = x.clamp(1e-4, 1) ** torch.exp(0.7 * (rand(n, 1, 1, 1) - 0.5))
    part = int(n // 3)
    if part:
        small = int(s * (0.45 + 0.45 * float(torch.rand((), generator=generator)))) // 8 * 8
        x[:part] = F.interpolate(F.interpolate(x[:part], size=(small, small), mode="area"), size=(s, s), mode="bicubic")
        sigma = 0.4 + 1.2 * float(torch.rand((), generator=generator))
        taps = torch.exp(-torch.arange(-4, 5, device=dev).float() ** 2 / (2 * sigma**2))
        taps = (taps / taps.sum()).repeat(3, 1)
        y = F.conv2d(x[part:2 * part], taps[:, None, None], padding=(0, 4), groups=3)
        x[part:2 * part] = F.conv2d(y, taps[:, None, :, None], padding=(4, 0), groups=3)
    x = x + torch.randn(x.shape, device=dev) * 0.04 * rand(n, 1, 1, 1) ** 2
    hurt = rand(n, 1, 1, 1) < 0.6
    return torch.where(hurt, jpeg_damage(x.clamp(0, 1) * 255, 1 + 7 * rand(n, 1, 1, 1, 1) ** 2), x.clamp(0, 1) * 255)


def jpeg_damage(images: Tensor, step: Tensor) -> Tensor:
    """Round the 8x8 cosine coefficients of every channel; `step` (n, 1, 1, 1, 1) scales the usual rise with frequency."""
    n, c, h, w = images.shape
    k = torch.arange(8, device=images.device).float()
    cosine = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * math.sqrt(2 / 8)
    cosine[0] /= math.sqrt(2)
    blocks = images.reshape(n, c, h // 8, 8, w // 8, 8).permute(0, 1, 2, 4, 3, 5).reshape(n, -1, 1, 8, 8)
    table = step * (2 + 1.5 * (k[:, None] + k[None]))
    found = torch.round(cosine @ blocks @ cosine.T / table) * table
    back = cosine.T @ found @ cosine
    return back.reshape(n, c, h // 8, w // 8, 8, 8).permute(0, 1, 2, 4, 3, 5).reshape(n, c, h, w).clamp(0, 255)
