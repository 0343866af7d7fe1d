"""Time a whole measurement by stage, in times of the JPEG's own decoding; asserts nothing.

    python -m tests.speed.photo_speed [PHOTO ...]

Without photos: four sample photos, and one of them at 48 megapixels. Each is measured in a
process of its own, once to warm up and then `REPEATS` times; the least time counts. Then `BATCH` of
each are measured as the command line measures many, in as many processes as there are cores. The
last rows are the most memory that the first process held, and the errors, for speed alone is easy.
"""

import os
import resource
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

if TYPE_CHECKING:
    from tests.accuracy.truth import TruePhoto
    from vision.scale.reference import Reference

REPEATS = 5
BATCH = 12
STAGES = (
    "see_sheet",
    "look_at",
    "straight_lines",
    "find_circles",
    "see_reference",
    "find_rings",
    "unlike_table",
    "refind",
    "settled",
    "upheld",
    "find_wires",
    "find_others",
    "rings_of",
)
"""Names in `vision.pipeline`, in the order of its work. The first three run beside the fourth, the
reference is looked for beside the rings, and what differs from the table while the camera is
levelled, which is in none of them; neither are the rings' gaps, looked for since `upheld`."""
SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
USUAL = ("copper-fifty", "aluminium-forty", "copper-and-brass", "brass-on-sheet")


def measured(path: Path) -> dict[str, float]:
    """Seconds of each stage, of all, and of decoding; megabytes; rings; median errors in mm."""
    import vision.pipeline as pipeline
    from cli.run import workers
    from tests.accuracy.__main__ import errors_of
    from tests.accuracy.truth import photos_with_truth
    from vision.photo.decode import read_photo

    spent: dict[str, float] = defaultdict(float)

    def timed(work: Callable[..., Any], name: str) -> Callable[..., Any]:
        def run(*given: Any, **named: Any) -> Any:
            begun = time.perf_counter()
            try:
                return work(*given, **named)
            finally:
                spent[name] += time.perf_counter() - begun

        return run

    for name in STAGES:
        setattr(pipeline, name, timed(getattr(pipeline, name), name))
    photo = next(p for p in photos_with_truth([path.parent]) if p.path == path)
    reference = _reference(photo)
    coded = np.fromfile(path, np.uint8)
    best: dict[str, float] = {}
    with workers(1):  # the cores are used as the command line uses them
        for _ in range(1 + REPEATS):
            spent.clear()
            begun = time.perf_counter()
            cv2.imdecode(coded, cv2.IMREAD_COLOR)
            decoded = time.perf_counter() - begun
            begun = time.perf_counter()
            result = pipeline.measure(read_photo(path), reference)
            every = time.perf_counter() - begun
            if not best or every < best["all"]:
                best = {"all": every, "decode": min(decoded, best.get("decode", 9e9)), **spent}
    count, errors = errors_of(photo, result, {})
    return {
        **best,
        "megapixels": result.photo.width_px * result.photo.height_px / 1e6,
        "rings": float(count.found),
        "MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "wire": float(np.median([abs(e.wire_mm) for e in errors])),
        "id": float(np.median([abs(e.id_mm) for e in errors])),
    }


def in_a_batch(path: Path) -> float:
    """Seconds that each of many such photos takes."""
    from cli.run import worker_count, workers
    from tests.accuracy.truth import photos_with_truth
    from vision.many import measure_photos

    reference = _reference(next(p for p in photos_with_truth([path.parent]) if p.path == path))
    jobs = worker_count(BATCH)
    with workers(jobs) as executor:
        list(measure_photos(jobs * [path], reference, executor=executor))
        begun = time.perf_counter()
        list(measure_photos(BATCH * [path], reference, executor=executor))
        return (time.perf_counter() - begun) / BATCH


def _reference(photo: "TruePhoto") -> "Reference":
    from vision.scale.reference import Reference

    return Reference(coin=None if photo.sheet else photo.coin)


def enlarged(path: Path, folder: Path) -> Path:
    """The photo at twice the width and height, with its truth."""
    import json

    picture = cv2.imread(str(path))
    assert picture is not None
    large = folder / f"{path.stem}-48.jpg"
    cv2.imwrite(str(large), cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC))
    truth = json.loads(path.with_suffix(".truth.json").read_text(encoding="utf-8"))
    truth["image"] = large.name
    for thing in (*truth["rings"], *truth["coins"]):
        for name in thing:
            if name.endswith("_px") or "_px_" in name:
                thing[name] = (2 * np.array(thing[name])).tolist()
    large.with_suffix(".truth.json").write_text(json.dumps(truth), encoding="utf-8")
    return large


def main(photos: list[Path]) -> None:
    """Print one column a photo."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the program itself does
    with tempfile.TemporaryDirectory() as folder:
        if not photos:
            photos = [SAMPLES / f"{name}.jpg" for name in USUAL]
            photos.append(enlarged(photos[1], Path(folder)))
        columns = []
        for photo in photos:
            with get_context("spawn").Pool(1) as pool:
                columns.append(pool.apply(measured, (photo.resolve(),)))
            columns[-1]["batch"] = in_a_batch(photo.resolve())
    print(f"{'':18}" + "".join(f"{photo.stem[:18]:>20}" for photo in photos))
    for name in ("megapixels", "rings", "decode", *STAGES, "all"):
        unit = "" if name in ("megapixels", "rings") else " s"
        values = "".join(f"{column.get(name, 0.0):20.2f}" for column in columns)
        print(f"{name.strip('_') + unit:18}{values}")
    for label, value in (
        ("times decoding", lambda c: c["all"] / c["decode"]),
        ("one of a batch, s", lambda c: c["batch"]),
        ("times decoding", lambda c: c["batch"] / c["decode"]),
        ("memory, MB", lambda c: c["MB"]),
        ("wire p50, mm", lambda c: c["wire"]),
        ("ID p50, mm", lambda c: c["id"]),
    ):
        digits = 3 if "mm" in label else 2 if label.endswith(" s") else 1 if "times" in label else 0
        print(f"{label:18}" + "".join(f"{value(column):20.{digits}f}" for column in columns))


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]])
