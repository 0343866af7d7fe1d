"""One joint fit of both outlines: a torus through the edges that the reader found."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.rings.edges import in_parts
from vision.rings.reader import SAMPLES_PER_PLACE, Net, Reading, read_edges
from vision.rings.rows import Rows
from vision.rings.section import ROUND, Section
from vision.rings.torus import (
    OVAL_COS,
    OVAL_SIN,
    RADIUS,
    TUBE,
    carried,
    outlines,
    ring_angles,
    touched,
)
from vision.rings.unwrap import COARSE, FINE, QUICK, S_FROM, S_TO, SAMPLES, Grid, Unwrapped
from vision.scale.camera import Camera

Array = NDArray[np.float64]
Picture = NDArray[np.float32]
Indices = NDArray[np.int64]

NETS = {FINE: Net.RING, QUICK: Net.QUICK, COARSE: Net.SCOUT}
"""Which network reads what is seen so finely."""
QUARTER = FINE.rays / 4.0 - 0.25
PHASES = ((-0.25, 0.25, -QUARTER), (0.25, -0.25, QUARTER))
"""Shifts of the inner and the outer guess between the readings of a ring whose mean counts, in the
reader's places along s: what it makes of an edge's place between two of them cancels. Four phases
say no more: on 952 rendered rings the same errors to 0.001 mm. Third, the turn of the rays, in the
angle between two: the sectors of one reading lie where those of the other meet, so that both
together see twice as many, and each has rays of its own, or its noise would be the same again."""
FAR = 0.03
"""Change of wire or ID (wire widths) from which a ring is read for good once more: one in five."""
REWEIGHTINGS, STRICT_FROM = 6, 3
"""Turns of the robust fit; from the fourth one on, Huber's weight counts to the third power where
most edges agree: by then it is clear which are wrong, and a shadow along a fifth of the ring moves
nothing."""
CLEAR_SCATTER, CLEAR_SHARE, CLEAR_PRESENCE = 0.03, 0.08, 0.8
"""Residual scatter and likely error (wire widths) under which, and presence above which a ring is
beyond doubt. Of 956 measurable rendered rings none has more than 0.019 and 0.052, or less than
0.995; the band of light along an outer edge has 0.02, 0.11 and 0.9."""
SURE_SCATTER, SURE_PRESENCE, SURE_ALONE = 0.02, 0.98, 0.008
"""Of 1,743 rings measured right in rendered photos nine scatter more or are less present; shadows
and nuts taken for rings were. What scatters less than the last one is sure whatever its presence:
four shadows that were read as their rings scatter by 0.016 to 0.025."""
HUBER_S = 0.03
"""Residual from which an edge loses influence, in wire widths."""
EDGE_S = 0.02
"""Likely error of an edge of weight one, in wire widths (the reader's own unit)."""
OVAL_PRIOR = 0.01
"""Standard deviation of the oval amplitudes a, b before looking: jump rings are round to 1-2 %."""
REMATCH_STEPS = 3
"""Along one slope: a step leaves a hundredth of the distance."""
AHEAD = 1e-4
"""Step around a ring, radians, that shows where its outlines go."""
REMATCHED = 8
"""Angles around a ring at which its outlines under two cameras are compared."""
TUBE_SHRINK, TUBE_GROW = 0.5, 1.6
"""A round changes the wire at most by these factors."""
HOLE_LEAST = 1.05
"""Centre-line radius over wire radius; 1 would be a ring without a hole."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit(Rows):
    """Fitted rings and the signs of how well they fit."""

    tori: Array
    """(n, 6)"""
    reading: Reading
    residuals: Array
    """(n, 2, sectors) edge minus fitted outline along s; of several readings together
    the sectors of all, in the order of their angles."""
    apart: Array
    """(n, 2) standard deviation of wire and ID over the readings whose mean counts, mm; of one
    reading how far it moved them."""
    clear: Array
    """(n, sectors) share of each sector inside the picture."""
    planes: Picture
    """(n, 6, sectors, samples) what the reader saw."""
    paper: Array
    """(n,) linear light of the table around each ring, brightest channel."""
    clipped: Array
    """(n,) share of samples that are overexposed."""
    section: Section = ROUND
    """Of the wire of all rings."""

    def __len__(self) -> int:
        return len(self.tori)

    def renewed(self, which: NDArray[np.int64], others: "Fit") -> "Fit":
        """The same rings, but those with these indices as in `others`, one for each."""
        place = np.arange(len(self))
        place[which] = len(self) + np.arange(len(which))
        return self.joined(others).chosen(place)

    @property
    def scatter(self) -> Array:
        """(n,) standard deviation of the residuals, in wire widths."""
        scatter: Array = self.residuals.std(axis=(1, 2))
        return scatter

    @property
    def is_clear(self) -> NDArray[np.bool_]:
        """(n,) which are rings beyond doubt."""
        clear: NDArray[np.bool_] = (
            (self.scatter < CLEAR_SCATTER)
            & (self.reading.scale.max(axis=1) < CLEAR_SHARE)
            & (self.reading.presence > CLEAR_PRESENCE)
        )
        return clear

    @property
    def is_sure(self) -> NDArray[np.bool_]:
        """(n,) which look as nearly all rings do that are read for good and right."""
        round_enough, present = self.scatter < SURE_SCATTER, self.reading.presence > SURE_PRESENCE
        sure: NDArray[np.bool_] = (
            self.is_clear & round_enough & (present | (self.scatter < SURE_ALONE))
        )
        return sure

    @property
    def wire_mm(self) -> Array:
        """(n,) wire diameter."""
        return 2.0 * self.tori[:, TUBE]

    @property
    def id_mm(self) -> Array:
        """(n,) inside diameter."""
        return 2.0 * (self.tori[:, RADIUS] - self.tori[:, TUBE])

    @property
    def outer_mm(self) -> Array:
        """(n,) outside diameter."""
        return 2.0 * (self.tori[:, RADIUS] + self.tori[:, TUBE])


def fit_rings(
    photo: Photo, camera: Camera, tori: Array, *, section: Section = ROUND, grid: Grid = FINE
) -> Fit:
    """Unwrap, read and refit.

    Parameters
    ----------
    photo : the upright photo
    camera : the camera over the table
    tori : (n, 6) guesses, off by a few pixels or by a third of the wire's width
    section : the wire's cross-section
    grid : how finely to look, and with it who reads: the one for what counts, the quick one for
        finding rings, the scout to choose among guesses
    """
    lines = outlines(camera, tori, ring_angles(grid.sectors * grid.rays), section)
    middles = ring_angles(grid.sectors)

    def fitted(which: Indices, seen: Unwrapped) -> Fit:
        reading, here = read_edges(seen.planes, NETS[grid]), tori[which]
        moved, residuals = refit(camera, here, middles, reading, seen.clear, section)
        return Fit(
            tori=moved,
            reading=reading,
            residuals=residuals,
            apart=np.abs(_sizes(moved) - _sizes(here)),
            clear=seen.clear,
            planes=seen.planes,
            paper=seen.paper,
            clipped=seen.planes[:, 3].mean(axis=(1, 2), dtype=float),
            section=section,
        )

    return in_parts(photo, *lines, grid, fitted)


def settled(photo: Photo, camera: Camera, fit: Fit) -> Fit:
    """Read rings for good; those that this moves far are read so again, from where they lie then.

    What is left of a start's error, where the reader sees little, is a share of it.
    """
    once = _from_phases(photo, camera, fit)
    far = np.abs(_sizes(once.tori) - _sizes(fit.tori)).max(axis=1) > FAR * fit.wire_mm
    some = np.nonzero(far)[0]
    return once.renewed(some, _from_phases(photo, camera, once.chosen(some)))


def _from_phases(photo: Photo, camera: Camera, fit: Fit) -> Fit:
    """Read rings once more from each of `PHASES`, and fit them to all edges of all readings.

    How far the readings by themselves are apart is a sign of doubt.
    """
    section = fit.section
    each = [_shifted(fit.tori, inner, outer) for inner, outer, _ in PHASES]
    starts = np.stack(each, axis=1).reshape(-1, 6)
    turn = np.array([[turn] for _, _, turn in PHASES]) * 2.0 * np.pi / (FINE.sectors * FINE.rays)
    turned = np.tile(turn, (len(fit), 1))
    lines = outlines(camera, starts, ring_angles(FINE.sectors * FINE.rays) + turned, section)
    middles = ring_angles(FINE.sectors) + turned

    def fitted(which: Indices, seen: Unwrapped) -> Fit:
        reading, here = read_edges(seen.planes, NETS[FINE]), starts[which]
        ring = fit.tori[_by_phase(which)[:, 0] // len(PHASES)]
        edges = _edges_of(camera, here, middles[which], reading, seen.clear, section)
        alone, _ = _moved(here, edges)
        tori, left = _moved(ring, _seen_from(edges, here, ring))
        return Fit(
            tori=tori,
            reading=Reading(
                edges=_woven(reading.edges),
                weight=_woven(reading.weight),
                scale=_mean(reading.scale),
                presence=_mean(reading.presence),
            ),
            residuals=_woven(left.reshape(reading.edges.shape)),
            apart=_by_phase(_sizes(alone)).std(axis=1, ddof=1),
            clear=_woven(seen.clear),
            planes=_mean(seen.planes),
            paper=_mean(seen.paper),
            clipped=_mean(seen.planes[:, 3].mean(axis=(1, 2), dtype=float)),
            section=section,
        )

    return in_parts(photo, *lines, FINE, fitted, together=len(PHASES))


def _sizes(tori: Array) -> Array:
    """Wire and ID (n, 2) of rings, mm."""
    return 2.0 * np.stack([tori[:, TUBE], tori[:, RADIUS] - tori[:, TUBE]], axis=1)


def _by_phase(values: NDArray[Any]) -> NDArray[Any]:
    """What was read of n rings as (n, phases, ...): a ring's readings follow one another.

    So its part of the picture is still in the processor's cache the second time.
    """
    return values.reshape(len(values) // len(PHASES), len(PHASES), *values.shape[1:])


def _mean(values: NDArray[Any]) -> NDArray[Any]:
    """Mean (n, ...) of what was read of n rings."""
    means: NDArray[Any] = _by_phase(values).mean(axis=1, dtype=values.dtype)
    return means


def _woven(values: Array) -> Array:
    """What was read of n rings (n x phases, ..., sectors), all sectors of a ring by their angle."""
    phases = np.moveaxis(_by_phase(values), 1, -1)
    *rest, sectors, readings = phases.shape
    woven: Array = phases.reshape(*rest, sectors * readings)
    return woven


def _shifted(tori: Array, inner: float, outer: float) -> Array:
    """Guesses (n, 6) whose outlines lie so many places further out along s."""
    place = (S_TO - S_FROM) / SAMPLES * SAMPLES_PER_PLACE * 2.0 * tori[:, TUBE]
    shifted = tori.copy()
    shifted[:, TUBE] += (outer - inner) / 2.0 * place
    shifted[:, RADIUS] += (outer + inner) / 2.0 * place
    return shifted


def refit(
    camera: Camera,
    tori: Array,
    angles: Array,
    reading: Reading,
    clear: Array,
    section: Section = ROUND,
) -> tuple[Array, Array]:
    """Move each torus so that its outlines pass the edges read around it.

    Weighted least squares of the edge distances along s, linear around the guess, with Huber
    weights (iteratively reweighted). Sectors outside the picture do not count.

    Parameters
    ----------
    angles : (sectors,) or (n, sectors) of the middles of the sectors that were read

    Returns
    -------
    tori : (n, 6) moved rings
    residuals : (n, 2, sectors) edge minus outline after the move, in s
    """
    if not len(tori):
        return tori, np.empty_like(reading.edges)
    moved, left = _moved(tori, _edges_of(camera, tori, angles, reading, clear, section))
    return moved, left.reshape(reading.edges.shape)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Edges(Rows):
    """The edges read around n rings, and how their outlines move; linear around a guess."""

    slopes: Array
    """(n, k, 6) change of each outline along s for a unit of each parameter."""
    off: Array
    """(n, k) edge less outline of the guess, in s."""
    weight: Array
    """(n, k)"""


def _edges_of(
    camera: Camera, tori: Array, angles: Array, reading: Reading, clear: Array, section: Section
) -> _Edges:
    """What was read around guesses (n, 6); sectors outside the picture do not count."""
    jacobian = _jacobian(camera, tori, angles, section)[0]
    each = 2 * reading.edges.shape[2]
    off = reading.edges - np.array([0.0, 1.0])[:, None]
    weight = reading.weight * (clear[:, None, :] > 0.99)
    return _Edges(
        slopes=jacobian.reshape(len(tori), each, 6),
        off=off.reshape(len(tori), each),
        weight=weight.reshape(len(tori), each),
    )


def _seen_from(edges: _Edges, guesses: Array, tori: Array) -> _Edges:
    """The edges around several guesses at each ring as seen from one (n, 6) of its own."""
    count, each = len(tori), len(PHASES) * edges.off.shape[1]
    aside = guesses - np.repeat(tori, len(PHASES), axis=0)
    off = edges.off + np.einsum("nkp,np->nk", edges.slopes, aside)
    return _Edges(
        slopes=edges.slopes.reshape(count, each, 6),
        off=off.reshape(count, each),
        weight=edges.weight.reshape(count, each),
    )


def _moved(tori: Array, edges: _Edges) -> tuple[Array, Array]:
    """Rings (n, 6) moved onto the edges, and what is left (n, k) of these, in s."""
    prior = np.zeros((len(tori), 6))
    prior[:, OVAL_COS] = prior[:, OVAL_SIN] = (EDGE_S / OVAL_PRIOR) ** 2
    move, left = robust_step(edges.slopes, edges.off, edges.weight, prior, tori)
    moved = tori + move
    tube = np.clip(moved[:, TUBE], TUBE_SHRINK * tori[:, TUBE], TUBE_GROW * tori[:, TUBE])
    moved[:, TUBE] = tube
    moved[:, RADIUS] = np.maximum(moved[:, RADIUS], HOLE_LEAST * tube)
    return moved, left


def robust_step(
    flat: Array, wanted: Array, base: Array, prior: Array, here: Array
) -> tuple[Array, Array]:
    """Least squares of edge distances, with Huber weights (iteratively reweighted).

    Parameters
    ----------
    flat : (n, k, p) change of each outline along s for a unit of each parameter
    wanted : (n, k) edge less outline, in s
    base : (n, k) weight of each edge
    prior : (n, p) weight with which a parameter is held at zero
    here : (n, p) the parameters now

    Returns
    -------
    move : (n, p) to add to the parameters
    left : (n, k) edge less outline after the move
    """
    held = (prior + 1e-9)[:, :, None] * np.eye(here.shape[1])
    pull = (prior * here)[:, :, None]
    left = wanted
    for turn in range(REWEIGHTINGS):
        size = np.abs(left)
        trust = np.minimum(1.0, HUBER_S / np.maximum(size, 1e-9))
        if turn >= STRICT_FROM:
            trust = np.where(_middle(size) < HUBER_S / 2, trust * trust * trust, trust)
        weighed = (flat * (base * trust)[:, :, None]).swapaxes(1, 2)
        right = weighed @ wanted[:, :, None] - pull
        move = np.linalg.solve(weighed @ flat + held, right)
        left = wanted - (flat @ move)[..., 0]
    return np.asarray(move[..., 0], np.float64), left


def _middle(rows: Array) -> Array:
    """Median (n, 1) of each row; of so few values six times as fast as numpy's."""
    ordered, half = np.sort(rows, axis=1), rows.shape[1] // 2
    middle: Array = (ordered[:, [half]] + ordered[:, [(rows.shape[1] - 1) // 2]]) / 2.0
    return middle


def rematch(
    tori: Array,
    seen_by: Camera,
    through: Camera,
    section: Section = ROUND,
    steps: int = REMATCH_STEPS,
) -> Array:
    """Rings (n, 6) that `through` would draw where `seen_by` draws the rings `tori`.

    The answer to "what would these outlines be if the camera stood elsewhere". Least squares of
    the outlines' distances, by linear steps.
    """
    if not len(tori):
        return tori
    angles = ring_angles(REMATCHED)
    seen = np.stack(outlines(seen_by, tori, angles, section), axis=1)
    middles = seen_by.project(np.column_stack([tori[:, 0], tori[:, 1], tori[:, TUBE]]))
    guess = tori.copy()
    beside = middles + np.array([1.0, 0.0])
    before, after = (
        np.hypot(*(camera.to_plane(beside) - camera.to_plane(middles)).T)
        for camera in (seen_by, through)
    )
    guess[:, [RADIUS, TUBE]] *= (after / before)[:, None]
    guess[:, :2] = through.to_plane(middles, guess[:, [TUBE]])
    angles = angles + _turned(seen_by, through, middles)
    jacobian, normal, width, drawn = _jacobian(through, guess, angles, section)
    flat = jacobian.reshape(len(tori), 2 * REMATCHED, 6)
    back = flat.swapaxes(1, 2)
    pulled = np.linalg.solve(back @ flat + 1e-9 * np.eye(6), back)
    for step in range(steps):
        if step:
            drawn = np.stack(outlines(through, guess, angles, section), axis=1)
        apart = np.sum((seen - drawn) * normal, axis=-1) / width
        guess = guess + np.einsum("npk,nk->np", pulled, apart.reshape(len(tori), 2 * REMATCHED))
    return guess


def _turned(seen_by: Camera, through: Camera, middles: Array) -> float:
    """Angle by which the table's x axis turns from one camera's world to the other's."""
    step = middles[0] + np.array([[0.0, 0.0], [50.0, 0.0]])
    first, second = (np.diff(camera.to_plane(step), axis=0)[0] for camera in (seen_by, through))
    return float(np.arctan2(second[1], second[0]) - np.arctan2(first[1], first[0]))


def _jacobian(
    camera: Camera, tori: Array, angles: Array, section: Section
) -> tuple[Array, Array, Array, Array]:
    """Change of inner and outer outline along s for a unit of each parameter, at those angles.

    Along s means: the shift of the outline along its own normal, divided by the guess's wire
    width along that normal; under tilt the rays of s are not normal to the outline.

    Returns
    -------
    jacobian : (n, 2, sectors, 6)
    normal : (n, 2, sectors, 2) of the outlines, any length
    width : (n, 2, sectors) wire width along these normals, in their length
    here : (n, 2, sectors, 2) points of the outlines, pixels
    """
    points = np.stack(touched(camera, tori, angles, section), axis=1)
    here, ahead = (
        camera.project(there)
        for there in (points, np.stack(touched(camera, tori, angles + AHEAD, section), axis=1))
    )
    tangent = ahead - here
    normal = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
    width = np.sum((here[:, 1] - here[:, 0])[:, None] * normal, axis=-1)
    across = (normal / width[..., None]).reshape(-1, 2)
    slopes = camera.slopes(points.reshape(-1, 3), across).reshape(points.shape)
    moves = [carried(tori, angles, points[:, edge], slopes[:, edge]) for edge in (0, 1)]
    return np.stack(moves, axis=1), normal, width, here
