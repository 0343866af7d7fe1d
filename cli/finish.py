"""What becomes of a measured photo, in the process that measured it and still holds the picture."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from cli.inputs import MARKED_SUFFIX
from cli.outputs import CSV_SUFFIX, JSON_SUFFIX, REPORT_SUFFIX
from cli.report.measured import measured_html
from cli.show.marked import marked_jpeg
from cli.show.record import csv_text, json_text
from vision.photo.decode import Photo
from vision.results import Result
from vision.spotcheck.correction import Correction, apply_correction


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """A photo's result, without outlines, and the contents of its files by suffix."""

    result: Result
    contents: Mapping[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """What to do with each result; it travels to the processes that measure."""

    correction: Correction | None
    files: bool
    """Whether files are wanted."""

    def __call__(self, photo: Photo, result: Result) -> Finished:
        """Correct a result and draw up its files.

        Raises
        ------
        CorrectionError
            If the correction leaves nothing of a ring.
        """
        if self.correction is not None:
            result = apply_correction(result, self.correction)
        contents = _contents(photo, result) if self.files else {}
        # Many results are kept until the end; outlines are most of their size.
        bare = tuple(replace(ring, outlines_px=None) for ring in result.rings)
        wires = tuple(replace(wire, outline_px=None) for wire in result.wires)
        return Finished(result=replace(result, rings=bare, wires=wires), contents=contents)


def _contents(photo: Photo, result: Result) -> dict[str, bytes]:
    report = measured_html(result, photo.bgr, written=date.today())
    return {
        JSON_SUFFIX: json_text(result).encode("utf-8"),
        CSV_SUFFIX: csv_text([result]).encode("utf-8"),
        MARKED_SUFFIX: marked_jpeg(photo.bgr, result),
        REPORT_SUFFIX: report.encode("utf-8"),
    }
