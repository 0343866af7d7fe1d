"""Report pages made by hand, and what is in them."""

from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import numpy as np

from cli.report.judged import judged_html
from cli.report.measured import measured_html
from cli.report.picture import embed
from tests.cli.fakes import HEIGHT_PX, WIDTH_PX, result, ring, unusable
from vision.batch.judge import judge
from vision.batch.order import read_order
from vision.batch.read import shot_of
from vision.batch.sample import pool
from vision.results import Result

DAY = date(2026, 3, 2)

ORDER = """[order]
name = "{name}"
wire = "16 SWG"
wire_tolerance_mm = 0.05
id = "1/4 in"
id_tolerance_mm = 0.12
"""

INSIDES = [6.34, 6.35, 6.36, 6.35, 6.33, 6.37, 6.35, 6.34, 6.36, 6.75, 6.35, 6.36]
OFF_SIZE = 10
"""The ring of `INSIDES` that does not belong, by its number."""

TOUCHING, LOST = 3, 13
"""A ring with a warning, and one that was not measured."""


def tray(file: str = "tray.jpg", **changes) -> Result:
    """A dozen rings of one size, one of them off size, and one that lies on another."""
    rings = [
        ring(number, inside=inside, cell=f"{'ABCDEFG'[(number - 1) % 7]}{1 + (number - 1) // 7}")
        for number, inside in enumerate(INSIDES, 1)
    ]
    rings[TOUCHING - 1] = ring(TOUCHING, inside=6.36, cell="C1", warnings=("touches ring 4",))
    return result([*rings, unusable(LOST, "overlaps ring 12")], file=file, **changes)


def noise() -> np.ndarray:
    """A picture that compresses badly."""
    rng = np.random.default_rng(8)
    return rng.integers(0, 256, (HEIGHT_PX, WIDTH_PX, 3), dtype=np.uint8)


def measured_page(made: Result | None = None) -> str:
    return measured_html(made or tray(), noise(), written=DAY)


def judged_page(*made: Result, name: str = "bronze for the lampshade") -> str:
    shots = [shot_of(one) for one in made or (tray(),)]
    order = read_order(ORDER.format(name="x"), file="order.toml")
    from dataclasses import replace

    verdict = judge(pool(shots), replace(order, name=name))
    pictures = {place: embed(noise()) for place in range(len(shots))}
    return judged_html(verdict, pictures, ["tray.jpg was given twice"], written=DAY)


class Elements(HTMLParser):
    """Every element of a page with its attributes, and all text between them."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def shape(self) -> list[tuple[str, tuple[str, ...]]]:
        """Tags and names of attributes, in order: what a name must not change."""
        return [(tag, tuple(attributes)) for tag, attributes in self.found]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def write(page: str, folder: Path, name: str = "report.html") -> Path:
    path = folder / name
    path.write_bytes(page.encode("utf-8"))
    return path
