"""The trained reader on scenes it never saw: errors by group, and the signs of error to calibrate.

Every ring of the held-out scenes is photographed twice (a usual and a harder camera) and measured
as by the product, with the true camera and with a disturbed one.
"""

import math
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from tests.training.batches import (
    FRAMES,
    Photos,
    frame_of,
    is_wire,
    label_margin,
    photograph,
)  # fmt: skip
from tests.training.materials import GROUPS
from tests.training.network import Reader
from tests.training.photo import Dice
from tests.training.refit import refit, settle
from tests.training.scenes import KINDS, PROFILES
from tests.training.starts import disturb_camera, draw_starts, make_target, start_outlines
from tests.training.store import Scenes
from tests.training.surroundings import ARRANGEMENTS, SURFACES

START_PX = 2.5
PHOTOS_AT_ONCE = 48

Table = dict[str, NDArray[np.float64]]


def evaluate(scenes: Scenes, net: Reader, *, seed: int) -> Table:
    """Measure all scenes; one row a photo and kind of camera knowledge."""
    device = scenes.pixels.device
    net = net.to(device).eval()
    dice = Dice(seed, device)
    rows_done: list[Table] = []
    frames = frame_of(scenes.size)
    with torch.no_grad():
        for harder in (False, True):
            for k, frame in enumerate(FRAMES):
                rings = scenes.kind < KINDS.index("wire")
                for rows in ((frames == k) & rings).nonzero()[:, 0].split(PHOTOS_AT_ONCE):
                    if len(rows) == 0:
                        continue
                    photos = photograph(scenes, rows, frame, dice, harder=harder)
                    for exact in (True, False):
                        found = _measure(scenes, photos, net, dice, exact=exact)
                        found["harder"] = np.full(len(rows), float(harder))
                        found["exact_camera"] = np.full(len(rows), float(exact))
                        rows_done.append(found)
    return {name: np.concatenate([r[name] for r in rows_done]) for name in rows_done[0]}


def _sizes(tori: Tensor) -> Tensor:
    """Wire and ID (n, 2), mm."""
    return torch.stack([2 * tori[:, 3], 2 * (tori[:, 2] - tori[:, 3])], 1)


def _measure(scenes: Scenes, photos: Photos, net: Reader, dice: Dice, *, exact: bool) -> Table:
    rows, count = photos.rows, len(photos.rows)
    truth = scenes.torus[rows]
    matrix, camera = photos.matrix, scenes.camera[rows]
    if not exact:
        m, c = disturb_camera(matrix.float(), camera.float(), dice)
        matrix, camera = m.double(), c.double()
    scale = scenes.wire_px[rows] / (2 * scenes.torus[rows, 3].float())
    sigma = torch.full((count,), START_PX, device=rows.device)
    starts = _true_starts(scenes.torus[rows].float(), scale, sigma, dice).double()
    done = settle(net, photos.light, matrix, camera, starts, net.grid)
    sizes = _sizes(done.tori)
    error = sizes - _sizes(truth)
    edge_error = sizes - _flat_fit(scenes, photos, matrix, camera)
    start, once = (_sizes(tori) - sizes for tori in done.history[:2])
    _, log_weight, log_scale, logit = (o.double() for o in done.outputs)
    wire = sizes[:, 0]
    settings = photos.settings
    psf = torch.sqrt(settings.sigma_px**2 + settings.disc_px**2 / 4 + settings.motion_px**2 / 12)
    rings = scenes.truth[rows.cpu().numpy()]
    columns = {
        "scene": rows, "wire_error": error[:, 0], "id_error": error[:, 1],
        "od_error": error[:, 1] + 2 * error[:, 0],
        "wire_edge_error": edge_error[:, 0], "id_edge_error": edge_error[:, 1],
        "wire_mm": 2 * truth[:, 3], "id_mm": 2 * (truth[:, 2] - truth[:, 3]),
        "wire_px": scenes.wire_px[rows],
        "ln_b_wire": log_scale[:, 0], "ln_b_id": log_scale[:, 1],
        "b_wire_mm": torch.exp(log_scale[:, 0]) * wire,
        "b_id_mm": torch.exp(log_scale[:, 1]) * wire,
        "start_wire": start[:, 0], "once_wire": once[:, 0],
        "start_id": start[:, 1], "once_id": once[:, 1],
        "apart_wire": done.apart[:, 0], "apart_id": done.apart[:, 1],
        "q": done.residuals.reshape(count, -1).std(1) * wire,
        "mean_log_weight": log_weight.mean((1, 2)),
        "least_log_weight": log_weight.reshape(count, -1).quantile(0.1, dim=1),
        "presence": logit[:, 0], "psf_px": psf, "target": settings.gain * scenes.level[rows],
        "shot": settings.shot, "sharpen": settings.sharpen, "contrast": settings.contrast,
        "quality": settings.quality,
    }  # fmt: skip
    table = {k: v.double().cpu().numpy() for k, v in columns.items()}
    for name in ("kind", "section", "material", "surface", "light", "neighbour"):
        table[name] = rings[name].astype(float)
    table["height_mm"] = rings["camera"][:, 2]
    table["view_deg"] = np.degrees(
        np.arctan2(np.hypot(*rings["camera"][:, :2].T), rings["camera"][:, 2])
    )
    table["slope"] = np.hypot(*rings["slope"].T).astype(float)
    table["gap_mm"] = (2 * rings["gap"][:, 1] * rings["torus"][:, 2]).astype(float)
    table["step_mm"] = np.hypot(*rings["step"].T).astype(float)
    return table


