"""The damage net and what it is taught by: a small net of the kind that goes down and up again, in PyTorch."""

from __future__ import annotations

from typing import Any

from vision.damage.kinds import KINDS, UNDER_WORDS

#: Channels at 1/2, 1/4, 1/8, 1/16, 1/32 of the size on the way down; at 1/16, 1/8, 1/4 on the way up; blocks a step down.
DOWN, UP, BLOCKS = (24, 48, 80, 128, 160), (96, 64, 48), (0, 2, 3, 4, 2)
CLASSES, BENEATH = 1 + len(KINDS), len(UNDER_WORDS)
#: Exponent of focal loss (Lin et al. 2017), weight of overlap loss (Milletari et al. 2016) and of what shows beneath.
FOCUS, OVERLAP_WEIGHT, UNDER_WEIGHT = 1.0, 0.6, 0.25


def torch_device() -> Any:
    """The GPU, or the processor where there is none."""
    import torch  # type: ignore[import-not-found]

    return torch.device("cuda" if torch.cuda.is_available() else "cpu")


def make_net() -> Any:
    """(pictures (n, 3, h, w) 0..1, inside (n, 1, h, w)) -> logits (n, CLASSES, h / 4, w / 4) and (n, BENEATH, h / 4, w / 4).

    Sides are multiples of 32. The net also gets the picture less the panel's mean over its spread, and in its middle the
    means and spreads of the panel's features: damage is what differs from the rest of the panel.
    """
    import torch
    import torch.nn.functional as F  # type: ignore[import-not-found, unused-ignore]
    from torch import nn

    class Block(nn.Module):  # type: ignore[misc, unused-ignore]
        """Looks about in each channel (5 by 5), then mixes channels; added to what came in."""

        def __init__(self, n: int) -> None:
            super().__init__()
            self.look = nn.Conv2d(n, n, 5, padding=2, groups=n, bias=False)
            self.norm = nn.BatchNorm2d(n)
            self.wide = nn.Conv2d(n, 2 * n, 1)
            self.back = nn.Conv2d(2 * n, n, 1, bias=False)
            self.last = nn.BatchNorm2d(n)
            nn.init.constant_(self.last.weight, 0.3)

        def forward(self, x: Any) -> Any:
            return x + self.last(self.back(F.relu(self.wide(self.norm(self.look(x))))))

    def plain(a: int, b: int, size: int, stride: int) -> Any:
        conv = nn.Conv2d(a, b, size, stride=stride, padding=size // 2 if size > 2 else 0, bias=False)
        return nn.Sequential(conv, nn.BatchNorm2d(b), nn.ReLU())

    class Net(nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.stem = nn.Sequential(plain(7, 16, 3, 2), plain(16, DOWN[0], 3, 1))
            self.down, self.deep = nn.ModuleList(), nn.ModuleList()
            for k in range(1, 5):
                self.down.append(plain(DOWN[k - 1], DOWN[k], 3 if k < 4 else 2, 2))
                self.deep.append(nn.Sequential(*(Block(DOWN[k]) for _ in range(BLOCKS[k]))))
            self.whole = nn.Conv2d(2 * DOWN[4], DOWN[4], 1)
            self.up, self.across, self.mend = nn.ModuleList(), nn.ModuleList(), nn.ModuleList()
            given = DOWN[4]
            for k, n in enumerate(UP):
                self.up.append(nn.Conv2d(given, n, 1, bias=False))
                self.across.append(nn.Sequential(nn.Conv2d(DOWN[3 - k], n, 1, bias=False), nn.BatchNorm2d(n)))
                self.mend.append(nn.Sequential(*(Block(n) for _ in range(1 if k < 2 else 2))))
                given = n
            self.head = nn.Sequential(plain(UP[2], UP[2], 3, 1), nn.Conv2d(UP[2], CLASSES + BENEATH, 1))

        def forward(self, picture: Any, inside: Any) -> tuple[Any, Any]:
            count = inside.sum(dim=(2, 3), keepdim=True) + 1.0
            mean = (picture * inside).sum(dim=(2, 3), keepdim=True) / count
            spread = torch.sqrt((((picture - mean) * inside) ** 2).sum(dim=(2, 3), keepdim=True) / count)
            usual = (picture - mean) / (spread + 0.03) * inside
            x = self.stem(torch.cat([(picture - 0.5) * 4 * inside, usual, inside], dim=1))
            kept = []
            for down, deep in zip(self.down, self.deep, strict=True):
                x = deep(down(x))
                kept.append(x)
            held = F.avg_pool2d(inside, 32)
            count = held.sum(dim=(2, 3), keepdim=True) + 1e-3
            mean = (x * held).sum(dim=(2, 3), keepdim=True) / count
            spread = torch.sqrt((((x - mean) ** 2) * held).sum(dim=(2, 3), keepdim=True) / count + 1e-6)
            x = F.relu(x + self.whole(torch.cat([mean, spread], dim=1)))
            for k in range(len(UP)):
                x = F.interpolate(self.up[k](x), scale_factor=2.0, mode="nearest") + self.across[k](kept[2 - k])
                x = self.mend[k](F.relu(x))
            said = self.head(x)
            return said[:, :CLASSES], said[:, CLASSES:]

    torch.manual_seed(0)
    return Net()


def loss_of(found: tuple[Any, Any], truth: Any) -> Any:
    """Focal loss of the kinds, loss of overlap of each kind and of any damage, and loss of what shows beneath.

    `truth`: (n, 3, g, g) long: kind, beneath (0 unknown), weight in sixteenths.
    """
    import torch
    import torch.nn.functional as F

    kinds, under = found[0].float(), found[1].float()
    wanted, beneath, weight = truth[:, 0], truth[:, 1], truth[:, 2].float() / 16
    logs = F.log_softmax(kinds, dim=1)
    right = logs.gather(1, wanted[:, None])[:, 0]
    main = (-right * (1 - right.exp()) ** FOCUS * weight * (1 + (wanted > 0).float())).sum() / weight.sum().clamp(min=1)
    shares = logs.exp() * (weight > 0).float()[:, None]
    true = F.one_hot(wanted, kinds.shape[1]).permute(0, 3, 1, 2).float() * (weight > 0).float()[:, None]
    each = 1 - (2 * (shares * true).sum(dim=(0, 2, 3)) + 20) / (shares.sum(dim=(0, 2, 3)) + true.sum(dim=(0, 2, 3)) + 20)
    there = (true.sum(dim=(0, 2, 3)) > 0).float()[1:]
    hurt, said = true[:, 1:].sum(dim=1), shares[:, 1:].sum(dim=1)
    any_ = 1 - (2 * (hurt * said).sum(dim=(1, 2)) + 8) / (hurt.sum(dim=(1, 2)) + said.sum(dim=(1, 2)) + 8)
    overlap = 0.5 * (each[1:] * there).sum() / there.sum().clamp(min=1) + 0.5 * any_.mean()
    shown = ((beneath > 0) & (weight > 0)).float()
    second = (F.cross_entropy(under, (beneath - 1).clamp(min=0), reduction="none") * shown).sum() / shown.sum().clamp(min=1)
    return 6 * main + OVERLAP_WEIGHT * overlap + UNDER_WEIGHT * second, torch.stack([main, overlap, second]).detach()
