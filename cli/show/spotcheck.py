"""A caliper check as text and as JSON: rings to read, then what the readings say."""

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

from rich.text import Text

from cli.show.guide import steps
from cli.show.numbers import rounded
from cli.words import count, harmless
from vision.batch.read import Shot
from vision.results import Ring
from vision.spotcheck.caliper import Caliper, Expected, What, expect, quantity_of, readable
from vision.spotcheck.choose import Pick
from vision.spotcheck.correction import Correction, correction_record
from vision.spotcheck.slips import Wild
from vision.spotcheck.verdict import Bias, Comparison, Row, Verdict
from vision.trade.gauges import MM_PER_INCH

SPOTCHECK_FORMAT = "annulet-spotcheck"
SPOTCHECK_VERSION = 1

HEADING = "bold"
CAUTION = "yellow"

VERDICTS = {
    Verdict.AGREE: "photo and caliper agree",
    Verdict.DISAGREE: "photo and caliper disagree",
    Verdict.OPEN: "cannot tell yet",
}

LEAST_PLOTTED = 4
PLOT_ROWS, PLOT_COLUMNS = 11, 58
MARKS = {What.WIRE: "w", What.OD: "o", What.ID: "i"}


def picks_text(
    picks: Sequence[Pick], shots: Sequence[Shot], caliper: Caliper, *, width: int
) -> Text:
    """Lay out which rings to take, where they lie, what to read and what to expect."""
    page = Text()
    measured = sum(len(shot.measured) for shot in shots)
    page.append(f"{count(len(picks), 'ring')} of {measured} to take to the caliper\n", HEADING)
    _add_picks(page, picks, shots, caliper, width)
    page.append("\n")
    page.append("how to read them\n", HEADING)
    for number, step in enumerate(steps([pick.ring for pick in picks], caliper), start=1):
        _add(page, f"{number}. {step}", width, indent=3)
    return page


def next_text(
    picks: Sequence[Pick], shots: Sequence[Shot], caliper: Caliper, *, width: int
) -> Text:
    """Lay out which rings to take besides those that were read."""
    page = Text()
    page.append("take these next\n", HEADING)
    _add_picks(page, picks, shots, caliper, width)
    return page


def _add_picks(
    page: Text, picks: Sequence[Pick], shots: Sequence[Shot], caliper: Caliper, width: int
) -> None:
    for pick in picks:
        _add(
            page,
            f"ring {pick.ring.number}, {place_words(pick, shots)}: {harmless(pick.why)}",
            width,
        )
        for expected in expectations(pick.ring, caliper):
            page.append(f"  {_expected_line(pick.ring, expected)}\n")


def expectations(ring: Ring, caliper: Caliper) -> tuple[Expected, ...]:
    """What to read on a ring, and what to expect."""
    return tuple(expect(ring, what, caliper) for what in readable(ring))


def agree_range(expected: Expected, unit: str = "mm") -> tuple[str, str]:
    """Least and largest mean reading at which photo and caliper agree, as a display shows it."""
    low, high = expected.value_mm - expected.u95_mm, expected.value_mm + expected.u95_mm
    if unit == "in":
        return f"{low / MM_PER_INCH:.4f}", f"{high / MM_PER_INCH:.4f}"
    return f"{low:.2f}", f"{high:.2f}"


def place_words(pick: Pick, shots: Sequence[Shot]) -> str:
    """Say where a ring lies: its cell, and the part of the photo."""
    photo = shots[pick.photo].photo
    across = 3 * pick.ring.center_px[0] / photo.width_px
    down = 3 * pick.ring.center_px[1] / photo.height_px
    rows, columns = ("upper", "middle", "lower"), ("left", "middle", "right")
    row, column = rows[min(2, max(0, int(down)))], columns[min(2, max(0, int(across)))]
    where = "in the middle" if row == column else f"{row} {column}".replace("middle m", "m")
    cell = f"cell {harmless(pick.ring.cell)}, " if pick.ring.cell else ""
    return f"{cell}{where} of {harmless(photo.file)}"


def comparison_text(
    comparison: Comparison,
    shots: Sequence[Shot],
    correction: Correction | None,
    *,
    width: int,
) -> Text:
    """Lay out the readings beside the photo, their bias and limits, and the verdict."""
    page = Text()
    several = len({row.photo for row in comparison.rows}) > 1
    for wild in comparison.wild:
        _add(page, wild_words(wild, shots), width, CAUTION)
    if comparison.wild:
        page.append("These do not count below.\n\n", CAUTION)
    if comparison.rows:
        _add_rows(page, comparison.rows, shots, several=several)
        page.append("\n")
        if len(comparison.rows) >= LEAST_PLOTTED:
            _add_plot(page, comparison.rows)
            page.append("\n")
        _add_biases(page, comparison.biases)
        page.append("\n")
    _add(page, f"{VERDICTS[comparison.verdict]}: {comparison.why}", width, HEADING)
    if comparison.verdict is Verdict.DISAGREE and correction is not None:
        _add(page, _cause_words(correction), width)
    return page


