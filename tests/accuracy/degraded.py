"""How far a photo may be blurred, shaken, brightened, noisy or small until its numbers go wrong.

    python -m tests.accuracy.degraded [PHOTO ...]

Takes the part of a photo with most rings, under its true camera, and spoils it step by step. Each
line gives the errors and the coverage of U before `judge` takes numbers away, and how many rings
keep theirs. The limits of `vision/photo/fitness.py` are read off here. Asserts nothing.
"""

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.truth import SAMPLES, TruePhoto, TrueRing, match, photos_with_truth
from vision.cores import Aside
from vision.errors import VisionError
from vision.photo.circles import find_circles
from vision.photo.decode import Photo, read_photo
from vision.photo.fitness import judge
from vision.photo.light import LINEAR
from vision.photo.look import look_at
from vision.pipeline import read_rings
from vision.results import Scale, Status
from vision.rings.find import find_rings
from vision.rings.others import unlike_table
from vision.scale.camera import Camera
from vision.scale.level import Round
from vision.wires.seeds import straight_lines

PART_PX, STEP_PX = 1500, 250
DEFAULT = ("brass-on-sheet", "aluminium-forty", "rubber-rings")


def encode(light: np.ndarray) -> np.ndarray:
    """Linear light to 8-bit levels by the sRGB curve (IEC 61966-2-1)."""
    light = np.clip(light, 0.0, 1.0)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.rint(255.0 * code).astype(np.uint8)


def blurred(bgr: np.ndarray, sigma: float) -> np.ndarray:
    return encode(cv2.GaussianBlur(cv2.LUT(bgr, LINEAR), (0, 0), sigma))


def shaken(bgr: np.ndarray, length: int) -> np.ndarray:
    """Moved by so many pixels along 30 degrees while the shutter was open."""
    line = np.zeros((length, length), np.float32)
    line[length // 2] = 1.0
    turn = cv2.getRotationMatrix2D(((length - 1) / 2, (length - 1) / 2), 30.0, 1.0)
    line = cv2.warpAffine(line, turn, (length, length))
    return encode(cv2.filter2D(cv2.LUT(bgr, LINEAR), -1, line / line.sum()))


def brightened(bgr: np.ndarray, gain: float) -> np.ndarray:
    return encode(cv2.LUT(bgr, LINEAR) * gain)


def noisy(bgr: np.ndarray, levels: float) -> np.ndarray:
    rng = np.random.default_rng(20241125)
    return np.clip(bgr + levels * rng.standard_normal(bgr.shape), 0, 255).astype(np.uint8)


def smaller(bgr: np.ndarray, share: float) -> np.ndarray:
    return cv2.resize(bgr, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)


SPOILED: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "as it is": lambda bgr: bgr,
    **{f"blur {s} px": lambda bgr, s=s: blurred(bgr, s) for s in (1, 1.5, 2, 3, 4, 6)},
    **{f"shake {n} px": lambda bgr, n=n: shaken(bgr, n) for n in (7, 15, 25)},
    **{f"light x {g}": lambda bgr, g=g: brightened(bgr, g) for g in (0.06, 0.25, 1.5, 1.8, 2.3, 3)},
    **{f"noise {n} levels": lambda bgr, n=n: noisy(bgr, n) for n in (5, 10, 20, 40)},
    **{f"size x {s}": lambda bgr, s=s: smaller(bgr, s) for s in (0.6, 0.45, 0.35, 0.25)},
}


@dataclass(frozen=True, slots=True)
class TrueSight:
    """The true camera in place of a reference: what is left are errors of the edges."""

    camera: Camera
    size: tuple[int, int]

    def hides(self, x: float, y: float) -> bool:
        return False

    def levelled(self, rings: list[Round]) -> "TrueSight":
        return self

    def retraced(self) -> "TrueSight":
        return self

    def cell_of(self, x_mm: float, y_mm: float) -> str | None:
        return None

    def scale(self) -> Scale:
        camera = self.camera
        return Scale(
            kind="stated",
            reference="true camera",
            camera=camera,
            mm_per_px=camera.mm_per_px(np.array(self.size) / 2.0),
            u_rel=0.0,
            camera_height_mm=camera.height_mm,
            u_height_rel=0.0,
            tilt_deg=camera.tilt_deg,
            u_tilt_deg=0.0,
            u_lens_rel=0.0,
        )


@dataclass(frozen=True, slots=True)
class Part:
    """A square of a photo, its rings and its camera, in its own pixels."""

    photo: Photo
    camera: Camera
    rings: tuple[TrueRing, ...]


