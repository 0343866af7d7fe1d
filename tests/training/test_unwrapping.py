"""Torch twins against the product's numpy code, and labels against the outlines themselves."""

import math
from dataclasses import replace

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="needs torch (optional extra 'train')")

from tests.training import unwrapping as twin  # noqa: E402
from tests.training.photo import Dice, to_linear  # noqa: E402
from tests.training.starts import disturb_camera, make_target, start_outlines  # noqa: E402
from vision.photo.decode import Photo  # noqa: E402
from vision.results import PhotoInfo  # noqa: E402
from vision.rings.torus import outlines as product_outlines  # noqa: E402
from vision.rings.torus import ring_angles  # noqa: E402
from vision.rings.unwrap import FINE, QUICK, WIRE  # noqa: E402
from vision.rings.unwrap import unwrap as product_unwrap  # noqa: E402
from vision.scale.camera import Camera, looking_down  # noqa: E402

CAMERA = Camera(
    rotation=looking_down(0.08, -0.05, 0.7), position=np.array([25.0, -40.0, 150.0]),
    f_px=2500.0, cx=-455.0, cy=790.0,
)  # fmt: skip
WHOLE = torch.full((2,), 2 * math.pi)
RINGS = np.array([[0.1, -0.2, 3.4, 0.62, 0.004, -0.003], [0.15, -0.1, 3.2, 0.7, 0.0, 0.0]])


def matrix_of(camera):
    k = np.array([[camera.f_px, 0, camera.cx], [0, camera.f_px, camera.cy], [0, 0, 1]])
    m = k @ camera.rotation
    return np.hstack([m, (-m @ camera.position)[:, None]])


def tensors(rings):
    n = len(rings)
    matrix = torch.from_numpy(matrix_of(CAMERA)).expand(n, 3, 4)
    return matrix, torch.from_numpy(CAMERA.position).expand(n, 3), torch.from_numpy(rings)


def centred():
    """The camera, moved so that the rings lie inside a 256 px picture."""
    where = CAMERA.project(np.array([0.0, 0.0, 0.6]))
    return Camera(
        rotation=CAMERA.rotation, position=CAMERA.position, f_px=CAMERA.f_px,
        cx=CAMERA.cx + 127.3 - where[0], cy=CAMERA.cy + 128.1 - where[1],
    )  # fmt: skip


def test_outlines_agree_with_the_product():
    angles = ring_angles(192)
    theirs = product_outlines(CAMERA, RINGS, angles)
    ours = twin.outlines(*tensors(RINGS), torch.tensor(angles))
    for a, b in zip(ours, theirs, strict=True):
        np.testing.assert_allclose(a.numpy(), b, atol=1e-7)