def wild_words(wild: Wild, shots: Sequence[Shot]) -> str:
    """Point a wild reading out."""
    reading = wild.reading
    where = f"{reading.place}: " if reading.place else ""
    file = f" of {harmless(shots[reading.photo].photo.file)}" if len(shots) > 1 else ""
    return (
        f"{where}ring {reading.ring}{file}, {reading.what.label} {reading.value_mm:.3f} mm does "
        f"not belong to the others, the photo says {wild.expected_mm:.3f}: {wild.guess}"
    )


def picks_record(picks: Sequence[Pick], shots: Sequence[Shot], caliper: Caliper) -> dict[str, Any]:
    """Build the JSON form of a choice of rings."""
    return {
        "format": SPOTCHECK_FORMAT,
        "version": SPOTCHECK_VERSION,
        "caliper_limit_mm": caliper.limit_mm,
        "photos": [shot.photo.file for shot in shots],
        "rings": [_pick_record(pick, shots, caliper) for pick in picks],
    }


def comparison_record(
    comparison: Comparison,
    shots: Sequence[Shot],
    correction: Correction | None,
    picks: Sequence[Pick],
    caliper: Caliper,
) -> dict[str, Any]:
    """Build the JSON form of a comparison; `rings` are those to read next."""
    return picks_record(picks, shots, caliper) | {
        "verdict": comparison.verdict.value,
        "why": comparison.why,
        "chance": comparison.chance,
        "power": dict(comparison.power),
        "readings": [_row_record(row, shots) for row in comparison.rows],
        "biases": {what.value: _bias_record(bias) for what, bias in comparison.biases.items()},
        "wild": [
            {
                "photo": shots[wild.reading.photo].photo.file,
                "ring": wild.reading.ring,
                "what": wild.reading.what.value,
                "reading_mm": wild.reading.value_mm,
                "photo_mm": wild.expected_mm,
                "place": wild.reading.place,
                "guess": wild.guess,
            }
            for wild in comparison.wild
        ],
        "correction": correction_record(correction) if correction is not None else None,
    }


def _expected_line(ring: Ring, expected: Expected) -> str:
    quantity = quantity_of(ring, expected.what)
    low, high = agree_range(expected)
    said = f"{' ± '.join(rounded(quantity.value, quantity.u95))} mm"
    return f"{expected.what.label:<5} photo {said:<18} expect {low} to {high} by caliper"


def _add_rows(page: Text, rows: Sequence[Row], shots: Sequence[Shot], *, several: bool) -> None:
    page.append(f"{'ring':>5}  what    photo  caliper  differs    ± U   readings\n", HEADING)
    photo = None
    for row in rows:
        if several and row.photo != photo:
            photo = row.photo
            page.append(f"{harmless(shots[photo].photo.file)}\n")
        beyond = abs(row.difference_mm) > row.u95_mm
        page.append(
            f"{row.ring:>5}  {row.what.label:<4}  {row.photo_mm:>7.3f}  "
            f"{row.photo_mm + row.difference_mm:>7.3f}  {_signed(row.difference_mm):>7}  "
            f"{row.u95_mm:.3f}{'!' if beyond else ' '}  {len(row.readings_mm)}\n",
            CAUTION if beyond else "",
        )
    if any(abs(row.difference_mm) > row.u95_mm for row in rows):
        page.append("! differs by more than U, which holds both the photo's and the caliper's\n")
    if any(row.what is What.ID for row in rows):
        page.append("ID by inside jaws: half of the chord's effect is added to the reading\n")


def _add_plot(page: Text, rows: Sequence[Row]) -> None:
    """Draw the differences over the sizes: a wrong scale is a slope, a wrong rim parts i from o."""
    sizes = [row.photo_mm + row.difference_mm / 2 for row in rows]
    reach = max(max(abs(row.difference_mm) for row in rows) * 1.1, 0.02)
    longest = max(sizes) * 1.04
    middle = PLOT_ROWS // 2
    grid = [[" "] * PLOT_COLUMNS for _ in range(PLOT_ROWS)]
    grid[middle] = ["-"] * PLOT_COLUMNS
    for row, size in zip(rows, sizes, strict=True):
        down = middle - round(row.difference_mm / reach * middle)
        across = min(PLOT_COLUMNS - 1, int(size / longest * PLOT_COLUMNS))
        mark = MARKS[row.what]
        grid[down][across] = mark if grid[down][across] in (" ", "-", mark) else "*"
    page.append("caliper less photo (mm) over size\n", HEADING)
    for down, line in enumerate(grid):
        value = (middle - down) / middle * reach
        scale = (
            f"{value:+.3f}" if down in (0, PLOT_ROWS - 1) else " 0.000" if down == middle else ""
        )
        page.append(f"{scale:>7} |{''.join(line).rstrip()}\n")
    ends = f"0{f'{longest:.1f} mm'.rjust(PLOT_COLUMNS - 1)}"
    page.append(f"{'':>7}  {ends}\n")
    page.append("w wire, o OD, i ID, * several in one place\n")


