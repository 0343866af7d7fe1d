"""The options that state the scale, made into one statement."""

from typing import TYPE_CHECKING

from cli.problems import UsageProblem
from cli.words import either

if TYPE_CHECKING:
    from vision.scale.reference import Reference

MM_PER_INCH = 25.4


def read_reference(
    *,
    coin: str | None,
    sheet: bool,
    mm_per_px: float | None,
    dpi: float | None,
    height_mm: float | None,
    bar_x_mm: float | None,
    bar_y_mm: float | None,
) -> "Reference":
    """Turn the scale options into one statement, refusing contradictions.

    Raises
    ------
    UsageProblem
        If two options state the scale, or one is given that its scale has no use for.
    CoinError
        If the coin is unknown or cannot serve.
    """
    given = {"--coin": coin, "--sheet": sheet or None, "--mm-per-px": mm_per_px, "--dpi": dpi}
    named = [option for option, value in given.items() if value is not None]
    # A coin may lie on the sheet: then it bears witness to the print.
    if len(named) > 1 and named != ["--coin", "--sheet"]:
        raise UsageProblem(
            f"{' and '.join(named)} were given, but a photo has one scale",
            hint=f"give only {either(named)}",
        )
    stated = mm_per_px is not None or dpi is not None
    if height_mm is not None and not stated:
        raise UsageProblem(
            "--height-mm goes with a stated scale; a coin or sheet gives the height by itself",
            hint="leave it out, or add --mm-per-px or --dpi",
        )
    if (bar_x_mm is not None or bar_y_mm is not None) and stated:
        raise UsageProblem(
            f"--bar-x and --bar-y are read on the printed sheet; {named[0]} has no use for them",
            hint=f"leave them out, or give --sheet instead of {named[0]}",
        )

    # Both need numpy: only now, so that help and usage errors come at once.
    from vision.scale.reference import Reference
    from vision.trade.coins import lookup

    return Reference(
        coin=lookup(coin).name if coin is not None else None,
        sheet=sheet,
        mm_per_px=MM_PER_INCH / dpi if dpi is not None else mm_per_px,
        height_mm=height_mm,
        bar_x_mm=bar_x_mm,
        bar_y_mm=bar_y_mm,
    )
