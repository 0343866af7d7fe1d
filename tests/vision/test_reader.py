"""The reader's arithmetic against scipy's, and that a ring is read the same in any company."""

import numpy as np
import pytest
from scipy.signal import correlate

from vision.rings.reader import Net, _along, _windows, read_edges
from vision.rings.unwrap import COARSE, FINE, QUICK, WIRE, Grid

RNG = np.random.default_rng(20261126)


@pytest.mark.parametrize(("count", "taps"), [(40, 5), (41, 5), (43, 3), (7, 4), (5, 5)])
def test_windows_are_a_convolution(count: int, taps: int) -> None:
    rows = RNG.normal(size=(count, 6)).astype(np.float32)
    weight = RNG.normal(size=(taps, 6, 4)).astype(np.float32)
    found = _windows(rows, weight.reshape(-1, 4))[: count - taps + 1]
    expected = np.stack(
        [correlate(rows, weight[..., k], mode="valid")[:, 0] for k in range(4)], axis=1
    )
    np.testing.assert_allclose(found, expected, atol=1e-4)


@pytest.mark.parametrize("apart", [1, 2, 4])
def test_looking_along_is_a_dilated_convolution(apart: int) -> None:
    strip = RNG.normal(size=(2, 3, 16, 5)).astype(np.float32)
    strip[:, :, 8:] = 0.0  # so many zeros that no sector sees the next
    weight = RNG.normal(size=(5, 5, 5)).astype(np.float32)
    spread = np.zeros((4 * apart + 1, 5, 5), np.float32)
    spread[::apart] = weight
    held = np.pad(strip.reshape(-1, 5), ((2, 2), (0, 0)))
    seen = _along(held, weight.reshape(1, 5, 5, 5), apart).reshape(apart, 2, 3, -1, 5)
    for ring, sector in np.ndindex(2, 3):
        padded = np.pad(strip[ring, sector], ((2 * apart, 2 * apart), (0, 0)))
        expected = np.stack(
            [correlate(padded, spread[..., k], mode="valid")[:, 0] for k in range(5)], axis=1
        )
        found = np.empty_like(expected)
        for turn in range(apart):
            found[turn::apart] = seen[turn, ring, sector]
        np.testing.assert_allclose(found[:8], expected[:8], atol=1e-4)


@pytest.mark.parametrize(
    ("net", "grid"),
    [(Net.RING, FINE), (Net.WIRE, WIRE), (Net.QUICK, QUICK), (Net.SCOUT, COARSE)],
)  # fmt: skip
def test_a_ring_is_read_the_same_alone_and_among_others(net: Net, grid: Grid) -> None:
    planes = RNG.uniform(0.0, 1.3, (5, 9 if grid.wide else 6, grid.sectors, grid.samples))
    planes = planes.astype(np.float32)
    together = read_edges(planes, net)
    alone = read_edges(planes[3:4], net)
    np.testing.assert_allclose(together.edges[3:4], alone.edges, atol=1e-4)
    np.testing.assert_allclose(together.presence[3:4], alone.presence, atol=1e-4)
    assert together.edges.shape == (5, 2, grid.sectors)