def _true_starts(tori: Tensor, scale: Tensor, sigma: Tensor, dice: Dice) -> Tensor:
    """Starts on the ring only: redraw-free variant that undoes the false ones."""
    turn = torch.full_like(sigma, 2 * math.pi)
    starts = draw_starts(tori, scale, sigma, turn, dice)
    off = torch.maximum(
        (starts[:, :3] - tori[:, :3]).abs().amax(1) / tori[:, 3],
        (starts[:, 3] / tori[:, 3] - 1).abs() * 2,
    )
    near = tori.clone()
    near[:, :4] += (sigma / scale * 0.5)[:, None] * dice.normal(len(tori), 4).clamp(-2, 2) * 0.5
    near[:, 3] = torch.maximum(near[:, 3], 0.7 * tori[:, 3])
    return torch.where((off > 1.0)[:, None], near, starts)


def _flat_fit(scenes: Scenes, photos: Photos, matrix: Tensor, camera: Tensor) -> Tensor:
    """Sizes (n, 2) of the flat ring that fits the exact outlines: no edge finder can do better."""
    tori = scenes.torus[photos.rows].clone()
    span = scenes.span[photos.rows].double()
    for _ in range(3):
        inner, outer = start_outlines(matrix, camera, tori, span)
        target = make_target(
            inner, outer, photos.outline.double(), span, scenes.gap[photos.rows].double(),
            label_margin(scenes, photos.rows).double(), is_wire(scenes, photos.rows),
        )  # fmt: skip
        tori, _ = refit(matrix, camera, tori, target.edges, target.weight + 1e-3)
    return _sizes(tori)


