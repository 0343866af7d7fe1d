"""A coin as the reference: find the disc, read its rim, stand the camera over it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import ScaleError
from vision.photo.circles import Circle, Nest
from vision.photo.decode import Photo
from vision.photo.reduce import halved
from vision.scale.camera import Camera, focal_px, looking_down
from vision.scale.rim import Rim, Shape, drawn_shape, rough_rim, search_rim, trace_rim
from vision.trade.coins import Coin

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

RIM_ROUNDING_MM, U_RIM_ROUNDING_MM = 0.021, 0.012
"""How far inside the coin's true edge its strong step lies: a struck edge is rounded, and its steep
part mirrors the table. 0.016 to 0.028 mm on coins of two renderers; no real one was measured."""
ASSUMED_F35_MM, U_ASSUMED_F35_REL = 27.0, 0.25
"""Main camera of a phone, for photos without EXIF; 20 to 35 mm covers phones and pocket cameras."""
U_F35_REL = 0.03
"""EXIF gives whole millimetres, and its frame may be the diagonal or the width."""
USUAL_THICKNESS = 0.16
"""Thickness over radius of an unnamed coin."""
STARTS = 3
"""Circles of a nest from which the rim is looked for."""
WHOLE, SAME_START = 0.85, 0.12
"""Cover of a rim that leaves no doubt, and how near (ln of the radius) a circle is to it that would
lead to the same one."""
SIZE_WORTH = 0.7
"""Cover that a rim of twice the radius outweighs: the border of a two-metal coin's core, at two
thirds of the radius, is a clear circle too."""
OUTSIDE = 1.25
"""A clear circle larger than a traced one by more than this factor is the coin's own outline: what
a coin darkens around itself ends nearer, a two-metal coin is a third larger than its core."""
RIVAL, RIVAL_COVER = 0.6, 0.6
"""A second disc is a rival from this share of the largest one's radius, and is looked at where the
best of its circles shows so much of itself: of the coins of 13 rendered photos 0.84 and more, of a
chance circle among rings 0.47."""
ROUGH_COVER = 0.85
"""Cover of a circle that stands in for a rim."""
U_FIRST_SHAPE, U_LEVELLED_SHAPE = 0.005, 0.001
"""Doubt about a rim's shape, in radii, while the tilt is not known (8 degrees make a circle 0.005
oval), and after."""
U_UNCONFIRMED = 0.012
"""Least doubt about a radius, in radii, where the second trace, under the known tilt, finds no rim:
of five such among 84 coins one was off by 0.018, the others by 0.005 or less."""
BEYOND_MOST = 0.5
"""Share of a larger outline from which what was traced may be the inner edge of a raised rim: one
such coin under a torch, as bright as its card, has 0.6; of 83 others two have 0.45 and 0.43 (their
shadows), all others 0.36 or less."""
STRAYED = 0.93
"""Share of a rim's radius under which a second trace has found another circle: the inner edge of a
coin's raised rim is a tenth smaller."""
LEAST_RADIUS_PX = 60.0
"""A smaller coin would give the scale to no better than half a per cent."""
LAB_DIFFERENCE = 5.5
ROUGH_RATIO, ROUGH_LEAST = 1.8, 0.8
BOTH = 1.6
"""A disc is solid if its face differs from the table in colour (CIE Lab; lightness, which a
shadow changes, counts half), or is this much rougher (Lab units a pixel of a picture in which its
radius is 34 pixels), or if both, in these measures, come to so much together: a silver coin on
grey paper. Of 92 rendered coins the least has 1.8."""
HOLE_LEAST, HOLE_SHARE = 3.0, 0.45
"""A disc has a hole if its middle is this unlike its face (CIE Lab), and by this share of what it
is unlike the table: on 60 photos of solid coins at most 0.25, of 13 coins with a hole at least 0.6
(in shadow)."""
UNSCALED_MM = 300.0
"""Height of a camera while nothing tells the true one."""
DIRECTIONS = 64
"""Directions in which the extents of the seen and the drawn rim are compared."""
STAND_STEPS, STANDS_MM = 20, 1e-5
"""Most steps to the place of the lens, and the last one's length: steps shrink a hundredfold."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Disc:
    """A solid round thing in the picture, with its traced rim."""

    rim: Rim
    has_hole: bool = False

    @property
    def place(self) -> str:
        """Where it lies, for messages."""
        return f"({self.rim.x:.0f}, {self.rim.y:.0f})"


IsRing = Callable[[Camera, Rim], bool]
"""Whether a ring lies where a disc's rim was seen, under a camera for which that is the coin."""


