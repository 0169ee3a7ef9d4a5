"""Start teaching from a net that was shipped: its ONNX file read back into the layers that it came from.

An exported file has its batch normalisations folded into the convolutions before them. Read back, each normalisation is given
the mean and spread that real pictures have there, and a scale and offset that undo them, so that the net answers as the file
does and can be taught on.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np


def convolutions(path: Path) -> list[tuple[Any, Any]]:
    """(weight, bias or None) float32 arrays of a file's convolutions, in the order in which they run."""
    import onnx
    from onnx import numpy_helper

    model = onnx.load(str(path))
    held = {i.name: numpy_helper.to_array(i).astype(np.float32) for i in model.graph.initializer}
    for node in model.graph.node:
        if node.op_type == "Cast" and node.input[0] in held:
            held[node.output[0]] = held[node.input[0]]
    return [
        (held[n.input[1]], held[n.input[2]] if len(n.input) > 2 else None) for n in model.graph.node if n.op_type == "Conv"
    ]


def warm(net: Any, path: Path, picture: Any, inside: Any) -> None:
    """Give `net` the weights of the file at `path`; `picture` (n, 3, h, w) 0..1 and `inside` (n, 1, h, w): real lessons, on
    the net's device, that its normalisations are set by. The net is left in the mode for teaching.

    Raises
    ------
    ValueError
        if the file's layers are not this net's.
    """
    import torch  # type: ignore[import-not-found, unused-ignore]
    from torch import nn

    order: list[Any] = []
    hooks = [
        m.register_forward_hook(lambda m, *_: order.append(m))
        for m in net.modules()
        if isinstance(m, (nn.Conv2d, nn.BatchNorm2d))
    ]
    net.eval()
    with torch.no_grad():
        net(picture[:1], inside[:1])
    for hook in hooks:
        hook.remove()
    stored = convolutions(path)
    if len(stored) != sum(isinstance(m, nn.Conv2d) for m in order):
        raise ValueError(f"{path.name} has {len(stored)} convolutions, not this net's")
    at = iter(stored)
    hooks = []
    with torch.no_grad():
        for module, following in zip(order, [*order[1:], None], strict=True):
            if not isinstance(module, nn.Conv2d):
                continue
            weight, bias = next(at)
            if tuple(weight.shape) != tuple(module.weight.shape):
                raise ValueError(f"{path.name}: a layer of shape {weight.shape}, not {tuple(module.weight.shape)}")
            module.weight.copy_(torch.from_numpy(weight))
            if module.bias is not None:
                module.bias.copy_(torch.from_numpy(bias))
            elif isinstance(following, nn.BatchNorm2d):
                offset = torch.from_numpy(bias).to(module.weight.device)
                hooks.append(following.register_forward_pre_hook(_settled(offset)))
        net(picture, inside)  # one pass settles all, as each is set before it runs
    for hook in hooks:
        hook.remove()
    net.train()


def _settled(offset: Any) -> Any:
    """A hook that sets a normalisation by what comes in, so that it adds `offset` and changes nothing else."""

    def hook(norm: Any, given: tuple[Any, ...]) -> None:
        x = given[0].float()
        mean, spread = x.mean(dim=(0, 2, 3)), x.var(dim=(0, 2, 3), unbiased=False)
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(spread)
        norm.weight.copy_((spread + norm.eps).sqrt())
        norm.bias.copy_(offset + mean)

    return hook
