"""From trained weights to the file the product ships."""

from pathlib import Path

import numpy as np
import torch
from torch import nn

from tests.training.network import CONFIGS, Reader


def write_weights(net: nn.Module, path: Path) -> None:
    """Write the layers as half floats, named `LAYER.weight` (out, in) and `LAYER.bias`."""
    state = net.state_dict()
    np.savez_compressed(path, **{k: v.cpu().numpy().astype(np.float16) for k, v in state.items()})


def load_reader(checkpoint: Path, name: str) -> Reader:
    """Network `name` with the averaged weights of a checkpoint."""
    held = torch.load(checkpoint, map_location="cpu", weights_only=False)
    net = Reader(CONFIGS[name])
    net.load_state_dict(held["nets"][name]["average"])
    return net.eval()
