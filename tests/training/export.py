"""From trained weights to the file the product ships."""

from pathlib import Path

import numpy as np
import torch

from tests.training.network import CONFIGS, Reader


def write_weights(net: Reader, path: Path) -> None:
    """Write the layers as half floats for a product `rows @ weight + bias`.

    `LAYER.weight` (window x in, out), the window's places first; `LAYER.bias` (out,);
    `BLOCK.dilation` how far apart a block's window looks.
    """
    arrays = {}
    for name, value in net.state_dict().items():
        array = value.cpu().numpy()
        if name.endswith("weight"):
            array = np.moveaxis(array, 0, -1)  # (in, [1, window,] out)
            if array.ndim == 4:
                array = np.moveaxis(array, 0, 2)  # (one or three, window, in, out)
            array = array.reshape(-1, array.shape[-1])
        arrays[name] = array.astype(np.float16)
    for block, module in enumerate(net.blocks):
        arrays[f"blocks.{block}.dilation"] = np.float16(module.along.dilation[1])
    np.savez_compressed(path, **arrays)


def read_weights(path: Path, name: str) -> dict[str, torch.Tensor]:
    """The state of network `name` from a file that `write_weights` made."""
    state = Reader(CONFIGS[name]).state_dict()
    with np.load(path) as held:
        for layer, value in state.items():
            array = held[layer].astype(np.float32)
            if layer.endswith("weight") and value.ndim == 4:
                out, into, *window = value.shape
                array = array.reshape(-1, into, out).transpose(2, 1, 0).reshape(out, into, *window)
            elif layer.endswith("weight"):
                array = array.T
            state[layer] = torch.from_numpy(np.ascontiguousarray(array))
    return state


def load_reader(checkpoint: Path, name: str) -> Reader:
    """Network `name` with the averaged weights of a checkpoint."""
    held = torch.load(checkpoint, map_location="cpu", weights_only=False)
    net = Reader(CONFIGS[name])
    net.load_state_dict(held["nets"][name]["average"])
    return net.eval()
