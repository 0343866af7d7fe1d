"""Render photos of the catalogue: `python -m tests.scenes.render --out DIR`.

Writes `NAME.jpg` and `NAME.truth.json` for each scene. One process traces all scenes, so that a
vectorised variant compiles its kernels once; the next scene is traced while the last is developed.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.scenes.catalogue import PROFILES, SAMPLES, TURNED, VALIDATION, WIRES
from tests.scenes.draw import draw_scene
from tests.scenes.mesh import Mesh, join
from tests.scenes.phone import develop, save
from tests.scenes.scene import Arranged, Scene, arrange, visible_area_mm
from tests.scenes.studio import Room, trace
from tests.scenes.surface import paint, print_sheet
from tests.scenes.truth import write_truth

DEVELOPERS = 6
"""Photos developed at once, each about 1.5 GB at 12 megapixels."""


def build_room(arranged: Arranged, sheets: Path | None) -> Room:
    """Turn an arranged scene into meshes and surfaces."""
    scene = arranged.scene
    rng = np.random.default_rng([scene.seed, 1])
    width, height = visible_area_mm(arranged.camera)
    parts: dict[str, list[Mesh]] = {}
    for ring in arranged.rings:
        parts.setdefault(ring.material, []).append(ring.mesh())
    for wire in arranged.wires:
        parts.setdefault(wire.material, []).append(wire.mesh())
    for coin in arranged.coins:
        for material, mesh in coin.meshes().items():
            parts.setdefault(material, []).append(mesh)
    for thing in arranged.debris:
        parts.setdefault(thing.material, []).append(thing.mesh)
    sheet = None
    if scene.sheet is not None:
        if sheets is None:
            raise ValueError(f"{scene.name} needs the picture of a sheet")
        sheet = print_sheet(scene.sheet, sheets / f"{scene.sheet.paper}.png")
    return Room(
        camera=arranged.camera,
        light=scene.light,
        table=paint(
            scene.surface,
            (width, height),
            rng,
            text_lines=scene.text_lines,
            circles=arranged.circles,
        ),
        sheet=sheet,
        things={material: join(meshes) for material, meshes in parts.items()},
    )


def finish(
    radiance: NDArray[np.float32],
    arranged: Arranged,
    surface: NDArray[np.float64],
    out: Path,
    facts: dict[str, object],
) -> None:
    """Develop the photo, then write it and its truth."""
    scene = arranged.scene
    rng = np.random.default_rng([scene.seed, 2])
    code = develop(radiance, arranged.camera, scene.phone, rng, surface)
    save(code, out / f"{scene.name}.jpg", arranged.camera, scene.phone)
    truth = write_truth(arranged, **facts)
    text = json.dumps(truth, indent=1, allow_nan=False)
    (out / f"{scene.name}.truth.json").write_text(text + "\n", encoding="utf-8")


def render(
    scenes: list[Scene], out: Path, *, spp: int, variant: str, scale: float, sheets: Path | None
) -> None:
    """Trace scenes one after another; build the next and develop the last ones meanwhile."""
    import mitsuba as mi

    mi.set_variant(variant)
    out.mkdir(parents=True, exist_ok=True)
    developers = min(DEVELOPERS, max(1, (os.cpu_count() or 1) // 2))
    pending: list[Future[None]] = []
    with (
        ThreadPoolExecutor(max_workers=1) as builder,
        ThreadPoolExecutor(max_workers=developers) as developer,
    ):

        def build(scene: Scene) -> tuple[Arranged, Room]:
            arranged = arrange(scene, scale)
            return arranged, build_room(arranged, sheets)

        coming = builder.submit(build, scenes[0]) if scenes else None
        for number, scene in enumerate(scenes):
            assert coming is not None
            arranged, room = coming.result()
            if number + 1 < len(scenes):
                coming = builder.submit(build, scenes[number + 1])
            start = time.perf_counter()
            with tempfile.TemporaryDirectory() as folder:
                radiance = trace(room, spp=spp, seed=scene.seed, folder=Path(folder))
            surface = np.median((room.sheet or room.table).reflectance[::9, ::9], axis=(0, 1))
            seconds = round(time.perf_counter() - start, 1)
            facts = {"samples": spp, "seconds": seconds, "variant": variant}
            print(f"{scene.name}: {len(arranged.rings)} rings, {seconds} s", flush=True)
            pending.append(developer.submit(finish, radiance, arranged, surface, out, facts))
            # Traced pictures are large: let only a few wait to be developed.
            if len(pending) > developers + 1:
                pending.pop(0).result()
        for photo in pending:
            photo.result()


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Render ring photos with exact truth.")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--names", help="comma-separated; all of them if left out")
    parser.add_argument("--spp", type=int, default=32, help="paths per pixel")
    parser.add_argument("--variant", default="scalar_rgb", help="Mitsuba variant")
    parser.add_argument("--scale", type=float, default=1.0, help="size of the photo")
    parser.add_argument(
        "--set",
        choices=("samples", "validation", "turned", "wires", "profiles", "all"),
        default="all",
        help="which photos",
    )
    parser.add_argument("--drawn", type=int, default=0, help="so many scenes drawn by lot instead")
    parser.add_argument("--lot", type=int, default=1, help="seed of the lot")
    parser.add_argument("--pieces", action="store_true", help="the lot's scenes all hold wire")
    parser.add_argument(
        "--sheets",
        type=Path,
        help="folder with a4.png, a5.png ...: printed sheets, long side across",
    )
    options = parser.parse_args()
    sets = {"samples": SAMPLES, "validation": VALIDATION, "turned": TURNED, "wires": WIRES}
    sets["profiles"] = PROFILES
    sets["all"] = SAMPLES + VALIDATION + TURNED + WIRES + PROFILES
    scenes = list(sets[options.set])
    if options.drawn:
        scenes = [
            draw_scene(1 + number, options.lot, pieces=options.pieces)
            for number in range(options.drawn)
        ]
    if options.names:
        wanted = options.names.split(",")
        known = {scene.name: scene for scene in scenes}
        unknown = [name for name in wanted if name not in known]
        if unknown:
            sys.exit(f"unknown: {', '.join(unknown)}; known: {', '.join(known)}")
        scenes = [known[name] for name in wanted]
    if options.sheets is None:
        for scene in [scene for scene in scenes if scene.sheet]:
            print(f"{scene.name}: left out, it needs --sheets", flush=True)
            scenes.remove(scene)
    render(
        scenes,
        options.out,
        spp=options.spp,
        variant=options.variant,
        scale=options.scale,
        sheets=options.sheets,
    )


if __name__ == "__main__":
    main()
