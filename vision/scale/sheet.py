"""The printed scale sheet: where every mark of it lies, in millimetres.

Sheet frame: origin in the middle of the page, x right, y up. A chessboard frame two squares wide
runs around a clear work area; the frame's white squares hold markers whose numbers say which
paper and which version of the sheet this is. Everything that is printed is given here as data:
the PDF writer and the pictures of the tests draw the same values.

There is one sheet a paper, not one a light: black ink is read as well on grey or blue paper and
over a light pad as on white (`tests/vision/test_sheet_frame.py`), and a tint printed on white paper
would be dots beside the rims that are to be measured.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHEET_VERSION = 1
"""Grows when a mark moves; each version has marker numbers of its own."""

FRAME_SQUARES = 2
"""Width of the chessboard frame, in squares."""

MARKER_SHARE = 0.7
"""Side of a marker as a share of its square; leaves 0.15 squares of white around it."""

MARKER_MODULES = 7
"""Modules along a marker's side: 5 bits and a black border."""

COLUMN_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Names of the cell columns; I and O are left out, they read as 1 and 0."""

TICK_GREY = 0.6
"""Grey of the cell ticks and their names: plain to a person, faint to an edge finder."""

TICK_ARM_MM = 1.2
TICK_WIDTH_MM = 0.15
LABEL_MM = 1.6
"""Height of the capitals of cell names and notes."""

BAR_LINE_MM = 0.25
"""Width of a check bar's lines."""

BAR_END_MM = 3.0
"""Length of the two end lines of a check bar."""

BAR_EDGE_MM = 7.0
"""Distance of the check bars and notes from the page's edge, clear of most printers' margins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A filled upright rectangle; `grey` is 0 for black, 1 for white."""

    left: float
    bottom: float
    right: float
    top: float
    grey: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A line of text, centred on (x, y); `upward` turns it a quarter turn anticlockwise."""

    text: str
    x: float
    y: float
    capital_mm: float = LABEL_MM
    grey: float = 0.0
    upward: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """A numbered square mark."""

    number: int
    x: float
    y: float
    """Its middle."""
    side_mm: float

    @property
    def corners(self) -> Array:
        """Corners (4, 2) mm: top left, top right, bottom right, bottom left."""
        half = self.side_mm / 2
        signs = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
        corners: Array = np.array([self.x, self.y]) + half * signs
        return corners


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckBar:
    """A line of nominal length between the middles of its two end lines."""

    x: float
    y: float
    """Its middle."""
    length_mm: float
    upright: bool
    """Along y, else along x."""

    @property
    def ends(self) -> Array:
        """Middles (2, 2) mm of the end lines: left and right, or bottom and top."""
        along = np.array([0.0, 0.5]) if self.upright else np.array([0.5, 0.0])
        middle = np.array([self.x, self.y])
        ends: Array = np.stack([middle - self.length_mm * along, middle + self.length_mm * along])
        return ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One paper's sheet; lengths in millimetres."""

    paper: str
    title: str
    """The paper's name as people write it."""
    width_mm: float
    height_mm: float
    square_mm: float
    columns: int
    rows: int
    """Squares of the chessboard, counted over its outside; both odd."""
    first_marker: int
    bar_mm: float
    cell_mm: float
    cell_columns: int
    cell_rows: int
    version: int = SHEET_VERSION

    @property
    def frame_mm(self) -> tuple[float, float]:
        """Outer width and height of the frame."""
        return self.columns * self.square_mm, self.rows * self.square_mm

    @property
    def work_mm(self) -> tuple[float, float]:
        """Width and height of the clear work area."""
        taken = 2 * FRAME_SQUARES * self.square_mm
        width, height = self.frame_mm
        return width - taken, height - taken

    @property
    def bars(self) -> tuple[CheckBar, CheckBar]:
        """The check bars along x (bottom margin) and along y (left margin)."""
        along_x = CheckBar(
            x=0.0, y=BAR_EDGE_MM - self.height_mm / 2, length_mm=self.bar_mm, upright=False
        )
        along_y = CheckBar(
            x=BAR_EDGE_MM - self.width_mm / 2, y=0.0, length_mm=self.bar_mm, upright=True
        )
        return along_x, along_y

    def cell_of(self, x_mm: float, y_mm: float) -> str | None:
        """Name of the cell at a place, such as `C4`; None outside the work area.

        The strip between the cells and the frame belongs to the nearest cell.
        """
        width, height = self.work_mm
        if not (abs(x_mm) <= width / 2 and abs(y_mm) <= height / 2):
            return None
        column = np.floor(x_mm / self.cell_mm + self.cell_columns / 2)
        row = np.floor(self.cell_rows / 2 - y_mm / self.cell_mm)
        column = int(np.clip(column, 0, self.cell_columns - 1))
        row = int(np.clip(row, 0, self.cell_rows - 1))
        return f"{COLUMN_LETTERS[column]}{row + 1}"


