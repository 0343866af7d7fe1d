"""Make the README's outputs, pictures and caliper readings anew: `python -m tests.readme`."""

import csv
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from playwright.sync_api import sync_playwright

from tests.cli.test_report_browser import CHROMIUM
from tests.readme.session import README, ROOT, Step, lay_out, renew, run
from vision.pipeline import measure_photo
from vision.results import Result

PICTURES = ROOT / "sample_images" / "readme"
READ = ROOT / "sample_images" / "brass-on-sheet.jpg"
READINGS = READ.with_suffix(".readings.csv")

PICTURE_WIDTH = 900
QUALITY = 84

READ_RINGS = 4
"""Rings of the sample that somebody took to a caliper, twice each length."""
CALIPER_SD_MM, CALIPER_STEP_MM = 0.008, 0.01
CHORD_LOSS_MM = 0.01
"""Inside jaws of 0.5 mm flats read a hole of 6 mm about so much small."""


def main() -> int:
    """Write all three; 0 if done."""
    _write_readings(measure_photo(READ))
    with tempfile.TemporaryDirectory() as made:
        folder = lay_out(Path(made))
        _write_pictures(folder)
    with tempfile.TemporaryDirectory() as made:
        folder = lay_out(Path(made))
        text = renew(README.read_text(encoding="utf-8"), folder)
    README.write_text(text, encoding="utf-8")
    return 0


def _write_readings(result: Result) -> None:
    """Read some rings with an imagined caliper: the true size, its step and a hand's scatter."""
    truth = json.loads(READ.with_suffix(".truth.json").read_text(encoding="utf-8"))["rings"]
    rng = np.random.default_rng(20260302)
    by_size = sorted(result.measured, key=lambda ring: ring.center_px)
    chosen = [by_size[place] for place in np.linspace(0, len(by_size) - 1, READ_RINGS).astype(int)]
    with READINGS.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["ring", "what", "reading_mm"])
        for ring in sorted(chosen, key=lambda one: one.number):
            true = min(truth, key=lambda one: _apart(one, ring.center_px))
            lengths = {"wire": true["wire_mm"], "od": true["od_mm"]}
            lengths["id"] = true["id_mm"] - CHORD_LOSS_MM
            for what, length in lengths.items():
                for _ in range(2):
                    seen = length + rng.normal(0.0, CALIPER_SD_MM)
                    read = round(seen / CALIPER_STEP_MM) * CALIPER_STEP_MM
                    writer.writerow([ring.number, what, f"{read:.2f}"])


def _apart(true: dict[str, Any], center: tuple[float, float]) -> float:
    return float(np.hypot(*(np.array(true["centre_px_display"]) - center)))


def _write_pictures(folder: Path) -> None:
    PICTURES.mkdir(exist_ok=True)
    measure = "annulet measure sample_images/bronze-handful.jpg --coin eur-1 --out out"
    run(Step(measure, ""), folder)
    _shrink(folder / "sample_images" / "bronze-handful.jpg", PICTURES / "photo.jpg")
    _shrink(folder / "out" / "bronze-handful.marked.jpg", PICTURES / "marked.jpg")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1000, "height": 1000})
        page.goto((folder / "out" / "bronze-handful.html").as_uri())
        page.wait_for_timeout(1000)
        page.screenshot(path=str(PICTURES / "report.jpg"), type="jpeg", quality=QUALITY)
        browser.close()


def _shrink(source: Path, target: Path) -> None:
    picture = cv2.imread(str(source))
    assert picture is not None
    scale = PICTURE_WIDTH / picture.shape[1]
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    cv2.imwrite(str(target), small, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])


if __name__ == "__main__":
    sys.exit(main())
