"""The scale reference of a photo: what the user says of it, what is seen of it, what follows."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import ScaleError
from vision.photo.circles import Nest
from vision.photo.decode import Photo
from vision.results import Scale
from vision.scale.camera import Camera
from vision.scale.coin import (
    BEYOND_MOST,
    U_ASSUMED_F35_REL,
    U_F35_REL,
    U_RIM_ROUNDING_MM,
    Disc,
    IsRing,
    View,
    find_discs,
    first_view,
    retraced,
    stand_over,
    the_coin,
    true_over_seen,
    unscaled,
)
from vision.scale.frame import BarReadings, find_sheet
from vision.scale.level import ROUND_POINTS, U_DISC_OVAL, U_K1, U_TILT, Levelled, Round, level
from vision.scale.rim import Rim
from vision.scale.view import SheetView, sheet_scale
from vision.trade.coins import Coin, lookup

Array = NDArray[np.float64]

PARALLEL_HEIGHT_MM = 1e6
"""Camera height that stands for a parallel view: scanner, telecentric lens."""
U_STATED_REL = 0.001
"""Relative standard uncertainty of a scale that the user states."""
U_STATED_HEIGHT_REL = 0.1
CLASH = 0.09
"""Difference between sheet and coin that no printer makes: fit to page is 3 to 6 %."""
QUARREL = 3.0
"""Standard deviations between sheet and coin from which the maker is told."""
RETRACED_RAD = 0.0087
"""Tilt by which a view must differ, for a rim to be traced again under it: half a degree draws a
coin's foot 0.06 % of its radius further out, where coins tell the scale to 0.3 %."""
NO_WITNESS = float("inf")
"""Uncertainty of the print's scale by a coin that is not there."""
LAY_COIN_CLEARLY = "lay the coin on a surface of another brightness, evenly lit, away from rings"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """What the user says about the scale; nothing said means: look for it."""

    coin: str | None = None
    """Name of the coin in the picture, such as `eur-1`."""
    sheet: bool = False
    """Insist on the printed sheet."""
    mm_per_px: float | None = None
    height_mm: float | None = None
    """Camera height over the table for a stated scale; None where the view is parallel."""
    bar_x_mm: float | None = None
    bar_y_mm: float | None = None
    """Caliper readings of the sheet's check bars."""

    @property
    def wants_sheet(self) -> bool:
        """Whether what was said makes sense on a printed sheet only."""
        return self.sheet or self.bar_x_mm is not None or self.bar_y_mm is not None


class Sight(Protocol):
    """A reference seen in the picture, and the camera that it implies."""

    @property
    def camera(self) -> Camera:
        """The camera as well as it is known now."""

    def hides(self, x: float, y: float) -> bool:
        """Whether the reference itself lies at this pixel."""

    def levelled(self, rings: list[Round]) -> "Sight":
        """The same reference after the rings' roundness told about tilt and lens."""

    def retraced(self) -> "Sight":
        """The same after its outline was looked for again under the tilt that is known now."""

    def cell_of(self, x_mm: float, y_mm: float) -> str | None:
        """Name of the sheet's cell at a place of the world; None without a sheet."""

    def scale(self) -> Scale:
        """What the rest of the program needs to know."""


def see_sheet(photo: Photo, reference: Reference) -> SheetView | None:
    """Look for the printed sheet, unless the user states the scale.

    Raises
    ------
    ScaleError
        A sheet is there, and cannot be used.
    """
    if reference.mm_per_px is not None:
        return None
    bars = BarReadings(x_mm=reference.bar_x_mm, y_mm=reference.bar_y_mm)
    return find_sheet(photo.bgr, photo.f35_mm, bars, photo.halved)


