"""A mixed bag parted into its sizes, by wire and inside diameter."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.batch.sample import Batch, Sample, expanded, u_between

Array = NDArray[np.float64]
Index = NDArray[np.intp]

LEAST_RINGS = 3
"""Fewer rings of another size are strays, named one by one."""

LEAST_STEP = 0.02
"""Relative step between two sizes worth telling apart: wire of one gauge differs by about 1 %."""

QUANTITIES = ("wire_mm", "id_mm")


MOST_PARTS = 5
"""Sizes that one cut tells apart; parts are cut again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """The best cut of a set of values in a given number of parts."""

    at: tuple[float, ...]
    """The largest value of each part but the last."""
    step: float
    """The smallest difference between the means of neighbouring parts."""
    ratio: float
    """That step over the pooled sd within the parts."""


def best_split(values: Array, parts: int = 2, least: int = LEAST_RINGS) -> Split | None:
    """Cut values so that the parts spread least (least squares, exact).

    Parameters
    ----------
    values : (n,)
    parts : how many
    least : values in each part, at least

    Returns
    -------
    The cut; None for fewer than `parts * least` values.

    References
    ----------
    .. [1] W. D. Fisher, "On grouping for maximum homogeneity", J. Am. Stat. Assoc. 53 (1958),
       789-798.
    """
    ordered = np.sort(values)
    n = len(ordered)
    if n < parts * least:
        return None
    # Sums around the middle: squares of millimetres would lose digits.
    centred = ordered - ordered.mean()
    sums, squares = (np.concatenate([[0.0], np.cumsum(centred**power)]) for power in (1, 2))

    def within(start: Index, end: Index) -> Array:
        """Sum of squares around the mean of values `start` to `end`."""
        total: Array = sums[end] - sums[start]
        around: Array = squares[end] - squares[start] - total**2 / np.maximum(end - start, 1)
        return np.maximum(around, 0.0)

    ends = np.arange(n + 1)
    cost = np.where(ends >= least, within(np.zeros_like(ends), ends), np.inf)
    came = []
    for _ in range(parts - 1):
        start, end = np.meshgrid(ends, ends)
        whole = np.where(end - start >= least, cost[start] + within(start, end), np.inf)
        came.append(whole.argmin(axis=1))
        cost = whole.min(axis=1)
    edges = [n]
    for back in reversed(came):
        edges.append(int(back[edges[-1]]))
    edges = [0, *reversed(edges)]
    means = np.array([ordered[i:j].mean() for i, j in itertools.pairwise(edges)])
    sd, step = float(np.sqrt(cost[n] / (n - parts))), float(np.diff(means).min())
    return Split(
        at=tuple(float(ordered[edge - 1]) for edge in edges[1:-1]),
        step=step,
        ratio=step / sd if sd > 0 else np.inf if step > 0 else 0.0,
    )


def least_ratio(n: int, parts: int = 2) -> float:
    """Ratio of step to spread above which n values are so many sizes, not one that spreads.

    One size passes it in fewer than 1 of 1000 batches, be its spread normal, even from end to end
    (which looks most like two sizes), or heavy-tailed: `tests/batch/test_lot.py`.
    """
    return max(5.0, 4.0 + 60.0 / (n - parts))


def part_sizes(batch: Batch) -> list[list[int]]:
    """Part a batch into its sizes.

    Returns
    -------
    Positions in `batch.members`, each size in the batch's order, largest group first. A single
    group for a batch of one size, however widely it spreads.
    """
    samples = {name: batch.sample(name) for name in QUANTITIES}
    groups = list(_parted(samples, np.arange(len(batch))))
    return sorted(([int(i) for i in group] for group in groups), key=lambda group: -len(group))


def _parted(samples: dict[str, Sample], which: Index) -> Iterator[Index]:
    """Cut where it is clearest, in as few parts as are clear, and again in each part."""
    for parts in range(2, MOST_PARTS + 1):
        cuts = [_clear_cut(sample, which, parts) for sample in samples.values()]
        clear = [cut for cut in cuts if cut is not None]
        if clear:
            _, label = max(clear, key=lambda cut: cut[0])
            for part in range(parts):
                yield from _parted(samples, which[label == part])
            return
    yield which


def _clear_cut(sample: Sample, which: Index, parts: int) -> tuple[float, Index] | None:
    """Ratio of the best cut by one quantity and the part of each ring; None if it is not clear."""
    values = sample.values[which]
    split = best_split(values, parts)
    if split is None or split.ratio < least_ratio(len(which), parts):
        return None
    label = np.searchsorted(np.array(split.at), values)
    groups = [which[label == part] for part in range(parts)]
    if not all(len(group) for group in groups):  # the cut fell among equal values
        return None
    steps = itertools.pairwise(groups)
    if any(split.step <= _least_step(sample, low, high) for low, high in steps):
        return None
    return split.ratio, label


def _least_step(sample: Sample, low: Index, high: Index) -> float:
    """Step that neither the trade's own spread nor two photos' scales explain."""
    scales = u_between(
        *(
            {cause: float(np.mean(u[w])) for cause, u in sample.u_common.items()}
            for w in (low, high)
        )
    )
    return max(LEAST_STEP * float(np.mean(sample.values[high])), expanded(scales))
