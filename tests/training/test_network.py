"""The product's reader in numpy against the network in torch."""

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="needs torch (optional extra 'train')")

from tests.training.export import write_weights  # noqa: E402
from tests.training.network import CONFIGS, Reader  # noqa: E402
from vision.rings import reader  # noqa: E402

LARGEST_FILE = 1_048_576
"""Bytes: what the product may ship."""


@pytest.mark.parametrize("name", sorted(CONFIGS))
def test_numpy_reads_what_torch_reads(name, tmp_path, monkeypatch):
    torch.manual_seed(1)
    net, path = Reader(CONFIGS[name]).eval(), tmp_path / "reader.npz"
    for part in (net.head, *(block.across for block in net.blocks)):
        torch.nn.init.normal_(part.weight, std=0.05)
    net.load_state_dict({k: v.half().float() for k, v in net.state_dict().items()})
    write_weights(net, path)
    assert path.stat().st_size < LARGEST_FILE
    with np.load(path) as stored:
        weights = {k: stored[k].astype(np.float32) for k in stored.files}
    monkeypatch.setattr(reader, "_weights", lambda net: weights)
    config = CONFIGS[name]
    shape = (70, 9, config.grid.sectors, config.grid.samples)
    planes = np.random.default_rng(2).normal(size=shape).astype(np.float32)
    planes[:, 5] = planes[:, 5, :1, :1]
    ours = reader.read_edges(planes if config.wide else planes[:, :6])
    with torch.no_grad():
        edges, log_weight, log_scale, logit = net(torch.from_numpy(planes))
    np.testing.assert_allclose(ours.edges, edges, atol=1e-4)
    np.testing.assert_allclose(np.log(ours.weight), log_weight, atol=1e-4)
    np.testing.assert_allclose(np.log(ours.scale), log_scale, atol=1e-4)
    np.testing.assert_allclose(ours.presence, torch.sigmoid(logit)[:, 0], atol=1e-4)
