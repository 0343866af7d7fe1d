"""Straight wire that the trained reader never saw, measured by the product's own code.

Wire is read from several starts and from either end (`vision/wires/fit.py`), so there is no twin of
it in torch: pictures are taken here, and the product reads them.
"""

import numpy as np
import torch
from numpy.typing import NDArray

from tests.training.batches import FRAMES, Photos, frame_of, photograph
from tests.training.evaluate import Table
from tests.training.photo import Dice
from tests.training.scenes import KINDS
from tests.training.store import Scenes
from vision.photo.decode import Photo
from vision.results import PhotoInfo
from vision.scale.camera import Camera
from vision.wires.fit import settled

Array = NDArray[np.float64]

START = np.array([0.1, 0.1, 0.015, 0.1])
"""Greatest error of a start: x and y in widths, direction in radians, width as a share."""
PHOTOS_AT_ONCE = 16


def evaluate_wires(scenes: Scenes, *, seed: int) -> Table:
    """Measure all pieces of round wire, each in two photos; a row each.

    Those that end inside the stretch are left out: the product keeps clear of the ends.
    """
    dice = Dice(seed, torch.device("cpu"))
    rng = np.random.default_rng(seed)
    frames = frame_of(scenes.size)
    wire = scenes.kind == KINDS.index("wire")
    round_ = torch.from_numpy(scenes.truth["section"] == 0) & (scenes.gap[:, 1] < 0)
    rows: list[dict[str, float]] = []
    for harder in (False, True):
        for k, frame in enumerate(FRAMES):
            chosen = ((frames == k) & wire & round_).nonzero()[:, 0]
            for some in chosen.split(PHOTOS_AT_ONCE):
                if len(some):
                    photos = photograph(scenes, some, frame, dice, harder=harder)
                    rows += [_measured(scenes, photos, at, rng) for at in range(len(some))]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def _measured(
    scenes: Scenes, photos: Photos, at: int, rng: np.random.Generator
) -> dict[str, float]:
    truth = scenes.truth[int(photos.rows[at])]
    photo, camera = _photo(photos, at), _camera(photos.matrix[at].numpy(), truth["camera"])
    _, _, radius, tube, *_ = truth["torus"]
    out = float(np.arctan2(-truth["torus"][1], -truth["torus"][0]))
    off = rng.uniform(-START, START)
    width = 2.0 * tube
    start = np.array(
        [
            off[0] * width,
            off[1] * width,
            out + np.pi / 2.0 + off[2],
            tube * (1.0 + off[3]),
            1.0 / radius,
            truth["span"] * radius,
        ]
    )
    fit = settled(photo, camera, start[None])
    return {
        "error": float(fit.width_mm[0]) - width,
        "wire_mm": width,
        "wire_px": float(truth["wire_px"]),
        "b_mm": float(fit.expected[0] * fit.width_mm[0]),
        "apart": float(fit.apart[0]),
        "q": float(fit.scatter[0] * fit.width_mm[0]),
        "presence": float(fit.presence[0]),
        "torn": float(fit.torn[0]),
        "surface": float(truth["surface"]),
        "light": float(truth["light"]),
        "material": float(truth["material"]),
    }


def _photo(photos: Photos, at: int) -> Photo:
    """The picture as the product reads it from a file: eight bits, sRGB."""
    light = photos.light[at].clamp(0, 1)
    coded = torch.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    bgr = (coded * 255).round().byte().permute(1, 2, 0).contiguous().numpy()
    height, width = bgr.shape[:2]
    info = PhotoInfo(file="held", width_px=width, height_px=height, taken=None, sha256="")
    return Photo(info=info, bgr=bgr, f35_mm=None)


def _camera(matrix: Array, position: Array) -> Camera:
    """The camera of a (3, 4) matrix, world to pixels."""
    rows = matrix[:, :3] / np.linalg.norm(matrix[2, :3])
    forward = rows[2]
    cx, cy = rows[0] @ forward, rows[1] @ forward
    right, down = rows[0] - cx * forward, rows[1] - cy * forward
    f_px = float(np.linalg.norm(right))
    return Camera(
        rotation=np.stack([right / f_px, down / f_px, forward]),
        position=np.asarray(position, float),
        f_px=f_px,
        cx=float(cx),
        cy=float(cy),
    )