def find_discs(photo: Photo, nests: list[Nest], coin: Coin | None, is_ring: IsRing) -> list[Disc]:
    """Find solid discs, largest first; small ones beside a large one are left out.

    Parameters
    ----------
    coin : what the disc is, if known: how far its lower rim shows depends on its thickness
    is_ring : tells rings, whose holes a shadow may fill, from discs
    """
    discs: list[Disc] = []
    for nest in sorted(nests, key=lambda n: -n.outer.radius):
        largest = discs[0].rim.radius if discs else 0.0
        cover = max(circle.cover for circle in nest.circles)
        if (
            nest.outer.radius < max(RIVAL * largest, LEAST_RADIUS_PX)
            or (discs and cover < RIVAL_COVER)
            or any(_covers(d.rim, nest) for d in discs)
        ):
            continue
        if _is_solid(photo, nest.outer):
            rim = _rim_of(photo, nest, coin)
            if rim is None or rim.radius <= RIVAL * largest:
                continue
            if coin is None or not is_ring(stand_over(first_view(photo), rim, coin), rim):
                discs.append(Disc(rim=rim, has_hole=_has_hole(photo, rim)))
    return sorted(discs, key=lambda disc: -disc.rim.radius)


def the_coin(discs: list[Disc], coin: Coin) -> Disc:
    """Choose the disc that is the coin.

    Raises
    ------
    ScaleError
        No disc, or more than one that could be it, or one with a hole that the coin has not.
    """
    alike = [disc for disc in discs if disc.has_hole == (coin.hole_mm is not None)]
    if discs and not alike:
        raise ScaleError(
            f"the disc at {discs[0].place} is not {coin.name}: {coin.label} "
            + ("has a hole" if coin.hole_mm is not None else "has no hole")
            + ", it has "
            + ("none" if coin.hole_mm is not None else "one"),
            hint="name the coin that lies in the picture; `annulet coins` lists them",
        )
    discs = alike
    if not discs:
        raise ScaleError(
            f"no coin found: looked for the round outline of {coin.name} ({coin.label})",
            hint="lay the coin flat and whole in the picture, away from rings and shadows, "
            "on a surface of another colour",
        )
    if len(discs) > 1:
        raise ScaleError(
            f"{len(discs)} discs could be the coin {coin.name}: at "
            + " and ".join(disc.place for disc in discs),
            hint="leave one coin in the picture, or cover the other round things",
        )
    return discs[0]


def _rim_of(photo: Photo, nest: Nest, coin: Coin | None) -> Rim | None:
    """The rim of a solid thing, traced; else a clear circle, until the tilt is known.

    Seen aslant, a rim may be found only then. What lies well inside a clear circle is no rim, but
    the border of a core of another metal.
    """
    traced = _traced(photo, nest, coin)
    clear = _clear(nest)[-1:]
    if traced is not None and not any(c.radius > OUTSIDE * traced.radius for c in clear):
        return traced
    return rough_rim(clear[0].x, clear[0].y, clear[0].radius, clear[0].cover) if clear else None


def _traced(photo: Photo, nest: Nest, coin: Coin | None) -> Rim | None:
    """Look for the rim around each likely circle; of equally whole outlines trace the largest."""
    likely = sorted(nest.circles, key=lambda c: -c.cover)[:STARTS]
    seen: list[Rim] = []
    for circles in (likely, [replace(circle, x=nest.x, y=nest.y) for circle in likely]):
        for circle in circles:
            if not any(_leads_to(circle, rim) for rim in seen):
                rim = search_rim(photo, _expected(photo, circle, coin))
                if rim is None and circle.cover >= ROUGH_COVER:
                    rim = rough_rim(circle.x, circle.y, circle.radius, circle.cover)
                seen += [rim] if rim is not None else []
        if seen:
            break
    traced: list[Rim] = []
    for start in _best_first(seen):
        rim = trace_rim(photo, _expected(photo, start, coin))
        traced += [rim] if rim is not None else []
        if rim is not None and rim.cover > WHOLE:
            break
    return next(iter(_best_first(traced)), None)


def _leads_to(circle: Circle, rim: Rim) -> bool:
    return rim.cover > WHOLE and abs(np.log(circle.radius / rim.radius)) < SAME_START


def _best_first(rims: list[Rim]) -> list[Rim]:
    """Whole outlines first; of equally whole ones the largest."""
    largest = max((rim.radius for rim in rims), default=1.0)
    return sorted(rims, key=lambda rim: -rim.cover - SIZE_WORTH * rim.radius / largest)


