"""From trained weights to the file the product ships."""

from pathlib import Path

import torch
from torch import nn

from tests.training.network import CONFIGS, Reader

OUTPUTS = ["edges", "log_weight", "log_scale", "presence"]


def write_onnx(net: nn.Module, path: Path) -> None:
    """Write `net` with a free batch size: rings (n, 6, 32, 144) in, four outputs by name."""
    torch.onnx.export(
        net.eval().cpu().float(),
        (torch.zeros(2, 6, 32, 144),),
        str(path),
        input_names=["rings"],
        output_names=OUTPUTS,
        dynamic_axes={name: {0: "n"} for name in ["rings", *OUTPUTS]},
        opset_version=17,
        dynamo=False,
    )


def load_reader(checkpoint: Path, name: str) -> Reader:
    """Network `name` with the averaged weights of a checkpoint."""
    held = torch.load(checkpoint, map_location="cpu", weights_only=False)
    net = Reader(CONFIGS[name])
    net.load_state_dict(held["nets"][name]["average"])
    return net.eval()
