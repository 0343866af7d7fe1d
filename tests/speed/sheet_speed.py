"""Time the sheet's finder, stage by stage, on a 12-megapixel photo; asserts nothing.

Run as `python -m tests.speed.sheet_speed`.
"""

import time
from collections.abc import Callable

import cv2
import numpy as np

from tests.vision.drawn import as_photo
from tests.vision.sheet_photo import Shot, looking, take
from vision.photo.look import look_at
from vision.scale.camera import focal_px
from vision.scale.frame import find_sheet
from vision.scale.markers import read_markers
from vision.scale.sheet import all_sheets

REPEATS = 5


def best_ms(work: Callable[[], object]) -> tuple[float, float]:
    """Least wall-clock and processor time of some repeats, milliseconds."""
    walls, cpus = [], []
    for _ in range(REPEATS):
        wall, cpu = time.perf_counter(), time.process_time()
        work()
        walls.append(1000 * (time.perf_counter() - wall))
        cpus.append(1000 * (time.process_time() - cpu))
    return min(walls), min(cpus)


def main() -> None:
    print(f"{'sheet':8} {'stage':22} {'wall ms':>8} {'cpu ms':>8}")
    for paper, height in (("a4", 270.0), ("a5", 190.0), ("a6", 135.0)):
        turn, shift = looking(height_mm=height, tilt_deg=6.0)
        shot = Shot(
            f_px=focal_px(26.0, 4032, 3024),
            width=4032,
            height=3024,
            turn=turn,
            shift=shift,
            lens=np.array([0.02, 0.0, 0.0, 0.0]),
            samples=2,
        )
        grey = take(all_sheets()[paper], shot)
        colour = cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)
        coded = cv2.imencode(".jpg", colour, [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
        stages: dict[str, Callable[[], object]] = {
            "decode of its JPEG": lambda coded=coded: cv2.imdecode(coded, cv2.IMREAD_COLOR),
            "markers": lambda grey=grey: read_markers(grey),
            "whole, grey": lambda grey=grey: find_sheet(grey, 26.0),
            "whole, colour": lambda colour=colour: find_sheet(colour, 26.0),
            "whole, no focal length": lambda grey=grey: find_sheet(grey, None),
            "look of the photo": lambda colour=colour: look_at(as_photo(colour)),
        }
        for stage, work in stages.items():
            wall, cpu = best_ms(work)
            print(f"{paper:8} {stage:22} {wall:8.0f} {cpu:8.0f}")


if __name__ == "__main__":
    main()
