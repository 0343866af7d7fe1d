"""From the held-out table to the constants that turn the reader's doubt into an uncertainty."""

import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from tests.training.evaluate import Table
from tests.training.scenes import KINDS

Array = NDArray[np.float64]

FREEDOM = 5.0
"""Degrees of freedom of Student's t: errors have longer tails than Gauss's."""
PULL = 1e-3
"""Weak pull of the exponents to zero, where signals say the same."""
LEAST_PX, ABSURD_MM = 8.0, 1.0
COVER, FACTOR = 0.95, 2.0
"""The constant is chosen so that this factor of u covers this share."""

PRODUCT = Path(__file__).resolve().parents[2] / "vision" / "rings" / "calibration.json"


def calibrate(table: Table) -> dict[str, dict[str, float]]:
    """Fit `ln u = constant + expected ln b + apart ln(D + 0.001) + scatter ln(q + 0.001)`.

    b is the error that the reader expects, D how far its readings are apart, q the scatter of the
    edges, all in mm; errors are those of the edges alone, against the flat ring that fits the
    exact outlines best.
    """
    rings = (table["kind"] == KINDS.index("ring")) & (table["presence"] > 0)
    rings &= table["wire_px"] > LEAST_PX
    constants: dict[str, dict[str, float]] = {}
    relative = []
    for name in ("wire", "id"):
        signals = _signals(table[f"b_{name}_mm"], table[f"apart_{name}"], table["q"])
        error = table[f"{name}_edge_error"]
        weights = _fitted(signals[rings], error[rings])
        constants[name] = _named(weights)
        relative.append(np.clip(error / np.exp(signals @ weights), -4, 4)[rings])
    tie = float(np.corrcoef(*relative)[0, 1])
    constants["tie"] = {"correlation": round(tie, 2)}
    return constants


def calibrate_wires(table: Table) -> dict[str, dict[str, float]]:
    """The same for pieces of wire that the product would report, from `evaluate_wires`."""
    # the product's other needs are not there where readers are trained
    from vision.wires.find import SCATTER_MOST, SURE

    clear = (table["presence"] > SURE) & (table["torn"] == 0) & (table["wire_px"] > LEAST_PX)
    clear &= table["q"] < SCATTER_MOST * table["wire_mm"]
    signals = _signals(table["b_mm"], table["apart"], table["q"])[clear]
    return {"straight": _named(_fitted(signals, table["error"][clear]))}


def _signals(expected: Array, apart: Array, scatter: Array) -> Array:
    parts = [np.log(expected), np.log(apart + 0.001), np.log(scatter + 0.001)]
    return np.stack([np.ones(len(expected)), *parts], axis=1)


def _named(weights: Array) -> dict[str, float]:
    names = ("constant", "expected", "apart", "scatter")
    return dict(zip(names, weights.round(3).tolist(), strict=True))


def write_constants(constants: dict[str, dict[str, float]], path: Path = PRODUCT) -> None:
    """Put constants into the product's file, in the place of those of the same name."""
    constants = json.loads(path.read_text(encoding="utf-8")) | constants
    lines = [f'  "{name}": {json.dumps(values)}' for name, values in constants.items()]
    path.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


def _fitted(signals: Array, error: Array) -> Array:
    sane = np.isfinite(error) & (np.abs(error) < ABSURD_MM)
    signals, size = signals[sane], np.abs(error[sane])

    def cost(weights: Array) -> float:
        ln_u = signals @ weights
        tail = np.log1p((size / np.exp(ln_u)) ** 2 / FREEDOM)
        return float(np.mean(ln_u + (FREEDOM + 1) / 2 * tail) + PULL * np.sum(weights[1:] ** 2))

    weights = np.asarray(minimize(cost, np.array([0.0, 0.7, 0.1, 0.1]), method="BFGS").x)
    weights[0] += np.log(np.quantile(size / np.exp(signals @ weights), COVER) / FACTOR)
    return weights
