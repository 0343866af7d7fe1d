"""Labels, refit and losses against rings whose size is known."""

import math

import pytest

torch = pytest.importorskip("torch", reason="needs torch (optional extra 'train')")

from tests.training.losses import basis, fitted_errors  # noqa: E402
from tests.training.refit import refit  # noqa: E402
from tests.training.starts import start_outlines  # noqa: E402
from tests.training.test_unwrapping import RINGS, WHOLE, tensors  # noqa: E402
from tests.training.unwrapping import RINGS as GRID  # noqa: E402
from tests.training.unwrapping import outlines, true_positions  # noqa: E402

TOLERANCE_MM = 1e-4


def test_rounds_on_exact_labels_end_on_the_true_ring():
    matrix, camera, rings = tensors(RINGS)
    true = rings[:1].expand(2, 6)
    vertices = torch.arange(512, dtype=torch.float64) * (2 * math.pi / 512)
    truth = torch.stack(outlines(matrix, camera, true, vertices), 1)
    tori = rings.clone()
    for _ in range(4):
        inner, outer = start_outlines(matrix, camera, tori, WHOLE)
        s, _ = true_positions(inner, outer, truth, WHOLE)
        edges = s.reshape(2, 2, GRID.sectors, GRID.rays).mean(3)
        tori, _ = refit(matrix, camera, tori, edges, torch.full_like(edges, 50.0))
    assert (tori[:, :4] - true[:, :4]).abs().max() < TOLERANCE_MM


def test_the_loss_reads_a_wider_wire_and_a_larger_ring():
    ring = torch.tensor([0.3, -0.2, 0.01, 0.004, 0.0, 0.0])  # x, y, radius, wire radius, ovals
    error = (basis(GRID.sectors, torch.device("cpu")) * ring).sum(2)[None]
    weight = torch.full((1, 2, GRID.sectors), 20.0)
    # wire grows by twice 0.004 widths, ID by twice (0.01 - 0.004)
    found = fitted_errors(error * 0.05, weight)[0]
    assert found.tolist() == pytest.approx([0.05 * 0.008, 0.05 * 0.012], abs=2e-5)
