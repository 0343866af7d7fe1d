"""What rings, coins and stray things are made of, as surfaces a renderer understands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Metal:
    """Bare or tinted metal with a brushed finish."""

    reflectance: tuple[float, float, float]
    """At normal incidence; red, green, blue (about 650, 550, 450 nm), handbook values rounded."""
    index: tuple[float, float, float] = (1.5, 1.5, 1.5)
    """Real part of the refractive index; steers only how the edge of the wire brightens."""
    along: float = 0.09
    """Microfacet roughness along the drawing marks."""
    across: float = 0.17
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Filter of a dyed oxide layer or of tarnish."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coated:
    """A coloured body under a clear, more or less glossy skin: rubber, plastic, lacquer."""

    colour: tuple[float, float, float]
    roughness: float = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Matt:
    """A perfectly matt surface."""

    colour: tuple[float, float, float]


Material = Metal | Coated | Matt

ALUMINIUM = (0.90, 0.92, 0.92)
MATERIALS: dict[str, Material] = {
    "aluminium": Metal(reflectance=ALUMINIUM, index=(1.49, 0.96, 0.62)),
    "aluminium_matt": Metal(reflectance=ALUMINIUM, along=0.22, across=0.30),
    "silver": Metal(
        reflectance=(0.97, 0.96, 0.95), index=(0.14, 0.12, 0.13), along=0.08, across=0.11
    ),
    "copper": Metal(
        reflectance=(0.95, 0.60, 0.55), index=(0.21, 1.04, 1.17), along=0.10, across=0.16
    ),
    "brass": Metal(reflectance=(0.85, 0.75, 0.55), index=(0.44, 0.53, 1.09)),
    "bronze": Metal(
        reflectance=(0.86, 0.66, 0.48), index=(0.35, 0.75, 1.15), along=0.12, across=0.20
    ),
    "gold": Metal(reflectance=(0.97, 0.82, 0.39), index=(0.16, 0.42, 1.5), along=0.08, across=0.12),
    "stainless": Metal(reflectance=(0.66, 0.63, 0.60), index=(2.9, 2.7, 2.4)),
    "stainless_polished": Metal(
        reflectance=(0.66, 0.63, 0.60), index=(2.9, 2.7, 2.4), along=0.08, across=0.08
    ),
    "titanium": Metal(
        reflectance=(0.58, 0.54, 0.50), index=(2.7, 2.5, 2.3), along=0.2, across=0.26
    ),
    "zinc_steel": Metal(
        reflectance=(0.74, 0.76, 0.78), index=(2.0, 1.8, 1.6), along=0.2, across=0.28
    ),
    "anodised_red": Metal(reflectance=ALUMINIUM, along=0.14, across=0.2, tint=(0.72, 0.06, 0.08)),
    "anodised_blue": Metal(reflectance=ALUMINIUM, along=0.14, across=0.2, tint=(0.05, 0.16, 0.62)),
    "anodised_green": Metal(reflectance=ALUMINIUM, along=0.14, across=0.2, tint=(0.08, 0.45, 0.14)),
    "anodised_violet": Metal(
        reflectance=ALUMINIUM, along=0.14, across=0.2, tint=(0.32, 0.09, 0.52)
    ),
    "anodised_orange": Metal(
        reflectance=ALUMINIUM, along=0.14, across=0.2, tint=(0.85, 0.34, 0.05)
    ),
    "anodised_black": Coated(colour=(0.018, 0.018, 0.02), roughness=0.22),
    "rubber": Coated(colour=(0.022, 0.022, 0.024), roughness=0.42),
    "rubber_red": Coated(colour=(0.42, 0.03, 0.03), roughness=0.42),
    "matt_black": Matt(colour=(0.0, 0.0, 0.0)),
    "cupronickel": Metal(
        reflectance=(0.64, 0.61, 0.56), index=(2.2, 1.9, 1.7), along=0.16, across=0.16
    ),
    "nickel_brass": Metal(
        reflectance=(0.76, 0.67, 0.45), index=(1.2, 1.1, 1.2), along=0.17, across=0.17
    ),
    "copper_coin": Metal(
        reflectance=(0.88, 0.56, 0.45), along=0.19, across=0.19, tint=(0.78, 0.70, 0.66)
    ),
    "lint": Matt(colour=(0.20, 0.24, 0.36)),
    "bead": Coated(colour=(0.03, 0.24, 0.22), roughness=0.08),
    "phone": Coated(colour=(0.02, 0.02, 0.022), roughness=0.15),
    "clothes": Matt(colour=(0.16, 0.19, 0.26)),
}


def describe(material: Material) -> dict[str, Any]:
    """Say it in Mitsuba's words."""
    if isinstance(material, Matt):
        return {"type": "diffuse", "reflectance": rgb(material.colour)}
    if isinstance(material, Coated):
        return {
            "type": "roughplastic",
            "diffuse_reflectance": rgb(material.colour),
            "alpha": material.roughness,
            "int_ior": 1.5,
        }
    n, f = np.array(material.index), np.array(material.reflectance)
    # Normal-incidence Fresnel equation, F = ((n-1)^2 + k^2) / ((n+1)^2 + k^2), solved for k.
    k = np.sqrt(np.maximum(f * (n + 1) ** 2 - (n - 1) ** 2, 0) / (1 - f))
    return {
        "type": "roughconductor",
        "distribution": "ggx",
        "eta": rgb(n),
        "k": rgb(k),
        "alpha_u": material.along,
        "alpha_v": material.across,
        "specular_reflectance": rgb(material.tint),
    }


def rgb(values: Sequence[float]) -> dict[str, Any]:
    """Wrap three numbers as a colour."""
    return {"type": "rgb", "value": [float(value) for value in values]}
