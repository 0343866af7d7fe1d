"""Feed damaged pictures to the program: `python -m tests.fuzz [--files 5000] [--measures 300]`.

Every file must end in a photo or a refusal with a message, within 10 s and 1.5 GB. Files that do
not are kept in the folder `--keep`. `python -m tests.fuzz.guided` lets coverage lead instead.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from tests.fuzz.mutate import mutated
from tests.fuzz.seeds import ring_seeds, seeds
from tests.fuzz.targets import measure, read
from tests.fuzz.watched import Answer, Target, Watched


def damaged(pool: dict[str, bytes], number: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """The seeds in turn, each damaged anew."""
    rng = np.random.default_rng(seed)
    names = sorted(pool)
    for index in range(number):
        name = names[index % len(names)]
        other = pool[names[int(rng.integers(len(names)))]]
        yield f"{index:05}-{name}", mutated(pool[name], other, rng)


def feed(
    target: Target, files: Iterator[tuple[str, bytes]], keep: Path
) -> tuple[Counter[str], list[tuple[str, Answer]], float]:
    """Run a target on files; how they ended, the faults, and the longest time."""
    ends: Counter[str] = Counter()
    faults: list[tuple[str, Answer]] = []
    longest = 0.0
    with Watched(target) as watched:
        for name, data in files:
            answer = watched.run(name, data)
            longest = max(longest, answer.seconds)
            ends["fault" if answer.is_fault else answer.said] += 1
            if answer.is_fault:
                faults.append((name, answer))
                keep.mkdir(parents=True, exist_ok=True)
                (keep / name).write_bytes(data)
    return ends, faults, longest


def main(arguments: Sequence[str] | None = None) -> int:
    """Feed, count, print; 1 if there was a fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=5000, help="files for read_photo")
    parser.add_argument("--measures", type=int, default=300, help="files for the whole of measure")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=Path("/tmp/annulet-fuzz"))
    asked = parser.parse_args(arguments)
    failed = False
    for target, pool, number in (
        (read, seeds(), asked.files),
        (measure, ring_seeds(), asked.measures),
    ):
        ends, faults, longest = feed(target, damaged(pool, number, asked.seed), asked.keep)
        told = ", ".join(f"{count} {end}" for end, count in ends.most_common())
        print(f"{target.__name__}: {number} files: {told}; longest {longest:.1f} s", flush=True)
        for name, answer in faults:
            print(f"{name}: {answer.said}\n")
        failed |= bool(faults)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