def _clear(nest: Nest) -> list[Circle]:
    """The circles that may stand in for a rim, innermost first."""
    return [circle for circle in nest.circles if circle.cover >= ROUGH_COVER]


def _expected(photo: Photo, rough: Circle | Rim, coin: Coin | None) -> Shape:
    """How a coin with this upper rim is drawn by a camera that looks straight down."""
    view = first_view(photo)
    radius, thickness = 1.0, USUAL_THICKNESS
    if coin is not None and coin.thickness_mm is not None:
        radius, thickness = coin.diameter_mm / 2.0, coin.thickness_mm
    above = view.f_px * radius / rough.radius
    aside = above / view.f_px * np.array([view.cx - rough.x, rough.y - view.cy])
    camera = Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([*aside, above + thickness]),
        f_px=view.f_px,
        cx=view.cx,
        cy=view.cy,
    )
    return drawn_shape(camera, radius, thickness, U_FIRST_SHAPE)


def _covers(rim: Rim, nest: Nest) -> bool:
    return bool(np.hypot(rim.x - nest.x, rim.y - nest.y) < rim.radius)


def _is_solid(photo: Photo, outline: Circle) -> bool:
    """Whether the middle looks unlike the table around the outermost circle of a nest.

    A ring's hole shows the table, at least where no shadow fills it.
    """
    seen = _around(photo, outline.x, outline.y, outline.radius)
    if seen is None:
        return False
    lab, far = seen
    face, table = far < 0.3, (far > 1.12) & (far < 1.38)
    if face.sum() < 20 or table.sum() < 20:
        return False
    difference = _unlike(lab, face, table)
    rough = np.hypot(cv2.Sobel(lab[..., 0], -1, 1, 0), cv2.Sobel(lab[..., 0], -1, 0, 1)) / 8.0
    face_rough, table_rough = (float(np.quantile(rough[part], 0.9)) for part in (face, table))
    other = difference / LAB_DIFFERENCE
    rougher = face_rough / (ROUGH_RATIO * table_rough + ROUGH_LEAST)
    return max(other, rougher) > 1.0 or other + rougher > BOTH


def _has_hole(photo: Photo, rim: Rim) -> bool:
    """Whether the table shows through a disc's middle."""
    seen = _around(photo, rim.x, rim.y, rim.radius)
    if seen is None:
        return False
    lab, far = seen
    middle, face, table = far < 0.11, (far > 0.32) & (far < 0.55), (far > 1.12) & (far < 1.38)
    if table.sum() < 20:
        return False
    apart = _unlike(lab, middle, face)
    return apart > max(HOLE_LEAST, HOLE_SHARE * _unlike(lab, middle, table))


