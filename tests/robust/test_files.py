"""Result, order, correction and readings files changed at random: refused in words, never a bug."""

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cli.correction import correction_toml, read_correction
from cli.readings import load, parse
from cli.show.record import json_text
from tests.cli.fakes import result, ring, unusable
from vision.batch.lot import report
from vision.batch.order import EXAMPLE, read_order
from vision.batch.read import read_shots
from vision.batch.sample import pool
from vision.errors import VisionError
from vision.spotcheck.correction import Bound, Correction

RESULT = json.loads(
    json_text(result([ring(1), ring(2, inside=6.4), unusable(3, "covered"), ring(4)]))
)
CORRECTION = correction_toml(
    Correction(
        factor=1.01,
        u_factor=0.002,
        rim_mm=0.01,
        u_rim_mm=0.004,
        covariance_mm=1e-6,
        readings=6,
        rings=3,
        bound=Bound(
            kind="coin",
            reference="eur-1",
            sheet_version=None,
            mm_per_px=0.05,
            u_scale_rel=0.001,
            colours=("brass",),
            light="window",
            photos_sha256=("0" * 64,),
        ),
    )
)
READINGS = b"ring,what,reading_mm,reading_in\n1,wire,1.63,\n2,od,,3/8\n4,id,6.35,\n"

VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.sampled_from([0, -1, 10**400, -(10**400), 2**63, 1e308, -1e308, 5e-324, -0.0]),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=12),
    st.lists(st.integers(), max_size=3),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=2),
)

BOUNDED = settings(
    max_examples=100,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
"""The same examples each time: CI must not fail by chance."""


def places(value: Any, path: tuple = ()) -> list[tuple]:
    """The path of every value in a nested record."""
    below = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    return [path] * bool(path) + [p for key, v in below for p in places(v, (*path, key))]


def changed(record: Any, path: tuple, value: Any, *, drop: bool) -> Any:
    """A copy with one value replaced or left out."""
    copied = copy.deepcopy(record)
    at = copied
    for key in path[:-1]:
        at = at[key]
    if drop:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    return copied


def damaged(data: bytes) -> st.SearchStrategy[bytes]:
    """A text file with stretches replaced by bytes or by things that numbers are confused with."""
    piece = st.one_of(
        st.binary(max_size=6),
        st.sampled_from(
            [
                *(b"1e999", b"-1", b"nan", b"inf", b"0", b"9" * 400, b"9" * 5000, b"1_000"),
                *(b"[[", b'"', b"'''", b"\n\n", b",", b"\0", b"=", b"[order]", b"2026-01-01"),
                *(b"\xef\xbb\xbf", b"\xff\xfe"),
            ]
        ),
    )
    spot = st.tuples(st.integers(0, len(data)), st.integers(0, 12), piece)

    def apply(spots: list[tuple[int, int, bytes]]) -> bytes:
        changed = data
        for at, length, new in spots:
            changed = changed[:at] + new + changed[at + length :]
        return changed

    return st.lists(spot, min_size=1, max_size=4).map(apply)


def survives(use: Callable[[], object]) -> None:
    """Done, or refused with a message."""
    try:
        use()
    except VisionError as error:
        assert str(error)


@BOUNDED
@given(path=st.sampled_from(places(RESULT)), value=VALUES, drop=st.booleans())
def test_a_result_file_with_any_value_changed_is_pooled_or_refused(
    path: tuple, value: Any, drop: bool
) -> None:
    content = json.dumps(changed(RESULT, path, value, drop=drop)).encode()

    def use() -> None:
        shots = read_shots(content, name="a.json")
        if any(shot.measured for shot in shots):
            report(pool(shots))

    survives(use)


@BOUNDED
@given(content=damaged(json.dumps(RESULT).encode()))
def test_a_damaged_result_file_is_read_or_refused(content: bytes) -> None:
    survives(lambda: read_shots(content, name="a.json"))


@BOUNDED
@given(content=damaged(EXAMPLE.encode()))
def test_a_damaged_order_is_read_or_refused(content: bytes) -> None:
    survives(lambda: read_order(content.decode("utf-8", "replace"), file="order.toml"))


@BOUNDED
@given(content=damaged(CORRECTION))
def test_a_damaged_correction_is_read_or_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "correction.toml"
    path.write_bytes(content)
    survives(lambda: read_correction(path))


@BOUNDED
@given(content=damaged(READINGS))
def test_damaged_readings_are_read_or_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "readings.csv"
    path.write_bytes(content)
    shots = read_shots(json.dumps(RESULT).encode(), name="a.json")
    survives(lambda: parse(load(path), shots, name="readings.csv"))


@pytest.mark.parametrize("content", [b"[" * 100_000, b'{"a":' * 100_000, b"9" * 100_000])
def test_nesting_and_digits_without_end_are_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "file"
    path.write_bytes(content)
    with pytest.raises(VisionError):
        read_shots(content, name="a.json")
    with pytest.raises(VisionError):
        read_order(content.decode(), file="order.toml")
    with pytest.raises(VisionError):
        read_correction(path)