@pytest.mark.parametrize(
    ("product", "mine"), [(FINE, twin.RINGS), (QUICK, twin.HALF), (WIRE, twin.WIRES)]
)
def test_unwrapped_planes_agree_with_the_product(product, mine):
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:256, :256]
    smooth = 0.5 + 0.3 * np.sin(x / 7.0 + y / 11.0)
    light = np.stack([smooth, 0.8 * smooth, 1.1 * smooth], -1) + rng.normal(0, 0.02, (256, 256, 3))
    coded = np.round(np.clip(light, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)
    camera = centred()
    info = PhotoInfo(file="crop", width_px=256, height_px=256, taken=None, sha256="")
    photo = Photo(info=info, bgr=coded, f35_mm=None)
    assert (product.sectors, product.samples) == (mine.sectors, mine.samples)
    grid = replace(product, rays=mine.rays)  # the product may read more of them, against noise
    unwrapped = product_unwrap(photo, camera, RINGS, grid=grid)
    theirs = unwrapped.planes
    assert unwrapped.clear.min() == 1.0
    m = torch.from_numpy(matrix_of(camera)).float().expand(2, 3, 4)
    c = torch.from_numpy(camera.position).float().expand(2, 3)
    inner, outer = start_outlines(m, c, torch.from_numpy(RINGS).float(), WHOLE, mine)
    picture = to_linear(torch.from_numpy(coded / 255.0).float()).permute(2, 0, 1)[None]
    ours = twin.unwrap(picture, inner, outer, mine).numpy()
    for light in (slice(0, 3), slice(6, 9)):
        assert np.abs(ours[:, light] - theirs[:, light]).mean() < 1e-4
    assert np.abs(ours[:, 3] - theirs[:, 3]).mean() < 1e-4
    np.testing.assert_allclose(ours[:, 4:6], theirs[:, 4:6], atol=1e-4)


def test_labels_are_where_the_rays_meet_the_true_outlines():
    matrix, camera, rings = tensors(RINGS)
    vertices = torch.arange(512, dtype=torch.float64) * (2 * math.pi / 512)
    truth = torch.stack(twin.outlines(matrix, camera, rings[:1].expand(2, 6), vertices), 1)
    inner, outer = start_outlines(matrix, camera, rings, WHOLE)
    s, _ = twin.true_positions(inner, outer, truth, WHOLE)
    # the start that is the truth itself sees its outlines at 0 and 1
    assert s[0, 0].abs().max() < 2e-4 and (s[0, 1] - 1).abs().max() < 2e-4
    # the other one: its points lie on the true outline (distance to the polygon's vertices' chord)
    points = inner[1] + s[1, 1][:, None] * (outer[1] - inner[1])
    a, b = truth[1, 1], torch.roll(truth[1, 1], -1, 0)
    chord = (b - a) / torch.linalg.norm(b - a, dim=1, keepdim=True)
    rel = points[:, None] - a[None]
    across = (rel[..., 0] * chord[:, 1] - rel[..., 1] * chord[:, 0]).abs()
    near = torch.linalg.norm(rel, dim=2).argmin(1)
    rows = torch.arange(len(points))
    best = torch.minimum(across[rows, near], across[rows, near - 1])
    assert best.max() < 0.01


def test_a_displaced_start_is_no_ring_and_a_near_one_is():
    matrix, camera, rings = tensors(RINGS[:1].repeat(3, 0))
    rings = rings.clone()
    vertices = torch.arange(512, dtype=torch.float64) * (2 * math.pi / 512)
    truth = torch.stack(twin.outlines(matrix, camera, rings, vertices), 1)
    rings[1, 0] += 2.0 * RINGS[0, 3] * 1.2
    rings[2, 3] *= 0.3
    whole = WHOLE[:1].expand(3)
    inner, outer = start_outlines(matrix, camera, rings, whole)
    gap, margin = torch.zeros(3, 2, dtype=torch.float64), torch.zeros(3, dtype=torch.float64)
    target = make_target(inner, outer, truth, whole, gap, margin, torch.tensor([True] * 3))
    assert target.presence.tolist() == [1.0, 0.0, 0.0]


def test_a_piece_of_wire_is_read_along_the_piece_alone():
    matrix, camera, _ = tensors(RINGS[:1])
    bow, length, tube = 300.0, 8.0, 0.6
    piece = torch.tensor([[-bow * 0.6, -bow * 0.8, bow, tube, 0.0, 0.0]], dtype=torch.float64)
    span = torch.tensor([length / bow])
    angles = math.atan2(0.8, 0.6) + (torch.arange(512) / 512 - 0.5) * 2 * length / bow
    truth = torch.stack(twin.outlines(matrix, camera, piece, angles.double()), 1)
    inner, outer = start_outlines(matrix, camera, piece, span)
    s, _ = twin.true_positions(inner, outer, truth, span)
    assert s[0, 0].abs().max() < 2e-4 and (s[0, 1] - 1).abs().max() < 2e-4
    # from end to end of the middle cuts: all but one 192nd of the length
    ends = torch.linalg.norm(inner[0, -1] - inner[0, 0])
    per_mm = torch.linalg.norm(
        twin.project(matrix, torch.tensor([[[0.8, -0.6, tube]]]).double())
        - twin.project(matrix, torch.tensor([[[0.0, 0.0, tube]]]).double())
    )
    assert float(ends / per_mm) == pytest.approx(length * 191 / 192, rel=0.03)


def test_a_disturbed_camera_keeps_the_ring_in_place():
    matrix, camera, _ = tensors(RINGS)
    m, c = disturb_camera(matrix.float(), camera.float(), Dice(1, torch.device("cpu")))
    zero = torch.zeros(2, 1, 3)
    before, after = twin.project(matrix.float(), zero), twin.project(m, zero)
    assert (before - after).abs().max() < 0.05
    # scale: a millimetre stays a millimetre to within the tilt's foreshortening
    one = torch.tensor([[[1.0, 0, 0]], [[1.0, 0, 0]]])
    a = torch.linalg.norm(twin.project(matrix.float(), one) - before, dim=-1)
    b = torch.linalg.norm(twin.project(m, one) - after, dim=-1)
    assert ((a - b).abs() / a).max() < 0.05
    assert (torch.linalg.norm(c - camera, dim=1) > 0.01).all()
