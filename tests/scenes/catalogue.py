"""The photos that are rendered."""

from __future__ import annotations

from tests.scenes.phone import Phone
from tests.scenes.scene import Group, Lens, Scene

SAMPLES = (
    Scene(
        name="first",
        seed=1,
        groups=(
            Group(material="bronze", id_mm=8, wire_mm=1.6, count=5),
            Group(material="aluminium", id_mm=6, wire_mm=1.2, count=5),
        ),
        coins=("eur-1",),
        lens=Lens(distance_mm=120, f35=26.2),
        sample=True,
    ),
)
VALIDATION: tuple[Scene, ...] = ()