def _around(photo: Photo, x: float, y: float, radius: float) -> tuple[Floats, Array] | None:
    """A small picture (CIE Lab) of a disc and the table around it, and each pixel's radius.

    The radius counts in those of the disc. None where hardly anything of it is in the photo.
    """
    reach = 1.4 * radius
    width, height = photo.size
    left, top = int(max(0, x - reach)), int(max(0, y - reach))
    right, bottom = int(min(width, x + reach)), int(min(height, y + reach))
    if right - left < 16 or bottom - top < 16:
        return None
    shrink = 48.0 / reach
    times = max(0, int(-np.log2(shrink)))
    half = halved(photo.bgr[top:bottom, left:right], times)
    zoom = shrink * 2**times
    small = cv2.resize(half, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(small.astype(np.float32) / 255.0, cv2.COLOR_BGR2LAB)
    rows, columns = np.indices(lab.shape[:2])
    far = np.hypot(columns / shrink + left - x, rows / shrink + top - y) / radius
    return np.asarray(lab, np.float32), far


def _unlike(lab: Floats, one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    """Difference of two zones' usual colours; lightness, which a shadow changes, counts half."""
    change = np.median(lab[one], axis=0) - np.median(lab[other], axis=0)
    return float(np.hypot(0.5 * change[0], np.hypot(change[1], change[2])))


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What is known or assumed of the camera before its place is."""

    f_px: float
    cx: float
    cy: float
    tilt_x: float = 0.0
    tilt_y: float = 0.0
    k1: float = 0.0

    def tilted_from(self, other: "View") -> tuple[float, float]:
        """How far it is tilted from another one about both axes, radians."""
        return self.tilt_x - other.tilt_x, self.tilt_y - other.tilt_y


def first_view(photo: Photo) -> View:
    """A camera that looks straight down, with the focal length from EXIF or assumed."""
    width, height = photo.size
    f35 = photo.f35_mm or ASSUMED_F35_MM
    return View(f_px=focal_px(f35, width, height), cx=(width - 1) / 2, cy=(height - 1) / 2)


def unscaled(view: View) -> Camera:
    """A camera over nothing of known size, at a height that is as good as any."""
    return Camera(
        rotation=looking_down(view.tilt_x, view.tilt_y),
        position=np.array([0.0, 0.0, UNSCALED_MM]),
        f_px=view.f_px,
        cx=view.cx,
        cy=view.cy,
        k1=view.k1,
    )


def stand_over(view: View, rim: Rim, coin: Coin, *, grow_mm: float = 0.0) -> Camera:
    """Place the camera so that the coin's upper rim is drawn where it is seen.

    The world's origin is the coin's middle. Three unknowns, the place of the lens, are fitted to
    the extents of the rim in 64 directions (the support function of both convex outlines, so
    that no point must be matched with another).

    Parameters
    ----------
    view : focal length, tilt and lens, taken as known
    grow_mm : added to the coin's diameter, to see what a doubt about it does
    """
    if coin.thickness_mm is None:
        raise ScaleError(f"the thickness of {coin.name} is unknown")
    angles = np.arange(DIRECTIONS) * (2.0 * np.pi / DIRECTIONS)
    directions = np.stack([np.cos(angles), np.sin(angles)])
    seen = (rim.outline @ directions).max(axis=0)
    radius = coin.diameter_mm / 2.0 - RIM_ROUNDING_MM + grow_mm / 2.0
    around = np.arange(4 * DIRECTIONS) * (np.pi / 2.0 / DIRECTIONS)
    circle = np.stack(
        [
            radius * np.cos(around),
            radius * np.sin(around),
            np.full_like(around, coin.thickness_mm),
        ],
        axis=-1,
    )
    rotation = looking_down(view.tilt_x, view.tilt_y)

    def camera(place: Array) -> Camera:
        return Camera(
            rotation=rotation,
            position=place,
            f_px=view.f_px,
            cx=view.cx,
            cy=view.cy,
            k1=view.k1,
        )

    height = view.f_px * radius / rim.radius + coin.thickness_mm
    place = _towards(view, rotation, rim, height, coin.thickness_mm)
    for _ in range(STAND_STEPS):
        here = camera(place)
        reach = here.project(circle) @ directions
        furthest = reach.argmax(axis=0)
        apart = seen - reach[furthest, np.arange(DIRECTIONS)]
        # The furthest point slides along the outline, which runs across the direction there.
        slopes = -here.slopes(circle[furthest], directions.T)
        step = np.linalg.lstsq(slopes, apart, rcond=None)[0]
        place = place + step
        if np.abs(step).max() < STANDS_MM:
            break
    return camera(place)


def retraced(photo: Photo, disc: Disc, over: Camera, coin: Coin) -> Disc:
    """The disc traced again when the tilt is known; as it was, but less sure, if that fails.

    Parameters
    ----------
    over : a camera in whose world the coin lies at the origin, as `stand_over` gives it
    """
    radius, thickness = coin.diameter_mm / 2.0, coin.thickness_mm or 0.0
    rim = trace_rim(photo, drawn_shape(over, radius, thickness, U_LEVELLED_SHAPE))
    if rim is None or rim.radius < STRAYED * disc.rim.radius:
        doubt = max(disc.rim.u_radius_px, U_UNCONFIRMED * disc.rim.radius)
        return replace(disc, rim=replace(disc.rim, u_radius_px=doubt))
    return replace(disc, rim=rim)


def true_over_seen(camera: Camera, rim: Rim, coin: Coin) -> float:
    """Published over seen diameter of a coin, under a camera known from elsewhere."""
    ring = camera.to_plane(rim.outline, coin.thickness_mm or 0.0)
    seen = 2.0 * float(np.hypot(*(ring - ring.mean(axis=0)).T).mean())
    return (coin.diameter_mm - 2.0 * RIM_ROUNDING_MM) / seen


def _towards(view: View, rotation: Array, rim: Rim, distance_mm: float, height_mm: float) -> Array:
    """Place of the lens from which the coin's middle is seen where it is."""
    camera = Camera(
        rotation=rotation,
        position=np.array([0.0, 0.0, distance_mm]),
        f_px=view.f_px,
        cx=view.cx,
        cy=view.cy,
        k1=view.k1,
    )
    there = camera.to_plane(np.array([rim.x, rim.y]), height_mm)
    return np.array([-there[0], -there[1], distance_mm])