def first_sight(
    photo: Photo, view: SheetView | None, reference: Reference
) -> tuple[Camera, Callable[[float, float], bool]]:
    """What rings can be looked for with while a coin is still looked for.

    Parameters
    ----------
    view : what `see_sheet` saw

    Returns
    -------
    camera : the one over sheet or table; without these one whose scale means nothing
    hides : whether a pixel lies off the sheet
    """
    if reference.mm_per_px is not None:
        sight = StatedSight(photo=photo, mm_per_px=reference.mm_per_px, height=reference.height_mm)
        return sight.camera, sight.hides
    if view is not None:
        sheet = SheetSight(view=view)
        return sheet.camera, sheet.hides
    return unscaled(first_view(photo)), lambda x, y: False


def see_reference(
    photo: Photo,
    nests: list[Nest],
    view: SheetView | None,
    reference: Reference,
    is_ring: IsRing,
) -> Sight:
    """Find the scale reference that the user named, or the one that is there.

    Parameters
    ----------
    view : what `see_sheet` saw
    is_ring : tells a ring from the coin

    Raises
    ------
    ScaleError, CoinError
        Nothing to take the scale from, or too much of it.
    """
    if reference.mm_per_px is not None:
        return StatedSight(photo=photo, mm_per_px=reference.mm_per_px, height=reference.height_mm)
    coin = lookup(reference.coin) if reference.coin is not None else None
    if view is not None:
        if coin is None:
            return SheetSight(view=view)
        return _sheet_and_coin(photo, view, find_discs(photo, nests, coin, is_ring), coin)
    if reference.wants_sheet:
        raise ScaleError(
            "no printed sheet found: looked for the checkered frame of `annulet sheet`",
            hint="take the frame into the photo, at least two thirds of it uncovered and sharp; "
            "or leave out --sheet, --bar-x and --bar-y, and name a coin with --coin",
        )
    if coin is not None:
        disc = the_coin(find_discs(photo, nests, coin, is_ring), coin)
        return CoinSight(
            photo=photo,
            disc=disc,
            round=_round_of(disc),
            coin=coin,
            found=_unlevelled(first_view(photo)),
        )
    discs = find_discs(photo, nests, None, is_ring)
    seen = f"; the disc at {discs[0].place} looks like a coin" if discs else ""
    raise ScaleError(
        f"no scale reference found: no printed sheet, and no coin was named{seen}",
        hint="name the coin in the picture with --coin (see `annulet coins`), use the sheet of "
        "`annulet sheet`, or state the scale with --mm-per-px",
    )


def _sheet_and_coin(photo: Photo, view: SheetView, discs: list[Disc], coin: Coin) -> "SheetSight":
    """Let a named coin that lies on the sheet bear witness to the print.

    Raises
    ------
    ScaleError
        No such coin is there, or sheet and coin differ by more than any printer does.
    """
    camera, disc = view.camera, the_coin(discs, coin)
    foot = camera.to_plane(np.array([disc.rim.x, disc.rim.y]), coin.thickness_mm or 0.0)
    over = replace(camera, position=camera.position - np.append(foot, 0.0))
    disc = retraced(photo, disc, over, coin)
    ratio = true_over_seen(camera, disc.rim, coin)
    if abs(ratio - 1.0) > CLASH:
        raise ScaleError(
            f"sheet and coin disagree: by the sheet, {coin.name} is "
            f"{coin.diameter_mm / ratio:.2f} mm across, but it is {coin.diameter_mm:g} mm",
            hint="is it another coin? else print the sheet again at 100 %, not fit to page",
        )
    return SheetSight(view=view, coin=coin, ratio=ratio, u_ratio=_u_ratio(view, disc.rim, coin))


def _u_ratio(view: SheetView, rim: Rim, coin: Coin) -> float:
    """Relative standard uncertainty of the print's scale by the coin.

    Diameter, rounding of its rim, tracing, thickness (it lifts the rim towards the camera), the
    camera's height over the print, and how flat the sheet lies under it.
    """
    height = view.camera.height_mm
    lift = (coin.thickness_mm or 0.0) / height * view.u_height_rel
    parts = (
        coin.u_diameter_mm / coin.diameter_mm,
        2.0 * U_RIM_ROUNDING_MM / coin.diameter_mm,
        rim.u_radius_px / rim.radius,
        coin.u_thickness_mm / height,
        lift,
        view.u_fit_rel,
    )
    return float(np.linalg.norm(parts))


