"""Tests run the library as the program does."""

import os

# as `cli.main` sets it, before numpy is loaded: sums come out the same in both, to the last bit
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections.abc import Iterator

import cv2
import pytest

from vision import cores


@pytest.fixture
def cores_as_before() -> Iterator[None]:
    """Leave to the next test as many cores as the one before had."""
    threads, granted = cv2.getNumThreads(), cores._Shared.granted
    yield
    cores.grant(granted or 1)
    cores._Shared.granted = granted
    cv2.setNumThreads(threads)
