"""The sheet's PDF, drawn by poppler and measured; and the command that writes it."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from cli.show.sheet import sheet_pdf
from tests.vision.sheet_picture import sheet_picture, to_picture
from vision.scale.sheet import MARKER_MODULES, labels_of, markers_of, sheet_for

PLACE_MM = 0.02
"""Promised place of marker corners and check bars."""

POPPLER_GAMMA = 1.5
"""Poppler draws a pixel that is covered to a share c with c^1.5 of the ink (Splash.cc,
splashAAGamma); c comes in sixteenths. Its greys 89, 165 and 223 are 3/4, 1/2 and 1/4."""

POPPLER_OUTWARD_PX = 0.125
"""It fills every quarter of a pixel that a shape touches: an edge stands 0 to 1/4 pixel too far
out, on average half of that (0.011 mm at 300 dpi)."""

PAPERS = ["a4", "a5", "a6", "letter"]

needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="pdftoppm is not installed (Debian: poppler-utils)"
)


def by_poppler(paper: str, dpi: int, folder: Path) -> np.ndarray:
    """Ink (0 paper, 1 black) of the page as pdftoppm draws it."""
    (folder / "sheet.pdf").write_bytes(sheet_pdf(paper))
    call = ["pdftoppm", "-r", str(dpi), "-gray", "-singlefile", "sheet.pdf", "sheet"]
    subprocess.run(call, cwd=folder, check=True)
    shade = 1.0 - cv2.imread(str(folder / "sheet.pgm"), cv2.IMREAD_GRAYSCALE) / 255.0
    return shade ** (1 / POPPLER_GAMMA)


def ends_of_ink(line: np.ndarray) -> tuple[float, float]:
    """Where one run of ink begins and ends along a line, from the share of ink in each pixel."""
    middle = float(np.sum(line * np.arange(len(line))) / line.sum())
    return middle - line.sum() / 2 + 0.5, middle + line.sum() / 2 + 0.5


def strip(ink: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Part of the page between two pixel positions, and its first pixel."""
    first, last = np.rint(np.minimum(low, high)).astype(int), np.rint(np.maximum(low, high))
    return ink[first[1] : int(last[1]) + 1, first[0] : int(last[0]) + 1], first


@needs_poppler
@pytest.mark.parametrize("dpi", [300, 600])
@pytest.mark.parametrize("paper", PAPERS)
def test_marker_corners_lie_at_their_stated_places(paper, dpi, tmp_path) -> None:
    sheet = sheet_for(paper)
    ink = by_poppler(paper, dpi, tmp_path)
    errors = []
    for marker in markers_of(sheet):
        module = marker.side_mm / MARKER_MODULES
        (left, top), (right, bottom) = marker.corners[0], marker.corners[2]
        # Each border is a bar of one module: across its middle third, its ends are two corners.
        for y in (top - module / 2, bottom + module / 2):
            line = band(sheet, ink, (left - module, right + module), y, module / 6, dpi)
            errors += [line[0] - left, line[1] - right]
        for x in (left + module / 2, right - module / 2):
            line = band(sheet, ink, (bottom - module, top + module), x, module / 6, dpi, True)
            errors += [line[0] - bottom, line[1] - top]
    assert len(errors) == 8 * len(markers_of(sheet))
    assert np.abs(errors).max() < PLACE_MM


def band(sheet, ink, span, across, half, dpi, upright=False) -> tuple[float, float]:
    """Ends in mm of the ink along a band of the page, from low to high coordinates."""
    ends = np.array([[span[0], across - half], [span[1], across + half]])
    ends = ends[:, ::-1] if upright else ends
    part, first = strip(ink, *to_picture(sheet, ends, dpi))
    low, high = ends_of_ink(part.mean(axis=1 if upright else 0))
    low, high = low + POPPLER_OUTWARD_PX, high - POPPLER_OUTWARD_PX
    # `ends_of_ink` counts from the first pixel's near side; a pixel's middle is its number.
    low, high = (end - 0.5 + first[1 if upright else 0] for end in (low, high))
    scale = 25.4 / dpi
    if upright:
        return tuple(sheet.height_mm / 2 - (end + 0.5) * scale for end in (high, low))
    return tuple((end + 0.5) * scale - sheet.width_mm / 2 for end in (low, high))


