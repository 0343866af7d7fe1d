"""Finishes of wire: metals, coats, rubber, with the marks that work leaves on them."""

import numpy as np
from numpy.typing import NDArray

from tests.training.layout import FINISH_T

Rng = np.random.Generator

METALS = {
    "aluminium": ((1.657, 0.880, 0.521), (9.224, 6.270, 4.837)),
    "silver": ((0.155, 0.117, 0.138), (4.828, 3.122, 2.147)),
    "stainless": ((2.950, 2.650, 2.180), (4.050, 3.650, 3.250)),
    "titanium": ((2.741, 2.542, 2.237), (3.814, 3.435, 3.039)),
    "copper": ((0.200, 0.924, 1.102), (3.912, 2.452, 2.142)),
    "brass": ((0.444, 0.527, 1.094), (3.695, 2.765, 1.829)),
    "bronze": ((0.350, 0.690, 1.120), (3.600, 2.600, 2.000)),
    "gold": ((0.143, 0.375, 1.442), (3.983, 2.386, 1.603)),
    "chrome": ((4.370, 2.917, 1.655), (5.206, 4.231, 3.755)),
    "iron": ((2.911, 2.950, 2.585), (3.089, 2.932, 2.767)),
}
"""Refractive index and extinction at about 650, 550, 450 nm (rounded handbook values, from
memory; stainless and bronze mixed to the reflectances of OPTICS section 3)."""

GROUPS = (*METALS, "tinted", "coat", "rubber")
"""Names of the groups in the evaluation table, in the order of their numbers."""

SHARES = {
    "aluminium": 0.13, "silver": 0.12, "stainless": 0.16, "titanium": 0.06, "copper": 0.08,
    "brass": 0.07, "bronze": 0.05, "gold": 0.06, "chrome": 0.03, "iron": 0.03,
    "tinted": 0.08, "coat": 0.06, "rubber": 0.07,
}  # fmt: skip


def log_uniform(rng: Rng, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def vivid(rng: Rng) -> NDArray[np.float64]:
    """A random colour, often a saturated one."""
    colour = rng.uniform(0.03, 1.0, 3)
    return np.clip(colour ** rng.uniform(0.6, 2.0), 0.02, 0.95)


def draw_finish(rng: Rng, group: str | None = None) -> tuple[NDArray[np.void], int]:
    """One finish record and the number of its group."""
    if group is None:
        group = str(rng.choice(list(SHARES), p=np.array(list(SHARES.values()))))
    f = np.zeros((), FINISH_T)
    f["seed"] = rng.integers(1 << 30)
    f["tint"] = 1.0
    f["f0"] = 0.04
    rough = log_uniform(rng, 0.035, 0.40)
    if group in METALS or group == "tinted":
        name = group if group in METALS else str(rng.choice(["aluminium", "titanium", "stainless"]))
        n, k = METALS[name]
        f["metal"] = 1
        f["eta"] = np.array(n) * rng.uniform(0.9, 1.1)
        f["k"] = np.array(k) * rng.uniform(0.9, 1.1)
        f["beckmann"] = rng.random() < 0.5
        if group == "tinted":
            f["tint"] = vivid(rng)
            if rng.random() < 0.3:  # dyed black
                f["tint"] = rng.uniform(0.02, 0.15)
        elif rng.random() < 0.3:
            f["tint"] = rng.uniform(0.75, 1.0) * rng.uniform(0.95, 1.05, 3)
        rough = log_uniform(rng, 0.03, 0.35)
        if rng.random() < 0.25:  # oxide or grime
            f["dirt"] = rng.uniform(0.1, 1.0)
            f["dirt_freq"] = log_uniform(rng, 0.4, 8.0)
            f["dirt_colour"] = rng.uniform(0.02, 0.35) * rng.uniform(0.6, 1.0, 3)
    elif group == "coat":
        f["diffuse"] = vivid(rng) * 0.8
        f["f0"] = rng.uniform(0.035, 0.12)
        rough = log_uniform(rng, 0.03, 0.35)
    else:  # rubber, oxidised black, enamel
        f["diffuse"] = log_uniform(rng, 0.01, 0.12) * rng.uniform(0.8, 1.2, 3)
        if rng.random() < 0.2:
            f["diffuse"] = vivid(rng) * 0.6
        f["f0"] = rng.uniform(0.03, 0.06)
        rough = log_uniform(rng, 0.12, 0.6)
    f["rough_along"] = f["rough_across"] = rough
    if rng.random() < 0.35:  # brushed along the wire: wide across, narrow along, or the reverse
        stretch = rng.uniform(1.3, 3.5)
        f["rough_across"] = min(0.6, rough * stretch)
        if rng.random() < 0.25:
            f["rough_along"], f["rough_across"] = f["rough_across"], f["rough_along"]
    if rng.random() < 0.5:
        f["streak"] = log_uniform(rng, 0.01, 0.20)
        f["streak_freq"] = log_uniform(rng, 3.0, 40.0)
    if rng.random() < 0.5:
        f["mark"] = log_uniform(rng, 0.01, 0.16)
        f["mark_freq"] = log_uniform(rng, 0.8, 20.0)
    return f, GROUPS.index(group)
