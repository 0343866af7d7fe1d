"""Steps of the training, in order; see README.md beside this."""

import argparse
import os
import time
from pathlib import Path

import numpy as np
import torch

from tests.training.calibrate import calibrate, calibrate_wires, write_constants
from tests.training.evaluate import evaluate, print_table, save_table
from tests.training.export import load_reader, write_weights
from tests.training.network import CONFIGS, multiply_adds
from tests.training.store import Scenes, generate
from tests.training.train import train

TRAIN_SEED, HELD_SEED = 2026, 777
"""Seeds of the scenes; the held-out ones are never trained on. Further parts count on, and so do
the hundreds by `--seed`, for a training that goes on with other scenes."""


def folders(arguments: argparse.Namespace) -> list[Path]:
    """Where results go: local disk first, then $OUT if there is one."""
    out = [arguments.work / "result"]
    if os.environ.get("OUT"):
        out.append(Path(os.environ["OUT"]))
    for folder in out:
        folder.mkdir(parents=True, exist_ok=True)
    return out


def run_generate(a: argparse.Namespace) -> None:
    part, parts = (int(number) for number in a.part.split("/"))
    if part == 1 or a.wires:
        generate(
            a.work / "held",
            seed=HELD_SEED,
            count=a.held,
            minutes=2,
            most_bytes=4e9,
            beside=parts,
            wires=a.wires,
        )
    generate(
        a.work / "train",
        seed=TRAIN_SEED + 100 * (a.seed - 1) + part - 1,
        count=a.scenes,
        minutes=a.minutes,
        most_bytes=a.gigabytes * 1e9,
        beside=parts,
        wires=a.wires,
    )


def run_train(a: argparse.Namespace) -> None:
    started = time.time()
    scenes = Scenes(a.work / "train", torch.device("cuda"), most=a.most)
    print(
        f"loaded {len(scenes)} scenes, {scenes.pixels.nbytes / 1e9:.1f} GB "
        f"in {time.time() - started:.0f} s",
        flush=True,
    )
    train(scenes, a.nets.split(","), minutes=a.minutes, photos=a.photos, seed=a.seed,
          folders=folders(a), resume=a.resume, rate=a.rate)  # fmt: skip


def run_evaluate(a: argparse.Namespace) -> None:
    scenes = Scenes(a.work / "held", torch.device("cuda"), most=a.most)
    places = folders(a)
    for name in a.nets.split(","):
        started = time.time()
        net = load_reader(a.checkpoint or places[0] / "reader.pt", name)
        print(
            f"\n#### {name}: {multiply_adds(CONFIGS[name]):.0f} million multiply-adds a ring",
            flush=True,
        )
        table = evaluate(scenes, net, seed=4711)
        for place in places:
            save_table(table, place / f"evaluation-{name}.npz")
        print_table(table)
        print(f"evaluated {len(scenes)} scenes in {time.time() - started:.0f} s", flush=True)


def run_export(a: argparse.Namespace) -> None:
    for name in a.nets.split(","):
        for place in folders(a):
            net = load_reader(a.checkpoint or a.work / "result" / "reader.pt", name)
            write_weights(net, place / f"reader-{name}.npz")
        print(f"wrote reader-{name}.npz")


def run_calibrate(a: argparse.Namespace) -> None:
    """From the table of `evaluate` to the product's constants."""
    path = a.table or a.work / "result" / f"evaluation-{a.nets}.npz"
    with np.load(path) as held:
        constants = calibrate({name: held[name] for name in held.files})
    write_constants(constants)
    print(constants)


def run_wires(a: argparse.Namespace) -> None:
    """Measure held-out wire with the product, on the processor, and calibrate its doubt."""
    from tests.training.wires import evaluate_wires

    table = evaluate_wires(Scenes(a.work / "held", torch.device("cpu"), most=a.most), seed=4711)
    for place in folders(a):
        save_table(table, place / "evaluation-wires.npz")
    constants = calibrate_wires(table)
    write_constants(constants)
    print(constants)


def run_smoke(a: argparse.Namespace) -> None:
    """Everything once, small: prints the throughput of each step and writes pictures to look at."""
    generate(a.work / "smoke", seed=1, count=a.scenes, minutes=0.7, most_bytes=8e9)
    scenes = Scenes(a.work / "smoke", torch.device("cuda"))
    _pictures(scenes, folders(a)[-1] / "smoke.png")
    names = a.nets.split(",")
    train(scenes, names, minutes=a.minutes, photos=a.photos, seed=1, folders=folders(a))
    print(f"most GPU memory {torch.cuda.max_memory_allocated() / 1e9:.1f} GB", flush=True)
    small = Scenes(a.work / "smoke", torch.device("cuda"), most=192)
    a.checkpoint = None
    for name in names:
        started = time.time()
        print_table(evaluate(small, load_reader(folders(a)[0] / "reader.pt", name), seed=1))
        print(f"{name}: evaluated {len(small)} scenes in {time.time() - started:.0f} s", flush=True)
    run_export(a)


def _pictures(scenes: Scenes, path: Path) -> None:
    """A sheet of simulated photos."""
    from PIL import Image

    from tests.training.batches import FRAMES, frame_of, photograph
    from tests.training.photo import Dice, Settings  # noqa: F401

    rows = (frame_of(scenes.size) <= 1).nonzero()[:40, 0]
    photos = photograph(scenes, rows, FRAMES[1], Dice(3, rows.device), harder=False)
    light = photos.light.flip(1).clamp(0, 1)
    coded = torch.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    tiles = (coded * 255).round().byte().permute(0, 2, 3, 1).cpu().numpy()
    blank = np.zeros((40 - len(tiles), *tiles.shape[1:]), np.uint8)
    tiles = np.concatenate([tiles, blank]).reshape(5, 8, *tiles.shape[1:])
    sheet = tiles.transpose(0, 2, 1, 3, 4).reshape(5 * tiles.shape[2], 8 * tiles.shape[3], 3)
    Image.fromarray(sheet).save(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("step", choices=sorted(STEPS))
    parser.add_argument("--work", type=Path, default=Path("/tmp/ring-training"))
    parser.add_argument("--minutes", type=float, default=7.0)
    parser.add_argument("--scenes", type=int, default=100_000)
    parser.add_argument("--gigabytes", type=float, default=36.0)
    parser.add_argument("--held", type=int, default=2304)
    parser.add_argument("--part", default="1/1", help="2/3: the second of three side by side")
    parser.add_argument("--wires", action="store_true", help="scenes of straight wire")
    parser.add_argument("--nets", default="full")
    parser.add_argument("--photos", type=int, default=192)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rate", type=float, default=1.0, help="factor of the learning rate")
    parser.add_argument("--most", type=int, help="use at most this many scenes")
    parser.add_argument("--resume", type=Path, help="a checkpoint, or a shipped file of weights")
    parser.add_argument("--checkpoint", type=Path)
    parser.add_argument("--table", type=Path, help="for calibrate: a table of evaluate")
    arguments = parser.parse_args()
    STEPS[arguments.step](arguments)


STEPS = {
    "smoke": run_smoke,
    "generate": run_generate,
    "train": run_train,
    "evaluate": run_evaluate,
    "export": run_export,
    "calibrate": run_calibrate,
    "wires": run_wires,
}


if __name__ == "__main__":
    main()
