"""The exported file in OpenCV's dnn against the network in torch."""

import warnings

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="needs torch (optional extra 'train')")
pytest.importorskip("onnx", reason="needs onnx (optional extra 'train')")

from tests.training.export import OUTPUTS, write_onnx  # noqa: E402
from tests.training.network import CONFIGS, Reader  # noqa: E402

LARGEST_FILE = 1_048_576
"""Bytes: what the product may ship."""


@pytest.mark.parametrize("name", sorted(CONFIGS))
def test_opencv_reads_what_torch_reads_at_any_batch_size(name, tmp_path):
    torch.manual_seed(1)
    net, path = Reader(CONFIGS[name]).eval(), tmp_path / "reader.onnx"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the exporter warns of its own age
        write_onnx(net, path)
    assert path.stat().st_size < LARGEST_FILE
    reader = cv2.dnn.readNetFromONNX(str(path))
    for count in (1, 3):
        planes = np.random.default_rng(count).normal(size=(count, 6, 32, 144)).astype(np.float32)
        reader.setInput(planes, "rings")
        found = reader.forward(OUTPUTS)
        with torch.no_grad():
            wanted = net(torch.from_numpy(planes))
        for ours, theirs in zip(found, wanted, strict=True):
            np.testing.assert_allclose(ours.reshape(theirs.shape), theirs.numpy(), atol=1e-4)