@needs_poppler
@pytest.mark.parametrize("dpi", [300, 600])
@pytest.mark.parametrize("paper", PAPERS)
def test_check_bars_are_as_long_as_they_say(paper, dpi, tmp_path) -> None:
    sheet = sheet_for(paper)
    ink = by_poppler(paper, dpi, tmp_path)
    for bar in sheet.bars:
        middles = []
        for x, y in bar.ends:
            # Beside the bar's own line, an end line stands alone: its middle is half its ends.
            aside = (x + 0.9) if bar.upright else (y + 0.9)
            place = y if bar.upright else x
            ends = band(sheet, ink, (place - 1.0, place + 1.0), aside, 0.3, dpi, bar.upright)
            middles.append(sum(ends) / 2)
        assert middles == pytest.approx(bar.ends[:, 1 if bar.upright else 0], abs=PLACE_MM)
        assert middles[1] - middles[0] == pytest.approx(sheet.bar_mm, abs=PLACE_MM)


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
def test_the_tests_picture_shows_what_the_pdf_prints(paper, tmp_path) -> None:
    sheet, dpi = sheet_for(paper), 300
    printed = by_poppler(paper, dpi, tmp_path)
    drawn = 1.0 - sheet_picture(sheet, dpi) / 255.0
    height, width = (min(pair) for pair in zip(printed.shape, drawn.shape, strict=True))
    # Black marks: the grey of the ticks and the shapes of letters are drawn each in its way.
    apart = np.abs(printed[:height, :width] - drawn[:height, :width])
    for label in labels_of(sheet):
        reach = np.array([len(label.text) * label.capital_mm / 2, label.capital_mm])
        reach = reach[::-1] if label.upward else reach
        box = np.array([label.x, label.y]) + np.outer([-1.0, 1.0], reach)
        part, _ = strip(apart, *to_picture(sheet, box, dpi))
        part[:] = 0.0
    # A quarter of a pixel more across and down (see above) is 7/16 of a pixel at a corner.
    assert apart[drawn > 0.5].max() < 7 / 16 and np.mean(apart > 0.3) < 1e-4


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_has_the_paper_s_size(paper, tmp_path) -> None:
    (tmp_path / "sheet.pdf").write_bytes(sheet_pdf(paper))
    told = subprocess.run(
        ["pdfinfo", "sheet.pdf"], cwd=tmp_path, check=True, capture_output=True, text=True
    ).stdout
    words = next(line for line in told.splitlines() if line.startswith("Page size")).split()
    size = np.array([float(words[2]), float(words[4])]) * 25.4 / 72
    assert size == pytest.approx([sheet_for(paper).width_mm, sheet_for(paper).height_mm], abs=0.001)
    assert "Pages:           1" in told


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_says_how_to_print_it_and_what_it_is(paper, tmp_path) -> None:
    (tmp_path / "sheet.pdf").write_bytes(sheet_pdf(paper))
    call = ["pdftotext", "-layout", "sheet.pdf", "-"]
    told = subprocess.run(call, cwd=tmp_path, check=True, capture_output=True, text=True).stdout
    sheet = sheet_for(paper)
    assert "Print at 100 %, not fit to page" in told
    assert told.count(f"{sheet.bar_mm:g} mm") == 2
    assert f"annulet sheet {sheet.version} - {sheet.title}" in told


@pytest.mark.parametrize("paper", PAPERS)
def test_the_same_paper_gives_the_same_bytes(paper) -> None:
    assert sheet_pdf(paper) == sheet_pdf(paper)
    assert sheet_pdf(paper).startswith(b"%PDF-1.6")


def test_the_command_writes_the_sheet(run: Callable, tmp_path) -> None:
    out = tmp_path / "sheet.pdf"
    ended = run("sheet", "--paper", "a6", "--out", out)
    assert ended.exit_code == 0
    assert out.read_bytes() == sheet_pdf("a6")
    assert "100 %" in ended.stderr and "70 mm" in ended.stderr and ended.stdout == ""


def test_a_file_that_is_there_is_replaced_only_when_asked(run: Callable, tmp_path) -> None:
    out = tmp_path / "mine.pdf"
    out.write_text("my own notes")
    refused = run("sheet", "--out", out)
    assert refused.exit_code == 2
    assert "already there" in refused.stderr and "--force" in refused.stderr
    assert out.read_text() == "my own notes"
    assert run("sheet", "--out", out, "--force").exit_code == 0
    assert out.read_bytes() == sheet_pdf("a5")


def test_an_unknown_paper_is_a_wrong_call(run: Callable, tmp_path) -> None:
    out = tmp_path / "sheet.pdf"
    ended = run("sheet", "--paper", "b5", "--out", out)
    assert ended.exit_code == 2 and "letter" in ended.stderr
    assert not out.exists()


def test_a_place_that_cannot_be_written_is_a_wrong_call(run: Callable, tmp_path) -> None:
    (tmp_path / "file").write_text("")
    ended = run("sheet", "--out", tmp_path / "file" / "sheet.pdf")
    assert ended.exit_code == 2 and "cannot write" in ended.stderr