def _add_biases(page: Text, biases: Mapping[What, Bias]) -> None:
    """Bias and limits of agreement of each kind of length, with their confidence limits."""
    page.append("caliper less photo (mm): bias and limits of agreement\n", HEADING)
    columns = [_bias_cells(bias) for bias in biases.values()]
    names = (
        "",
        "bias ± U of both",
        "  by its scatter",
        "lower limit",
        "  95 %",
        "upper limit",
        "  95 %",
    )
    heads = [what.label for what in biases]
    for place, name in enumerate(names):
        cells = heads if place == 0 else [column[place - 1] for column in columns]
        if any(cells):
            page.append(f"{name:<16}{''.join(f'  {cell:<18}' for cell in cells).rstrip()}\n")


def _bias_cells(bias: Bias) -> tuple[str, ...]:
    found = bias.agreement
    values = (
        f"{_signed(found.bias)} ± {bias.u95_mm:.3f}",
        _between(found.bias_limits),
        _signed(found.lower),
        _between(found.lower_limits),
        _signed(found.upper),
        _between(found.upper_limits),
    )
    return values


def _cause_words(correction: Correction) -> str:
    scale, u_scale = 100 * (correction.factor - 1), 200 * correction.u_factor
    said = f"true lengths are {scale:+.2f} ± {u_scale:.2f} % of what the photo says"
    if correction.rim_mm is not None and correction.u_rim_mm is not None:
        said += (
            f", and wires {correction.rim_mm:+.3f} ± {2 * correction.u_rim_mm:.3f} mm "
            "(OD likewise, ID the other way)"
        )
    return f"the readings say: {said}."


def _pick_record(pick: Pick, shots: Sequence[Shot], caliper: Caliper) -> dict[str, Any]:
    hole = quantity_of(pick.ring, What.ID).value
    return {
        "photo": shots[pick.photo].photo.file,
        "ring": pick.ring.number,
        "cell": pick.ring.cell,
        "center_px": list(pick.ring.center_px),
        "why": pick.why,
        "chord_loss_mm": caliper.chord_loss_mm(hole),
        "read": [
            {
                "what": expected.what.value,
                "photo_mm": quantity_of(pick.ring, expected.what).value,
                "photo_u95_mm": quantity_of(pick.ring, expected.what).u95,
                "expected_mm": expected.value_mm,
                "expected_u95_mm": expected.u95_mm,
            }
            for expected in expectations(pick.ring, caliper)
        ],
    }


def _row_record(row: Row, shots: Sequence[Shot]) -> dict[str, Any]:
    return {
        "photo": shots[row.photo].photo.file,
        "ring": row.ring,
        "what": row.what.value,
        "photo_mm": row.photo_mm,
        "readings_mm": list(row.readings_mm),
        "difference_mm": row.difference_mm,
        "difference_u95_mm": row.u95_mm,
    }


def _bias_record(bias: Bias) -> dict[str, Any]:
    found = bias.agreement

    def pair(limits: tuple[float, float] | None) -> list[float] | None:
        return list(limits) if limits is not None else None

    return {
        "rings": found.count,
        "bias_mm": found.bias,
        "bias_u95_mm": bias.u95_mm,
        "bias_limits_mm": pair(found.bias_limits),
        "sd_mm": found.sd,
        "lower_mm": found.lower,
        "lower_limits_mm": pair(found.lower_limits),
        "upper_mm": found.upper,
        "upper_limits_mm": pair(found.upper_limits),
    }


def _signed(value: float | None) -> str:
    return "" if value is None else f"{round(value, 3) + 0.0:+.3f}"


def _between(limits: tuple[float, float] | None) -> str:
    return "" if limits is None else f"{_signed(limits[0])} to {_signed(limits[1])}"


def _add(page: Text, line: str, width: int, style: str = "", *, indent: int = 2) -> None:
    for part in wrap(line, width, subsequent_indent=" " * indent, break_long_words=False):
        page.append(f"{part}\n", style)
