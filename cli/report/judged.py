"""The report of a verdict: is this shipment what was ordered, and which rings say so."""

from collections.abc import Mapping, Sequence
from datetime import date

from cli.report.picture import Embedded
from cli.report.plots import PLOTTED, plot
from cli.report.render import render
from cli.report.rows import Row, State, row_of
from cli.report.sections import (
    CAUTIONS,
    budget_of,
    by_distance,
    check_steps,
    checks_of,
    facts_of,
    views_of,
)
from cli.show.lot import size_words
from cli.show.verdict import (
    EXAMPLES_NAMED,
    RINGS_NAMED,
    SECOND_LOOK,
    count_line,
    limit_words,
    next_lines,
    ordered_words,
    rings_line,
    share_line,
    variables_line,
)
from vision.batch.judge import Conformity, Decision, JudgedRing, Verdict
from vision.batch.read import Shot
from vision.results import Ring, Status

WORDS = {
    State.GOOD: "conforms",
    State.DOUBT: "undecided",
    State.OFF: "off size",
    State.UNUSABLE: "not judged",
}

NAMED = (
    ("Off size, to take out", State.OFF),
    ("Undecided, within U of a limit", State.DOUBT),
)

STATES = {
    Conformity.CONFORMING: State.GOOD,
    Conformity.UNDECIDED: State.DOUBT,
    Conformity.NOT_CONFORMING: State.OFF,
}

SIGNS = {
    Decision.ACCEPT: State.GOOD,
    Decision.CANNOT_TELL: State.DOUBT,
    Decision.REJECT: State.OFF,
}


def judged_html(
    verdict: Verdict,
    pictures: Mapping[int, Embedded],
    repeats: Sequence[str],
    *,
    written: date,
) -> str:
    """Write the report of a verdict.

    Parameters
    ----------
    pictures : the marked photos by their place in the verdict's batch (from 0); those that were
        not found are left out
    repeats : a sentence for each photo that was given twice
    written : date of the report

    Returns
    -------
    One HTML document that needs no other file.
    """
    batch, order = verdict.report.batch, verdict.order
    rows = _rows(verdict)
    sized = [row for row in rows if row.sizes]
    limits = {one.name: one.limits for one in verdict.variables}
    return render(
        "judged.html",
        title=order.name,
        order=order,
        written=written.isoformat(),
        decision=verdict.decision.value,
        sign=SIGNS[verdict.decision].value,
        reason=verdict.reason,
        causes=verdict.causes,
        todo=next_lines(verdict),
        second_look=SECOND_LOOK
        if verdict.more and verdict.having(Conformity.NOT_CONFORMING)
        else "",
        lines=_lines(verdict),
        repeats=repeats,
        sizes=[(size_words(group), facts_of(group)) for group in verdict.report.groups],
        named=[
            (heading, found, found[: _shown(len(found), len(verdict.rings))])
            for heading, state in NAMED
            if (found := [row for row in by_distance(rows) if row.state is state])
        ],
        shots=batch.shots,
        pictures=pictures,
        outlined=dict.fromkeys(pictures, False),
        rows=rows,
        cards=by_distance(rows),
        views=views_of(rows),
        words=WORDS,
        plots=[plot(sized, name, limits.get(name)) for name in PLOTTED],
        normally=[variables_line(one, order) for one in verdict.variables]
        if len(verdict.rings) > 1
        else [],
        counted=count_line(verdict.count, verdict) if verdict.count is not None else "",
        checks=checks_of(batch.shots, rows),
        steps=check_steps(batch.shots),
        budget=budget_of([member.ring for member in batch.members]),
        cautions=CAUTIONS,
    )


def _shown(found: int, judged: int) -> int:
    """How many of so many rings to name: few where most are off, which nobody picks out."""
    return EXAMPLES_NAMED if 2 * found > judged > RINGS_NAMED else RINGS_NAMED


def _lines(verdict: Verdict) -> list[tuple[str, str]]:
    """What was ordered and what was found, as pairs of a word and its text."""
    pairs = [f"ordered: {ordered_words(verdict.order)}", rings_line(verdict), share_line(verdict)]
    return [(name, text.strip()) for name, _, text in (pair.partition(":") for pair in pairs)]


def _rows(verdict: Verdict) -> list[Row]:
    judged = {(ring.member.shot, ring.member.ring.number): ring for ring in verdict.rings}
    shots = verdict.report.batch.shots
    return [
        _row(ring, shots, place, judged.get((place, ring.number)))
        for place, shot in enumerate(shots)
        for ring in shot.rings
    ]


def _row(ring: Ring, shots: Sequence[Shot], place: int, judged: JudgedRing | None) -> Row:
    if judged is None or ring.status is Status.UNUSABLE:
        state, away = State.UNUSABLE, 0.0
        said = "; ".join(ring.reasons) or "no reason given"
    else:
        state, worst = STATES[judged.conformity], judged.worst
        said, away = limit_words(worst), worst.beyond / worst.guard
    return row_of(
        ring,
        photo=place,
        several=len(shots) > 1,
        state=state,
        said=said,
        away=away,
        remarks=ring.warnings,
    )
