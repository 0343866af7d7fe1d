"""A mixed bag parted into its sizes, by wire and inside diameter."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """The best cut of a set of values in two."""

    at: float
    """Values up to this one go left."""
    step: float
    """Difference of the two means."""
    ratio: float
    """The step over the pooled sd within both parts."""


def best_split(values: Array, least: int = LEAST_RINGS) -> Split | None:
    """Cut values in two so that the parts spread least (least squares).

    Parameters
    ----------
    values : (n,)
    least : values in each part, at least

    Returns
    -------
    The cut; None for fewer than `2 * least` values.
    """
    ordered = np.sort(values)
    n = len(ordered)
    if n < 2 * least:
        return None
    # Sums around the middle: squares of millimetres would lose digits.
    centred = ordered - ordered.mean()
    left = np.arange(least, n - least + 1)
    sums, squares = np.cumsum(centred), np.cumsum(centred**2)
    means = sums[left - 1] / left
    others = (sums[-1] - sums[left - 1]) / (n - left)
    within = squares[-1] - left * means**2 - (n - left) * others**2
    best = int(np.argmin(within))
    sd = float(np.sqrt(max(within[best], 0.0) / (n - 2)))
    step = float(others[best] - means[best])
    at = float(ordered[left[best] - 1])
    return Split(at=at, step=step, ratio=step / sd if sd > 0 else np.inf if step > 0 else 0.0)


def least_ratio(n: int) -> float:
    """Ratio of step to spread above which n values are two sizes, not one that spreads.

    One size passes it in fewer than 1 of 1000 batches, be its spread normal, even from end to end
    (which looks most like two sizes), or heavy-tailed: `tests/batch/test_groups.py`.
    """
    return max(5.0, 4.0 + 60.0 / (n - 2))


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
    """Cut where it is clearest, and again in both parts, until no cut is clear."""
    cuts = []
    for sample in samples.values():
        split = best_split(sample.values[which])
        if split is None:
            continue
        left = sample.values[which] <= split.at
        if left.all():  # the cut fell among equal values, up to the largest
            continue
        if split.step > _least_step(sample, which[left], which[~left]):
            cuts.append((split.ratio, left))
    ratio, left = max(cuts, key=lambda cut: cut[0], default=(0.0, np.ones(len(which), dtype=bool)))
    if ratio < least_ratio(max(len(which), 2 * LEAST_RINGS)):
        yield which
        return
    yield from _parted(samples, which[left])
    yield from _parted(samples, which[~left])


def _least_step(sample: Sample, low: Index, high: Index) -> float:
    """Step that neither the trade's own spread nor two photos' scales explain."""
    scales = u_between(
        *(
            {cause: float(np.mean(u[w])) for cause, u in sample.u_common.items()}
            for w in (low, high)
        )
    )
    return max(LEAST_STEP * float(np.mean(sample.values[high])), expanded(scales))