@cache
def all_sheets() -> dict[str, Sheet]:
    """List every sheet there is, by the name of its paper."""
    sheets = (
        Sheet(
            paper="a4", title="A4", width_mm=297.0, height_mm=210.0, square_mm=8.0,
            columns=33, rows=23, first_marker=0, bar_mm=100.0,
            cell_mm=16.0, cell_columns=14, cell_rows=9,
        ),
        Sheet(
            paper="letter", title="US letter", width_mm=279.4, height_mm=215.9, square_mm=8.0,
            columns=31, rows=23, first_marker=120, bar_mm=100.0,
            cell_mm=16.0, cell_columns=13, cell_rows=9,
        ),
        Sheet(
            paper="a5", title="A5", width_mm=210.0, height_mm=148.0, square_mm=7.5,
            columns=25, rows=17, first_marker=240, bar_mm=100.0,
            cell_mm=15.0, cell_columns=10, cell_rows=6,
        ),
        Sheet(
            paper="a6", title="A6", width_mm=148.0, height_mm=105.0, square_mm=5.0,
            columns=25, rows=17, first_marker=360, bar_mm=70.0,
            cell_mm=10.0, cell_columns=10, cell_rows=6,
        ),
    )  # fmt: skip
    return {sheet.paper: sheet for sheet in sheets}


def sheet_for(paper: str) -> Sheet:
    """Look up the sheet for `a4`, `a5`, `a6` or `letter`; ValueError for another name."""
    sheets = all_sheets()
    if paper not in sheets:
        raise ValueError(f"paper must be one of {', '.join(sheets)}, got {paper!r}")
    return sheets[paper]


@cache
def sheet_with(marker: int) -> Sheet | None:
    """Look up the sheet that carries a marker number, None if no sheet does."""
    for sheet in all_sheets().values():
        if 0 <= marker - sheet.first_marker < len(markers_of(sheet)):
            return sheet
    return None


def marker_dictionary() -> Any:
    """Load the marker alphabet: 5 x 5 bits, 1000 numbers (two wrong bits can be mended)."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)


@cache
def markers_of(sheet: Sheet) -> tuple[Marker, ...]:
    """List the sheet's markers, numbered row by row from the top left."""
    side = MARKER_SHARE * sheet.square_mm
    return tuple(
        Marker(number=sheet.first_marker + index, x=x, y=y, side_mm=side)
        for index, (x, y) in enumerate(
            _middle(sheet, column, row)
            for column, row in _frame_squares(sheet)
            if not _is_black(column, row)
        )
    )


def corners_of(sheet: Sheet) -> Array:
    """List the chessboard corners (n, 2) mm inside the frame, row by row from the top left.

    Each is where two black squares touch: the one kind of mark that neither spreading ink nor a
    tone curve moves.
    """
    width, height = sheet.frame_mm
    found = [
        (column * sheet.square_mm - width / 2, height / 2 - row * sheet.square_mm)
        for row in range(1, sheet.rows)
        for column in range(1, sheet.columns)
        if row in (1, sheet.rows - 1) or column in (1, sheet.columns - 1)
    ]
    return np.array(found, dtype=np.float64)


def dark_diagonals(sheet: Sheet) -> Array:
    """Give for each corner of `corners_of` the unit direction (n, 2) towards a black square."""
    width, height = sheet.frame_mm
    corners = corners_of(sheet)
    column = np.rint((corners[:, 0] + width / 2) / sheet.square_mm)
    row = np.rint((height / 2 - corners[:, 1]) / sheet.square_mm)
    # The square up and to the right of corner (column, row) is square (column, row - 1).
    up_right_black = (column + row - 1) % 2 == 0
    diagonals = np.stack([np.where(up_right_black, 1.0, -1.0), np.ones(len(corners))], axis=1)
    unit: Array = diagonals / np.sqrt(2.0)
    return unit


def boxes_of(sheet: Sheet) -> Iterator[Box]:
    """Yield every filled rectangle; black ones of a mark touch, the end lines of a bar cross it."""
    half = sheet.square_mm / 2
    for column, row in _frame_squares(sheet):
        if _is_black(column, row):
            x, y = _middle(sheet, column, row)
            yield Box(left=x - half, bottom=y - half, right=x + half, top=y + half)
    for marker in markers_of(sheet):
        yield from _marker_boxes(marker)
    for bar in sheet.bars:
        yield from _bar_boxes(bar)
    yield from _tick_boxes(sheet)


