"""Photos of the same rings: measured one by one, then one result and its files."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from cli.inputs import MARKED_SUFFIX
from cli.outputs import CSV_SUFFIX, JSON_SUFFIX, REPORT_SUFFIX
from cli.report.measured import measured_html
from cli.run import worker_count, workers
from cli.show.marked import marked_jpeg
from cli.show.record import csv_text, json_text
from cli.show.same_rings import beside_rings
from cli.show.terminal import progress
from vision.many import Failure, measure_photos
from vision.photo.decode import read_photo
from vision.results import Result
from vision.rings.section import Profile
from vision.scale.reference import Reference
from vision.spotcheck.correction import Correction, apply_correction
from vision.together.combine import Together


def measure_same_rings(
    photos: list[Path],
    reference: Reference,
    profile: Profile,
    correction: Correction | None,
    jobs: int | None,
) -> tuple[dict[Path, Result], list[Failure]]:
    """Measure the photos and keep all that a combined result needs, in the order given.

    Raises
    ------
    CorrectionError
        The correction leaves nothing of a ring.
    """
    results: dict[Path, Result] = {}
    failures: dict[Path, Failure] = {}
    with (
        workers(jobs or worker_count(len(photos))) as executor,
        progress(len(photos)) as advance,
    ):
        for photo, outcome in measure_photos(photos, reference, profile, executor=executor):
            if isinstance(outcome, Failure):
                failures[photo] = outcome
            else:
                results[photo] = (
                    outcome if correction is None else apply_correction(outcome, correction)
                )
            advance()
    return (
        {photo: results[photo] for photo in photos if photo in results},
        [failures[photo] for photo in photos if photo in failures],
    )


def contents_of(first: Path, whole: Together) -> Mapping[str, bytes]:
    """Draw up the files of a combined result by suffix; the picture is that of its first photo."""
    picture = read_photo(first).bgr
    report = measured_html(whole.result, picture, written=date.today(), together=whole)
    return {
        JSON_SUFFIX: json_text(whole.result).encode("utf-8"),
        CSV_SUFFIX: csv_text([whole.result], beside_rings(whole)).encode("utf-8"),
        MARKED_SUFFIX: marked_jpeg(picture, whole.result),
        REPORT_SUFFIX: report.encode("utf-8"),
    }
