"""Kill a run again and again: `python -m tests.robust.kill [--kills 50] [--photos 20]`.

A batch of small photos is measured with `--resume` and killed at a random moment: the parent alone
or all its processes, by a signal that can be caught or by one that cannot. After each kill every
file that is there must be whole, none that was finished may be lost or changed, and no process may
be left. Once nothing is missing, all files must be byte for byte those of an undisturbed run.
"""

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.robust.photos import SCALE, ring_photo, save

ROOT = Path(__file__).parents[2]
WAYS = (
    (signal.SIGKILL, False),
    (signal.SIGKILL, True),
    (signal.SIGINT, True),
    (signal.SIGTERM, False),
)
"""Signals, and whether the whole group gets them; Ctrl-C in a terminal reaches the whole group."""
PATIENCE_S = 60.0
SUFFIXES = (".json", ".csv", ".marked.jpg", ".html")


@dataclass
class Tally:
    """What was seen."""

    kills: int = 0
    during_work: int = 0
    """Kills that came before the run had ended by itself."""
    finished_runs: int = 0
    parts: int = 0
    """Half-written files, hidden, that a kill left and the next run removed."""
    faults: list[str] = field(default_factory=list)


def start(photos: Path, out: Path, *options: str) -> subprocess.Popen[bytes]:
    """Measure all photos of a folder, in a session of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "cli.main", "measure", photos, *SCALE, "--out", out, *options],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def files_of(folder: Path) -> dict[str, bytes]:
    """All visible files by name."""
    if not folder.is_dir():
        return {}
    return {
        path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".")
    }


def outlived(group: int) -> bool:
    """Whether processes of a run are still there after a while; they are ended then."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return False
        time.sleep(0.1)
    os.killpg(group, signal.SIGKILL)
    return True


def kill_runs(folder: Path, *, photos: int, kills: int, seed: int) -> Tally:
    """Kill runs until there were `kills`, then let the last one finish."""
    rng = np.random.default_rng(seed)
    tally = Tally()
    tray = folder / "photos"
    tray.mkdir()
    for number in range(photos):
        save(tray / f"{number:02}.jpg", ring_photo(number, rings=1, size=(240, 240)))
    began = time.monotonic()
    run = start(tray, folder / "whole")
    _, said = run.communicate()
    lasts_s = time.monotonic() - began
    whole = files_of(folder / "whole")
    if run.returncode != 0 or len(whole) != len(SUFFIXES) * photos:
        raise SystemExit(f"the undisturbed run failed: {said.decode()}")

    round_number = 0
    out = folder / "out-0"
    before: dict[str, bytes] = {}
    while tally.kills < kills:
        run = start(tray, out, "--resume", "--jobs", "2")
        time.sleep(rng.uniform(0.0, 0.5 * lasts_s))
        signum, to_all = WAYS[tally.kills % len(WAYS)]
        tally.kills += 1
        if run.poll() is None:
            tally.during_work += 1
            (os.killpg if to_all else os.kill)(run.pid, signum)
        _, said = run.communicate()
        if outlived(run.pid):
            tally.faults.append(f"kill {tally.kills}: processes outlived {signum.name}")
        if signum is signal.SIGINT and b"Traceback" in said and b"interrupted" in said:
            tally.faults.append(f"kill {tally.kills}: a traceback")
        tally.parts += sum(1 for _ in out.glob(".*")) if out.is_dir() else 0
        now = files_of(out)
        tally.faults += [
            f"kill {tally.kills}: {name} is lost" for name in before if name not in now
        ]
        tally.faults += [
            f"kill {tally.kills}: {name} is not as in the undisturbed run"
            for name, content in now.items()
            if whole.get(name) != content
        ]
        before = {
            name: content
            for name, content in now.items()
            if all(f"{name.split('.')[0]}{suffix}" in now for suffix in SUFFIXES)
        }
        if len(now) == len(whole):
            tally.finished_runs += 1
            round_number += 1
            out, before = folder / f"out-{round_number}", {}

    run = start(tray, out, "--resume")
    _, said = run.communicate()
    if run.returncode != 0:
        tally.faults.append(f"the last run ended with {run.returncode}: {said.decode()}")
    if files_of(out) != whole or any(out.glob(".*")):
        tally.faults.append("the files after the last run are not those of an undisturbed one")
    return tally


def main(arguments: Sequence[str] | None = None) -> int:
    """Kill, count, and print what was seen; 1 if anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--photos", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        tally = kill_runs(Path(folder), photos=asked.photos, kills=asked.kills, seed=asked.seed)
    print(
        f"{tally.kills} kills ({tally.during_work} while it worked), "
        f"{tally.finished_runs} times all {asked.photos} photos were done in between; "
        f"{tally.parts} half-written files, all removed by the next run"
    )
    for fault in tally.faults:
        print(f"FAULT {fault}")
    print("no finished result lost, no broken file, same bytes" if not tally.faults else "failed")
    return 1 if tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