def best_part(photo: TruePhoto) -> Part:
    """Cut out the square that holds most measurable rings."""
    whole = read_photo(photo.path)
    truth = json.loads(photo.path.with_suffix(".truth.json").read_text(encoding="utf-8"))
    width, height = whole.size
    side = min(PART_PX, width, height)
    held: tuple[TrueRing, ...] = ()
    corner = (0, 0)
    for left in range(0, width - side + 1, STEP_PX):
        for top in range(0, height - side + 1, STEP_PX):
            inside = tuple(
                ring
                for ring in photo.rings
                if ring.measurable
                and ring.radius_px < ring.x - left < side - ring.radius_px
                and ring.radius_px < ring.y - top < side - ring.radius_px
            )
            if len(inside) > len(held):
                held, corner = inside, (left, top)
    left, top = corner
    camera = truth["camera"]
    return Part(
        photo=replace(whole, bgr=whole.bgr[top : top + side, left : left + side].copy()),
        camera=Camera(
            rotation=np.array(camera["R"]),
            position=np.array(camera["position"]),
            f_px=camera["f_px"],
            cx=camera["cx"] - left,
            cy=camera["cy"] - top,
            k1=camera["k1"],
            k2=camera["k2"],
        ),
        rings=tuple(replace(ring, x=ring.x - left, y=ring.y - top) for ring in held),
    )


def spoil(part: Part, how: Callable[[np.ndarray], np.ndarray]) -> Part:
    bgr = np.ascontiguousarray(how(part.photo.bgr))
    share = bgr.shape[0] / part.photo.bgr.shape[0]
    camera = part.camera
    return Part(
        photo=replace(part.photo, bgr=bgr),
        camera=replace(
            camera,
            f_px=camera.f_px * share,
            cx=(camera.cx + 0.5) * share - 0.5,
            cy=(camera.cy + 0.5) * share - 0.5,
        ),
        rings=tuple(
            replace(ring, x=ring.x * share, y=ring.y * share, radius_px=ring.radius_px * share)
            for ring in part.rings
        ),
    )


def line(part: Part) -> str:
    look = look_at(part.photo)
    blur_px = np.nan if look.blur_px is None else look.blur_px
    said = f"blur {blur_px:5.2f} noise {100 * look.noise_rel:4.1f} %"
    try:
        sight = TrueSight(part.camera, part.photo.size)
        found = find_rings(part.photo, sight.camera, find_circles(part.photo))
        aside = Aside(straight_lines, part.photo), Aside(unlike_table, part.photo)
        scale, rings, _ = read_rings(part.photo, sight, found, *aside)
    except VisionError as error:
        return f"{said}  refused: {error}"
    places = np.array([ring.center_px for ring in rings]).reshape(-1, 2)
    pairs = [
        (true, rings[index])
        for true, index in ((part.rings[key], at) for key, at in match(part.rings, places).items())
        if rings[index].wire_mm is not None
    ]
    try:
        kept, _ = judge(part.photo.bgr, look, scale, rings, "photo")
        left = sum(ring.status is Status.MEASURED for ring in kept)
    except VisionError:
        left = 0
    if not pairs:
        return f"{said}  no ring measured"
    off = np.array(
        [
            (
                ring.wire_mm.value - true.wire_mm,
                ring.id_mm.value - true.id_mm,
                ring.wire_mm.u95,
                ring.id_mm.u95,
            )
            for true, ring in pairs
            if ring.wire_mm is not None and ring.id_mm is not None
        ]
    )
    wire_px = np.median([true.wire_mm for true, _ in pairs]) / scale.mm_per_px
    numbers = [
        f"{off[:, k].mean():+.3f} {np.quantile(np.abs(off[:, k]), 0.95):.3f} "
        f"{np.mean(np.abs(off[:, k]) <= off[:, 2 + k]):.2f}"
        for k in (0, 1)
    ]
    return (
        f"{said}  wire {wire_px:3.0f} px  {len(pairs):2}/{len(part.rings):2}   "
        f"{numbers[0]}   {numbers[1]}   {left:2}"
    )


def main(names: list[str]) -> None:
    print(
        "                                                 found   wire bias p95 cover  ID    kept"
    )
    for photo in photos_with_truth([SAMPLES, *{Path(name).parent for name in names}]):
        if photo.path.stem not in (names and [Path(name).stem for name in names]) and (
            names or photo.path.stem not in DEFAULT
        ):
            continue
        part = best_part(photo)
        for how, work in SPOILED.items():
            print(f"{photo.path.stem[:16]:16} {how:15} {line(spoil(part, work))}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
