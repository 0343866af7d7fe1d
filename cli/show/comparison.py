"""Two lots compared, as text and as JSON."""

from typing import Any

from rich.text import Text

from cli.show.numbers import rounded, significant
from cli.show.page import BAD, CAUTION, GOOD, LABELS, QUIET, UNITS, add_line, add_table
from cli.words import harmless
from vision.batch.compare import Answer, Comparison, Difference

ANSWERS = {
    Answer.YES: ("yes: mix them", GOOD),
    Answer.NO: ("no: keep them apart", BAD),
    Answer.CANNOT_TELL: ("cannot tell", CAUTION),
}


def comparison_text(found: Comparison, a: str, b: str, *, width: int) -> Text:
    """Lay out the answer and the differences; `a` and `b` name the lots."""
    page = Text()
    words, style = ANSWERS[found.answer]
    add_line(page, f"{words} ({found.reason})", width, style)
    add_line(page, f"A is {harmless(a)}, B is {harmless(b)}", width)
    add_line(page, "", width)
    headings = ("", "A", "B", "B minus A", "sd of A", "sd of B")
    add_table(page, headings, [_row(one) for one in (found.wire, found.inside, found.ar)], width)
    shared = (
        "Both were taken with one kind of coin, sheet or stated scale: if it was the very same "
        "one, its error cancels, as counted here."
        if found.inside.shared
        else "They were taken with different scale references, whose errors do not cancel: "
        "photos with the same coin or sheet compare sharper."
    )
    add_line(page, f"± is U at 95 %. {shared}", width, QUIET)
    for line in _next(found):
        add_line(page, f"next: {line}", width)
    return page


def comparison_record(found: Comparison, a: str, b: str) -> dict[str, Any]:
    """List the same for a program (format `annulet-comparison`, version 1)."""
    return {
        "format": "annulet-comparison",
        "version": 1,
        "a": a,
        "b": b,
        "answer": found.answer.value,
        "reason": found.reason,
        "tolerance_mm": found.tolerance_mm,
        "shared_scale": found.inside.shared,
        "differences": {
            one.name: {
                "mean_a": one.means[0],
                "mean_b": one.means[1],
                "sd_a": one.sds[0],
                "sd_b": one.sds[1],
                "b_minus_a": one.value,
                "u95": one.u95,
            }
            for one in (found.wire, found.inside, found.ar)
        },
    }


def _row(one: Difference) -> tuple[str, ...]:
    difference, u95 = rounded(one.value, one.u95)
    sign = "+" if not difference.startswith("-") else ""
    means = [rounded(mean, one.u95)[0] for mean in one.means]
    sds = ["-" if not sd else significant(sd) for sd in one.sds]
    return (f"{LABELS[one.name]}{UNITS[one.name]}", *means, f"{sign}{difference} ± {u95}", *sds)


def _next(found: Comparison) -> list[str]:
    if found.answer is not Answer.CANNOT_TELL or "may differ" not in found.reason:
        return []
    return [
        "photograph more rings of both lots in the same way, or say with --tolerance-mm what "
        "difference you can live with"
    ]
