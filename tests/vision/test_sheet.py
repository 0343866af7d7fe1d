"""The sheet's layout: sizes, cells, and what OpenCV's own detectors see of its picture."""

import cv2
import numpy as np
import pytest

from tests.vision.sheet_picture import sheet_picture, to_picture
from vision.scale.sheet import (
    TICK_GREY,
    all_sheets,
    boxes_of,
    corners_of,
    dark_diagonals,
    labels_of,
    marker_dictionary,
    markers_of,
    sheet_for,
    sheet_with,
)

PLACE_MM = 0.02
"""Promised place of every mark."""

PRINTER_MARGIN_MM = 5.0
"""Edge that common printers leave white."""

PAPERS = ["a4", "a5", "a6", "letter"]


@pytest.mark.parametrize(
    ("paper", "size"),
    # ISO 216 and ANSI Y14.1 (8.5 x 11 inches), long side first.
    [("a4", (297, 210)), ("a5", (210, 148)), ("a6", (148, 105)), ("letter", (279.4, 215.9))],
)
def test_sheets_have_the_size_of_their_paper(paper, size) -> None:
    sheet = sheet_for(paper)
    assert (sheet.width_mm, sheet.height_mm) == pytest.approx(size)


def test_an_unknown_paper_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r"a4, letter, a5, a6, got 'b5'"):
        sheet_for("b5")


@pytest.mark.parametrize("paper", PAPERS)
def test_all_that_is_printed_keeps_clear_of_the_printer_s_margin(paper) -> None:
    sheet = sheet_for(paper)
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2 - PRINTER_MARGIN_MM
    for box in boxes_of(sheet):
        assert box.left >= -half[0] and box.right <= half[0]
        assert box.bottom >= -half[1] and box.top <= half[1]
    for label in labels_of(sheet):
        # A line of text is at most 0.75 of its capitals wide a letter (Helvetica, from memory).
        reach = [len(label.text) * 0.75 * label.capital_mm / 2, label.capital_mm / 2]
        reach = reach[::-1] if label.upward else reach
        assert abs(label.x) + reach[0] <= half[0] and abs(label.y) + reach[1] <= half[1]


def test_a_marker_number_tells_the_paper() -> None:
    numbers = [marker.number for sheet in all_sheets().values() for marker in markers_of(sheet)]
    assert len(numbers) == len(set(numbers))
    for sheet in all_sheets().values():
        assert all(sheet_with(marker.number) is sheet for marker in markers_of(sheet))
    assert sheet_with(max(numbers) + 1) is None


def test_cells_are_named_by_column_letter_and_row_number() -> None:
    sheet = sheet_for("a5")
    # 10 x 6 cells of 15 mm about the middle: the top left one spans x -75..-60, y 30..45.
    assert sheet.cell_of(-67.0, 40.0) == "A1"
    assert sheet.cell_of(-44.0, 1.0) == "C3"
    assert sheet.cell_of(74.0, -44.0) == "K6"
    assert sheet.cell_of(0.1, 0.1) == "F3"
    assert "I" not in {(sheet.cell_of(x, 0.0) or "")[:1] for x in range(-74, 75)}


def test_the_strip_beside_the_cells_belongs_to_them_and_the_frame_to_none() -> None:
    sheet = sheet_for("a5")
    width, height = sheet.work_mm
    assert sheet.cell_of(-width / 2 + 0.1, height / 2 - 0.1) == "A1"
    assert sheet.cell_of(-width / 2 - 0.1, 0.0) is None
    assert sheet.cell_of(0.0, height / 2 + 0.1) is None
    assert sheet.cell_of(float("nan"), 0.0) is None


@pytest.mark.parametrize("paper", PAPERS)
def test_names_stand_in_their_own_column_and_row(paper) -> None:
    sheet = sheet_for(paper)
    names = [label for label in labels_of(sheet) if label.grey == TICK_GREY]
    assert len(names) == 2 * (sheet.cell_columns + sheet.cell_rows)
    for label in names:
        assert label.text in (sheet.cell_of(label.x, label.y) or "")