def labels_of(sheet: Sheet) -> Iterator[Label]:
    """Yield every line of text on the sheet."""
    width, height = sheet.work_mm
    span_x, span_y = sheet.cell_columns * sheet.cell_mm, sheet.cell_rows * sheet.cell_mm
    strip_x, strip_y = (width + span_x) / 4, (height + span_y) / 4
    for index in range(sheet.cell_columns):
        x = (index + 0.5) * sheet.cell_mm - span_x / 2
        for y in (strip_y, -strip_y):
            yield Label(text=COLUMN_LETTERS[index], x=x, y=y, grey=TICK_GREY)
    for index in range(sheet.cell_rows):
        y = span_y / 2 - (index + 0.5) * sheet.cell_mm
        for x in (-strip_x, strip_x):
            yield Label(text=str(index + 1), x=x, y=y, grey=TICK_GREY)
    yield from _margin_labels(sheet)


def _margin_labels(sheet: Sheet) -> Iterator[Label]:
    edge_x, edge_y = sheet.width_mm / 2 - BAR_EDGE_MM, sheet.height_mm / 2 - BAR_EDGE_MM
    gap = sheet.bar_mm / 2 + 7.0
    length = f"{sheet.bar_mm:g} mm"
    yield Label(text=length, x=gap, y=-edge_y)
    yield Label(text=length, x=-edge_x, y=gap, upward=True)
    yield Label(text="Print at 100 %, not fit to page", x=0.0, y=edge_y)
    yield Label(text=f"annulet sheet {sheet.version} - {sheet.title}", x=edge_x, y=0.0, upward=True)


def _frame_squares(sheet: Sheet) -> Iterator[tuple[int, int]]:
    inside_x = range(FRAME_SQUARES, sheet.columns - FRAME_SQUARES)
    inside_y = range(FRAME_SQUARES, sheet.rows - FRAME_SQUARES)
    for row in range(sheet.rows):
        for column in range(sheet.columns):
            if column not in inside_x or row not in inside_y:
                yield column, row


def _is_black(column: int, row: int) -> bool:
    return (column + row) % 2 == 0


def _middle(sheet: Sheet, column: int, row: int) -> tuple[float, float]:
    x = (column + 0.5 - sheet.columns / 2) * sheet.square_mm
    y = (sheet.rows / 2 - row - 0.5) * sheet.square_mm
    return x, y


def _marker_boxes(marker: Marker) -> Iterator[Box]:
    picture = cv2.aruco.generateImageMarker(marker_dictionary(), marker.number, MARKER_MODULES)
    module = marker.side_mm / MARKER_MODULES
    left, top = marker.corners[0]
    for row in range(MARKER_MODULES):
        y = float(top - row * module)
        for start, stop in _dark_runs(picture[row]):
            yield Box(
                left=float(left + start * module),
                bottom=y - module,
                right=float(left + stop * module),
                top=y,
            )


def _dark_runs(line: NDArray[np.uint8]) -> Iterator[tuple[int, int]]:
    dark = np.concatenate([[0], (line < 128).astype(np.int8), [0]])
    steps = np.flatnonzero(np.diff(dark))
    for start, stop in zip(steps[::2], steps[1::2], strict=True):
        yield int(start), int(stop)


def _bar_boxes(bar: CheckBar) -> Iterator[Box]:
    line, end = BAR_LINE_MM / 2, BAR_END_MM / 2
    (left, bottom), (right, top) = bar.ends.tolist()
    if bar.upright:
        yield Box(left=left - line, bottom=bottom, right=left + line, top=top)
        for y in (bottom, top):
            yield Box(left=left - end, bottom=y - line, right=left + end, top=y + line)
    else:
        yield Box(left=left, bottom=bottom - line, right=right, top=bottom + line)
        for x in (left, right):
            yield Box(left=x - line, bottom=bottom - end, right=x + line, top=bottom + end)


def _tick_boxes(sheet: Sheet) -> Iterator[Box]:
    arm, line = TICK_ARM_MM, TICK_WIDTH_MM / 2
    for column in range(sheet.cell_columns + 1):
        x = (column - sheet.cell_columns / 2) * sheet.cell_mm
        for row in range(sheet.cell_rows + 1):
            y = (row - sheet.cell_rows / 2) * sheet.cell_mm
            yield Box(left=x - arm, bottom=y - line, right=x + arm, top=y + line, grey=TICK_GREY)
            yield Box(left=x - line, bottom=y - arm, right=x + line, top=y + arm, grey=TICK_GREY)
