"""Options that commands share, and options with long explanations."""

import math
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


def positive(value: float | None) -> float | None:
    """Refuse an option's value that is no positive number."""
    if value is not None and not (math.isfinite(value) and value > 0):
        raise typer.BadParameter(f"must be a positive number, got {value}")
    return value


class Shape(StrEnum):
    """The shapes of wire, in the trade's words; `vision.rings.section` holds what they mean."""

    ROUND = "round"
    SQUARE = "square"
    HALF_ROUND = "half-round"
    HALF_ROUND_INSIDE = "half-round-inside"
    TWISTED = "twisted"


WireProfile = Annotated[
    Shape,
    typer.Option(
        "--profile",
        help="Shape of the wire: half-round lies on its flat side, half-round-inside has it "
        "inside the ring; of twisted wire the envelope is measured.",
    ),
]

AsJson = Annotated[
    bool, typer.Option("--json", help="Print JSON on standard output and nothing else there.")
]

Photos = Annotated[
    list[Path],
    typer.Argument(
        metavar="PHOTO",
        help="Photos (JPEG, PNG, TIFF, WebP, HEIC), or folders of photos.",
    ),
]

ResultFiles = Annotated[
    list[Path],
    typer.Argument(
        metavar="RESULT",
        help="JSON files that annulet measure wrote, or folders of them.",
    ),
]

CoinName = Annotated[
    str | None,
    typer.Option(
        "--coin", metavar="NAME", help="The coin in the photo, such as eur-1: see annulet coins."
    ),
]

OnSheet = Annotated[
    bool, typer.Option("--sheet", help="Take the scale from the printed sheet and nothing else.")
]

MmPerPx = Annotated[
    float | None,
    typer.Option(
        "--mm-per-px",
        metavar="X",
        callback=positive,
        help="Millimetres per pixel, for a fixed camera or a microscope.",
    ),
]

Dpi = Annotated[
    float | None,
    typer.Option(
        "--dpi", metavar="X", callback=positive, help="Pixels per inch, for a flatbed scan."
    ),
]

HeightMm = Annotated[
    float | None,
    typer.Option(
        "--height-mm",
        metavar="MM",
        callback=positive,
        help="Height of the lens over the table, with --mm-per-px or --dpi; "
        "left out, the view is taken as straight down everywhere, as in a scanner.",
    ),
]

BarX = Annotated[
    float | None,
    typer.Option(
        "--bar-x",
        metavar="MM",
        callback=positive,
        help="What a caliper reads on the check bar at the sheet's lower edge.",
    ),
]

BarY = Annotated[
    float | None,
    typer.Option(
        "--bar-y",
        metavar="MM",
        callback=positive,
        help="What a caliper reads on the check bar at the sheet's left edge.",
    ),
]

CorrectionFile = Annotated[
    Path | None,
    typer.Option(
        "--correction",
        metavar="FILE",
        help="Correct all sizes by what annulet spotcheck --save wrote for this set-up.",
    ),
]

OutFolder = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="DIR",
        help="Write report (HTML), marked photo, JSON and CSV of each photo into this folder.",
    ),
]

Force = Annotated[bool, typer.Option("--force", help="Overwrite files that are already there.")]

Resume = Annotated[
    bool,
    typer.Option(
        "--resume",
        help="Measure only photos whose files in the --out folder are missing; "
        "a photo is done if content and settings are the same.",
    ),
]

SameRings = Annotated[
    bool,
    typer.Option(
        "--same-rings",
        help="The photos show the same untouched rings, the sheet turned or camera or lamp moved "
        "between them: combine them into one result, under the first photo's name.",
    ),
]

Explain = Annotated[
    str | None,
    typer.Option(
        "--explain",
        metavar="N",
        help="Print what makes up the uncertainty of ring N, or of wire W1, W2 ...",
    ),
]

Jobs = Annotated[
    int | None,
    typer.Option(
        "--jobs",
        metavar="N",
        min=1,
        help="Photos measured at a time; left out, as many as there are cores and memory for.",
    ),
]

Rings = Annotated[
    int | None,
    typer.Option(
        "--rings",
        metavar="N",
        min=1,
        max=10_000_000,
        help="Rings that the piece takes, for the order; left out, the number stays blank.",
    ),
]

Metal = Annotated[
    str | None,
    typer.Option(
        "--metal", metavar="TEXT", help="The metal, which you know and a photo only guesses."
    ),
]

SparePercent = Annotated[
    float | None,
    typer.Option(
        "--spare-percent",
        metavar="P",
        min=0.0,
        max=1000.0,
        help="Rings to order beyond the need; left out, 5.",
    ),
]