def _unlevelled(view: View) -> Levelled:
    """A view of which only the prior is known."""
    return Levelled(
        view=view,
        spread=(
            replace(view, tilt_x=view.tilt_x + U_TILT),
            replace(view, tilt_y=view.tilt_y + U_TILT),
            replace(view, k1=view.k1 + U_K1),
        ),
    )


def _round_of(disc: Disc) -> Round | None:
    """A traced disc as a round thing that tells tilt and lens."""
    if not disc.rim.is_traced:
        return None
    points = disc.rim.ellipse().points(ROUND_POINTS)
    return Round(points_px=points, u_oval=U_DISC_OVAL, is_ring=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoinSight:
    """A coin, its rim, and the tilt and lens found so far."""

    photo: Photo
    disc: Disc
    round: Round | None
    """The coin as a round thing; None where its rim was not traced."""
    coin: Coin
    found: Levelled
    traced_under: View | None = None
    """The view under which the rim was traced, once one was known."""

    @property
    def camera(self) -> Camera:
        """The camera over the coin."""
        return stand_over(self.found.view, self.disc.rim, self.coin)

    def hides(self, x: float, y: float) -> bool:
        """Whether the coin lies at this pixel."""
        rim = self.disc.rim
        return bool(np.hypot(x - rim.x, y - rim.y) < rim.radius)

    def cell_of(self, x_mm: float, y_mm: float) -> str | None:
        """A coin has no cells."""
        return None

    def levelled(self, rings: list[Round]) -> "CoinSight":
        """Tilt and lens from the roundness of all rings and of the coin."""
        coin = [self.round] if self.round else []
        return replace(self, found=level(self.found.view, [*rings, *coin]))

    def retraced(self) -> "CoinSight":
        """The coin's rim as the camera draws it now, unless it was traced so already."""
        view, before = self.found.view, self.traced_under
        if before is not None and np.hypot(*view.tilted_from(before)) < RETRACED_RAD:
            return self
        disc = retraced(self.photo, self.disc, self.camera, self.coin)
        return replace(self, disc=disc, round=_round_of(disc), traced_under=view)

    def scale(self) -> Scale:
        """Scale with the doubts about coin, focal length, tilt and lens.

        Raises
        ------
        ScaleError
            The coin's rim could not be traced.
        """
        if not self.disc.rim.is_traced:
            raise ScaleError(
                f"no clear rim around the disc at {self.disc.place}: {self.coin.name} ends in a "
                "surface as bright as itself, in shadow or at the photo's edge",
                hint=LAY_COIN_CLEARLY,
            )
        if self.disc.rim.beyond > BEYOND_MOST:
            raise ScaleError(
                f"the disc at {self.disc.place} shows two outlines: the clear one may be the inner "
                f"edge of the raised rim of {self.coin.name}, the faint one around it its own",
                hint=LAY_COIN_CLEARLY,
            )
        camera = self.camera
        rim, coin, view = self.disc.rim, self.coin, self.found.view
        width, height = self.photo.size
        middle = np.array([(width - 1) / 2, (height - 1) / 2])
        size = camera.mm_per_px(middle)
        grow = float(
            np.sqrt(
                coin.u_diameter_mm**2
                + (2 * U_RIM_ROUNDING_MM) ** 2
                + (2 * rim.u_radius_px * size) ** 2
            )
        )
        u_focal = U_F35_REL if self.photo.f35_mm else U_ASSUMED_F35_REL
        thick = replace(coin, thickness_mm=(coin.thickness_mm or 0.0) + coin.u_thickness_mm)
        doubts = {
            "coin": (
                stand_over(view, rim, coin, grow_mm=grow),
                stand_over(view, rim, thick),
            ),
            "camera height": (
                stand_over(replace(view, f_px=view.f_px * (1 + u_focal)), rim, coin),
            ),
            "tilt and lens": tuple(stand_over(v, rim, coin) for v in self.found.spread),
        }
        at_coin = np.array([rim.x, rim.y])
        here = camera.mm_per_px(at_coin)
        u_rel = np.linalg.norm([c.mm_per_px(at_coin) / here - 1.0 for c in doubts["coin"]])
        tilts = [c.tilt_deg - camera.tilt_deg for c in doubts["tilt and lens"]]
        warnings = () if self.photo.f35_mm else (NO_FOCAL_LENGTH,)
        return Scale(
            kind="coin",
            reference=coin.name,
            camera=camera,
            mm_per_px=size,
            u_rel=float(u_rel),
            camera_height_mm=camera.height_mm,
            u_height_rel=u_focal,
            tilt_deg=camera.tilt_deg,
            u_tilt_deg=float(np.linalg.norm(tilts)),
            u_lens_rel=float(np.linalg.norm([v.k1 - view.k1 for v in self.found.spread])),
            outline_px=rim.outline,
            doubts=doubts,
            notes=(
                f"{coin.label}, {coin.diameter_mm:g} mm across, {coin.thickness_mm:g} mm thick",
            ),
            warnings=warnings,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetSight:
    """The printed sheet, which gives scale, pose and lens at once; a coin may witness its print."""

    view: SheetView
    coin: Coin | None = None
    ratio: float = 1.0
    """True over printed lengths by the coin."""
    u_ratio: float = NO_WITNESS

    @property
    def camera(self) -> Camera:
        """The camera over the sheet, print corrected."""
        return _stretched(self.view.camera, self.trusted_ratio)

    @property
    def coin_is_better(self) -> bool:
        """Whether the coin tells the print's scale better than check bars or habit do."""
        return self.u_ratio < self.view.u_print_rel

    @property
    def trusted_ratio(self) -> float:
        """The coin's word on the print where it is the better one."""
        return self.ratio if self.coin_is_better else 1.0

    def hides(self, x: float, y: float) -> bool:
        """Whether the pixel lies outside the area for rings: on the frame or beside the sheet."""
        work = self.work_px.astype(np.float32)
        return cv2.pointPolygonTest(work, (float(x), float(y)), False) < 0

    @property
    def work_px(self) -> Array:
        """Corners (4, 2) of the area for rings."""
        half = np.array(self.view.sheet.work_mm) / 2 * self.view.print_scale * self.trusted_ratio
        signs = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
        return self.camera.project(np.column_stack([signs * half, np.zeros(4)]))

    def cell_of(self, x_mm: float, y_mm: float) -> str | None:
        """Cell at a true place."""
        return self.view.cell_of(x_mm / self.trusted_ratio, y_mm / self.trusted_ratio)

    def levelled(self, rings: list[Round]) -> "SheetSight":
        """The frame's many corners know tilt and lens better than rings do."""
        return self

    def retraced(self) -> "SheetSight":
        """The frame was found under the tilt that it shows."""
        return self

    def scale(self) -> Scale:
        """Scale with the doubts about print, corners, height and flatness."""
        camera, view = self.camera, self.view
        u_print = min(self.u_ratio, view.u_print_rel)
        doubts: dict[str, tuple[Camera, ...]] = {
            "print": (_stretched(camera, 1.0 + u_print),),
            "sheet corners": (_stretched(camera, 1.0 + view.u_fit_rel),),
            "camera height": (_raised(camera, view.u_height_rel),),
        }
        if view.curl_mm > 0:
            lifted = camera.position - np.array([0.0, 0.0, view.curl_mm / 2])
            doubts["sheet not flat"] = (replace(camera, position=lifted),)
        base = sheet_scale(view, print_known=self.coin_is_better)
        return replace(
            base,
            camera=camera,
            mm_per_px=base.mm_per_px * self.trusted_ratio,
            u_rel=float(np.hypot(u_print, view.u_fit_rel)),
            camera_height_mm=camera.height_mm,
            work_px=self.work_px,
            doubts=doubts,
            notes=(*base.notes, *self._witness()),
            warnings=(*base.warnings, *self._quarrel()),
        )

    def _witness(self) -> tuple[str, ...]:
        if self.coin is None:
            return ()
        off, u95 = 100.0 * (self.ratio - 1.0), 200.0 * self.u_ratio
        said = (
            f"{self.coin.label} on the sheet: true lengths are {off:+.2f} % ± {u95:.2f} % of print"
        )
        if self.coin_is_better:
            return (f"{said}; lengths are corrected by that",)
        return (f"{said}; not used, the check bars know better",)

    def _quarrel(self) -> tuple[str, ...]:
        apart = float(np.hypot(self.view.u_print_rel, self.u_ratio))
        if self.coin is None or abs(self.ratio - 1.0) < QUARREL * apart:
            return ()
        done = "the coin is believed" if self.coin_is_better else "the check bars are believed"
        return (
            f"sheet and coin differ by {100.0 * (self.ratio - 1.0):+.1f} %, {done}: was the sheet "
            "printed to fit the page, a bar misread, or is it another coin?",
        )


def _stretched(camera: Camera, factor: float) -> Camera:
    """The same view of a world that is larger by a factor."""
    return replace(camera, position=camera.position * factor)


def _raised(camera: Camera, u_height_rel: float) -> Camera:
    """A camera further up with a longer lens, the scale in the picture's middle unchanged."""
    foot = np.append(camera.to_plane(np.array([camera.cx, camera.cy])), 0.0)
    grow = 1.0 + u_height_rel
    return replace(camera, position=foot + (camera.position - foot) * grow, f_px=camera.f_px * grow)


NO_FOCAL_LENGTH = (
    "the photo does not say its focal length: the camera's height is a guess, "
    "so send the camera's own file, not a screenshot or a copy from a messenger"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StatedSight:
    """A scale that the user states: scanner, microscope, fixed camera."""

    photo: Photo
    mm_per_px: float
    height: float | None

    @property
    def camera(self) -> Camera:
        """A camera that looks straight down on the middle of the picture."""
        return self._camera(self.mm_per_px, self.height or PARALLEL_HEIGHT_MM)

    def _camera(self, mm_per_px: float, height_mm: float) -> Camera:
        width, height = self.photo.size
        return Camera(
            rotation=np.diag([1.0, -1.0, -1.0]),
            position=np.array([0.0, 0.0, height_mm]),
            f_px=height_mm / mm_per_px,
            cx=(width - 1) / 2,
            cy=(height - 1) / 2,
        )

    def hides(self, x: float, y: float) -> bool:
        """Nothing lies in the picture."""
        return False

    def cell_of(self, x_mm: float, y_mm: float) -> str | None:
        """A stated scale has no cells."""
        return None

    def levelled(self, rings: list[Round]) -> "StatedSight":
        """A stated scale comes with a camera that stands straight."""
        return self

    def retraced(self) -> "StatedSight":
        """A stated scale has no outline."""
        return self

    def scale(self) -> Scale:
        """Scale with the doubt about the stated number."""
        height = self.height or PARALLEL_HEIGHT_MM
        doubts = {"stated scale": (self._camera(self.mm_per_px * (1 + U_STATED_REL), height),)}
        if self.height is not None:
            higher = height * (1 + U_STATED_HEIGHT_REL)
            doubts["camera height"] = (self._camera(self.mm_per_px, higher),)
        return Scale(
            kind="stated",
            reference=f"{self.mm_per_px:g} mm/px",
            camera=self.camera,
            mm_per_px=self.mm_per_px,
            u_rel=U_STATED_REL,
            camera_height_mm=self.height,
            u_height_rel=U_STATED_HEIGHT_REL if self.height is not None else 0.0,
            tilt_deg=None,
            u_tilt_deg=0.0,
            u_lens_rel=0.0,
            doubts=doubts,
            notes=(
                "the scale is taken as stated, at the table's surface, the view as straight down",
                "view taken as parallel (scanner, telecentric lens): give --height-mm for a camera"
                if self.height is None
                else f"camera {self.height:g} mm above the table",
            ),
        )