def print_table(t: Table) -> None:
    """Print bias, median, 95th percentile and maximum in mm by group."""
    every = t["kind"] == KINDS.index("ring")
    ring = ring_at(t)
    on = t["presence"] > 0
    for harder in (0.0, 1.0):
        for exact in (1.0, 0.0):
            pick = ring & (t["harder"] == harder) & (t["exact_camera"] == exact)
            if not pick.any():
                continue
            print(
                f"\n== {'harder' if harder else 'usual'} camera, "
                f"{'exact' if exact else 'disturbed'} pose =="
            )
            print(f"rings taken for rings: {100 * on[pick].mean():.1f} %")
            print(
                f"{'group':24s} {'n':>5s}  wire bias p50 p95 max | px p50 p95 | "
                "ID bias p50 p95 max | ID edge p50 p95"
            )
            dark = t["surface"] == list(SURFACES).index("dark")
            _line(t, pick & ~dark, "all but dark")
            if exact:
                for i, name in enumerate(SURFACES):
                    _line(t, pick & (t["surface"] == i), name)
                for i, name in enumerate(GROUPS):
                    _line(t, pick & ~dark & (t["material"] == i), name)
                for i, name in enumerate(ARRANGEMENTS):
                    _line(t, pick & ~dark & (t["light"] == i), name)
                for low, high in ((0, 12), (12, 18), (18, 30), (30, 99)):
                    _line(
                        t,
                        pick & ~dark & (t["wire_px"] >= low) & (t["wire_px"] < high),
                        f"wire {low}-{high} px",
                    )
                for low, high in ((0, 0.8), (0.8, 1.2), (1.2, 3)):
                    _line(
                        t,
                        pick & ~dark & (t["psf_px"] >= low) & (t["psf_px"] < high),
                        f"blur {low}-{high} px",
                    )
                for low, high in ((0, 10), (10, 18), (18, 40)):
                    _line(
                        t,
                        pick & ~dark & (t["view_deg"] >= low) & (t["view_deg"] < high),
                        f"view {low}-{high} deg",
                    )
                _line(t, pick & ~dark & (t["target"] > 0.95), "clipped paper")
                _line(t, pick & ~dark & (t["gap_mm"] > 0.2), "gap above 0.2 mm")
                _line(t, pick & ~dark & (t["neighbour"] == 1), "touching neighbour")
    usual = (t["exact_camera"] == 1) & (t["harder"] == 0)
    for size in ("wire", "id"):
        near = ring_at(t) & usual & (np.abs(t[f"start_{size}"]) < 0.2 * t["wire_mm"])
        start, once = t[f"start_{size}"][near], t[f"once_{size}"][near]
        print(f"one reading keeps {start @ once / (start @ start):.2f} of a start's {size} error")
    print("\nother profiles, edges against the round ring that fits the exact outlines best")
    for i, name in list(enumerate(PROFILES))[1:]:
        some = every & usual & (t["section"] == i)
        if some.any():
            w, d = (np.abs(t[f"{size}_edge_error"][some]) for size in ("wire", "id"))
            print(
                f"{name.profile.value:24s} {int(some.sum()):5d}  taken for rings "
                f"{100 * on[some].mean():.0f} %, wire p50 p95 {np.median(w):.4f} "
                f"{np.percentile(w, 95):.4f}, ID {np.median(d):.4f} {np.percentile(d, 95):.4f}"
            )
    print("\npresence above one half, by kind of scene: " + ", ".join(
        f"{name} {100 * on[usual & (t['kind'] == i)].mean():.0f} % of "
        f"{int((usual & (t['kind'] == i)).sum())}"
        for i, name in enumerate(KINDS) if (usual & (t["kind"] == i)).any()
    ))  # fmt: skip
    pick = ring & usual
    for sign in ("ln_b_wire", "apart_wire", "q"):
        print(
            f"rank correlation of |wire error| with {sign}: "
            f"{_rank(np.abs(t['wire_error'][pick]), t[sign][pick]):.2f}"
        )
    for sign in ("ln_b_id", "apart_id", "q"):
        print(
            f"rank correlation of |ID error| with {sign}: "
            f"{_rank(np.abs(t['id_error'][pick]), t[sign][pick]):.2f}"
        )


def ring_at(t: Table) -> NDArray[np.bool_]:
    """Which rows are rings of round wire."""
    return np.asarray((t["kind"] == KINDS.index("ring")) & (t["section"] == 0))


def _rank(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    return float(np.corrcoef(a.argsort().argsort(), b.argsort().argsort())[0, 1])


def _line(t: Table, pick: NDArray[np.bool_], name: str) -> None:
    if pick.sum() < 3:
        return
    w, i, e = t["wire_error"][pick], t["id_error"][pick], t["id_edge_error"][pick]
    px = np.abs(w) * t["wire_px"][pick] / t["wire_mm"][pick]

    def four(x: NDArray[np.float64]) -> str:
        a = np.abs(x)
        return f"{np.median(x):+.4f} {np.median(a):.4f} {np.percentile(a, 95):.4f} {a.max():.3f}"

    print(
        f"{name:24s} {int(pick.sum()):5d}  {four(w)} | "
        f"{np.median(px):.2f} {np.percentile(px, 95):.2f} | "
        f"{four(i)} | {np.median(np.abs(e)):.4f} {np.percentile(np.abs(e), 95):.4f}", flush=True,
    )  # fmt: skip


def save_table(t: Table, path: Path) -> None:
    np.savez_compressed(path, **{k: v.astype(np.float32) for k, v in t.items()})