@pytest.mark.parametrize("paper", PAPERS)
def test_the_work_area_holds_nothing_but_faint_ticks(paper) -> None:
    sheet = sheet_for(paper)
    picture = sheet_picture(sheet, 300.0)
    half = np.array([[-0.5, 0.5], [0.5, -0.5]]) * sheet.work_mm
    (left, top), (right, bottom) = np.rint(to_picture(sheet, half, 300.0)).astype(int)
    work = picture[top + 2 : bottom - 1, left + 2 : right - 1]
    assert work.min() >= round(255 * TICK_GREY) - 1
    assert np.mean(work < 250) < 0.02


@pytest.mark.parametrize("paper", PAPERS)
def test_opencv_reads_every_marker_at_its_stated_place(paper) -> None:
    sheet, dpi = sheet_for(paper), 600.0
    options = cv2.aruco.DetectorParameters()
    options.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    # Its own way to tell numbers costs time by the size of the picture's dictionary.
    detector = cv2.aruco.ArucoDetector(marker_dictionary(), options)
    picture = sheet_picture(sheet, dpi)
    corners, numbers, _ = detector.detectMarkers(picture)
    found = dict(zip(np.ravel(numbers).tolist(), corners, strict=True))
    assert sorted(found) == [marker.number for marker in markers_of(sheet)]
    for marker in markers_of(sheet):
        off = found[marker.number].reshape(4, 2) - to_picture(sheet, marker.corners, dpi)
        assert np.abs(off).max() * 25.4 / dpi < PLACE_MM


@pytest.mark.parametrize("paper", PAPERS)
def test_the_frame_is_a_charuco_board_for_opencv(paper) -> None:
    sheet, dpi = sheet_for(paper), 300.0
    detector = cv2.aruco.CharucoDetector(as_board(sheet))
    places, numbers, _, _ = detector.detectBoard(sheet_picture(sheet, dpi))
    # OpenCV numbers the corners row by row over the whole board, from the top left.
    across = sheet.columns - 1
    nominal = {
        (row - 1) * across + column - 1: corner
        for corner in corners_of(sheet)
        for column, row in [corner_index(sheet, corner)]
    }
    found = dict(zip(np.ravel(numbers).tolist(), places.reshape(-1, 2), strict=True))
    # OpenCV also guesses the four inner corners of the frame, where no two black squares meet.
    guessed = {
        (row - 1) * across + column - 1
        for row in (2, sheet.rows - 2)
        for column in (2, sheet.columns - 2)
    }
    assert set(found) - guessed == set(nominal)
    expected = to_picture(sheet, np.array(list(nominal.values())), dpi)
    off = np.array([found[number] for number in nominal]) - expected
    assert np.abs(off).max() * 25.4 / dpi < PLACE_MM


@pytest.mark.parametrize("paper", PAPERS)
def test_dark_diagonals_point_to_black_squares(paper) -> None:
    sheet, dpi = sheet_for(paper), 150.0
    picture = sheet_picture(sheet, dpi)
    ahead = 0.1 * sheet.square_mm * dark_diagonals(sheet)
    for turn, dark in ((ahead, True), (ahead[:, ::-1] * [-1.0, 1.0], False)):
        x, y = np.rint(to_picture(sheet, corners_of(sheet) + turn, dpi)).astype(int).T
        assert np.all((picture[y, x] < 128) == dark)


def corner_index(sheet, corner) -> tuple[int, int]:
    width, height = sheet.frame_mm
    column = round((corner[0] + width / 2) / sheet.square_mm)
    return column, round((height / 2 - corner[1]) / sheet.square_mm)


def as_board(sheet):
    """The sheet in OpenCV's terms; squares of the blank middle get numbers nobody prints."""
    by_place = {(marker.x, marker.y): marker.number for marker in markers_of(sheet)}
    numbers, unused = [], 1000
    for row in range(sheet.rows):
        for column in range(sheet.columns):
            if (row + column) % 2 == 0:
                continue
            x = (column + 0.5 - sheet.columns / 2) * sheet.square_mm
            y = (sheet.rows / 2 - row - 0.5) * sheet.square_mm
            if (x, y) not in by_place:
                unused += 1
            numbers.append(by_place.get((x, y), unused))
    return cv2.aruco.CharucoBoard(
        (sheet.columns, sheet.rows),
        sheet.square_mm,
        markers_of(sheet)[0].side_mm,
        marker_dictionary(),
        np.array(numbers),
    )
