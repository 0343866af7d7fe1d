"""Which nested circles are rings: fit every likely pair of outlines, keep what stands."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.photo.circles import Nest
from vision.photo.decode import Photo
from vision.rings.check import filled, wire_widths_px
from vision.rings.fit import CLEAR_SCATTER, Fit, fit_rings, rematch, settled
from vision.rings.guess import guess_like, guess_tori
from vision.rings.section import ROUND, Section
from vision.rings.torus import RADIUS, TUBE, X, Y, outlines, ring_angles
from vision.rings.unwrap import COARSE, FINE, QUICK, Grid
from vision.scale.camera import Camera
from vision.scale.rim import Rim

Array = NDArray[np.float64]

FINALISTS = (3,)
"""Pairs of outlines of a nest that stay, round after round of the scout."""
RIVAL = 0.5
"""Another one is read by the reader too if the first proves no clear ring and the scout finds the
other worth so much of it, for under glare the light along an edge looks like a thin ring; and every
one if the first is clear but not sure."""
SECOND_FINALISTS, SECOND_GUESSES = (4, 2, 1), 2
"""The same for the second try, and how many guesses of a nest's own it makes."""
ODD_FINALISTS, COMMON = (2, 1), 3
"""The same for common sizes, of so many rings, in the place of an odd one."""
RIM_AR = 9.0
"""A ring with a larger AR in the place of a coin is the coin's own raised rim."""
TWIN_ALIKE = 0.1
"""Relative difference of circles of one size: their radii are found in steps of a twelfth."""
USUAL_MOST, ALIKE = 3, 0.06
"""Sizes that the second try knows already; sizes that differ less than this (ln) are one, and so
much a disc's outline may be off those of the ring that it is."""
UNSURE = 0.02
"""Added to the presence: from a start that is far off, the reader does not see a ring at once."""
SCATTER_MOST = 0.09
"""Residual scatter (wire widths) above which two outlines are no ring's."""
PRESENCE_LEAST = 0.5
ASKED_AGAIN = 2
"""What proves no sure ring is looked for again, at most so often."""
AGAIN_FINALISTS = (4, 3)
"""Then so many guesses stay, round after round of the scout, and the reader reads the last ones."""
ASIDE, ASIDE_WAYS = 0.7, 8
"""Such guesses lie around the ring too, so many wire widths aside, in so many directions."""
HOPELESS = 0.03
"""Presence in the end, by scout and reader, under which a nest holds no ring under any camera."""
SMALLEST_MM = 1.9
"""Outside diameter under which nothing is called a ring; printed letters are as small."""
SPECK = 0.3
"""Fits smaller than this share of the usual ring whose lines are too narrow to be measured are
print or crumbs."""
SPECK_WIRE_PX, SPECK_PEERS = 9.0, 2
SAME_PLACE = 0.4
"""Fits whose centres are nearer than this share of a centre-line radius are one ring."""
SHADOWED = 0.7
"""A ring's shadow and its edge may make a circle around a place so near its middle, in radii of its
outline. On 37 rendered photos 27 such circles led back to the ring or nowhere; of the other rings
that a second try found there, none lay so near a sure one."""
ON_METAL = 0.2
"""Circles that reach no further than so many widths of the wire beyond a ring's metal are light
and shadow on it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """The rings of a photo at first sight."""

    fit: Fit
    """Rings whose edges lie on the outlines of one solid ring; at most one a nest, none twice."""
    open_nests: list[Nest]
    """Where a ring may be; a better camera may tell."""
    camera: Camera
    """Under which they were looked for."""

    def under(self, camera: Camera, hides: Callable[[float, float], bool]) -> "Found":
        """The same under the camera of a reference, without what lies on that or is tiny.

        Parameters
        ----------
        hides : whether the reference lies at a pixel
        """
        drawn = self.camera.project(self.fit.tori[:, [X, Y, TUBE]])
        tori = rematch(self.fit.tori, self.camera, camera, self.fit.section)
        beside = np.array([not hides(float(x), float(y)) for x, y in drawn], bool)
        kept = np.nonzero(beside & _not_tiny(tori))[0]
        return Found(
            fit=replace(self.fit, tori=tori).chosen(kept),
            open_nests=[nest for nest in self.open_nests if not hides(nest.x, nest.y)],
            camera=camera,
        )


def find_rings(photo: Photo, camera: Camera, nests: list[Nest], section: Section = ROUND) -> Found:
    """Fit rings to the nests.

    Parameters
    ----------
    camera : only directions count: how large a millimetre is need not be known yet
    nests : circles around one centre each
    section : the wire's cross-section
    """
    fit, owner = _best(photo, camera, guess_tori(camera, nests), FINALISTS, section, COARSE)
    first = _likeliest(fit, owner, 1)  # one of each nest, in their order
    best = fit_rings(photo, camera, fit.tori[first], section=section, grid=QUICK)
    clear = best.is_clear
    doubtful = ~clear & ~_explained(camera, nests, best.chosen(np.nonzero(clear)[0]))
    best = _once_more(photo, camera, best, doubtful)
    near = _worth(fit) >= RIVAL * _worth(fit)[first][owner]
    unclear, unsure = doubtful & ~best.is_clear, best.is_clear & ~best.is_sure
    rival = (near & unclear[owner]) | unsure[owner]
    second = np.setdiff1d(np.nonzero(rival)[0], first)
    other = fit_rings(photo, camera, fit.tori[second], section=section, grid=QUICK)
    other = _once_more(photo, camera, other, ~other.is_clear)
    first = first[clear | doubtful]
    read = np.concatenate([first, second])
    best = best.chosen(np.nonzero(clear | doubtful)[0])
    owner, scouted, fit = owner[read], fit.reading.presence[read], best.joined(other)
    hopeful = np.unique(owner[np.maximum(fit.reading.presence, scouted) > HOPELESS])
    fit = without_twins(looks_round(fit.chosen(_likeliest(fit, owner, 1))))
    return Found(fit=fit, open_nests=[nests[index] for index in hopeful], camera=camera)


def _once_more(photo: Photo, camera: Camera, fit: Fit, which: NDArray[np.bool_]) -> Fit:
    """Read some (n,) of the rings again, from what was seen of them."""
    some = np.nonzero(which)[0]
    again = fit_rings(photo, camera, fit.tori[some], section=fit.section, grid=QUICK)
    return fit.renewed(some, again)


def _best(
    photo: Photo,
    camera: Camera,
    guesses: list[Array],
    finalists: tuple[int, ...],
    section: Section,
    grid: Grid,
) -> tuple[Fit, NDArray[np.int64]]:
    """Read the guesses of each nest round after round, and keep the likeliest.

    Parameters
    ----------
    grid : how finely, and with it who reads

    Returns
    -------
    fit : as many a nest as the last of `finalists` says
    owner : index of each fit's nest
    """
    owner = np.repeat(np.arange(len(guesses)), [len(guess) for guess in guesses])
    tori = np.concatenate([np.empty((0, 6)), *guesses])
    fit = fit_rings(photo, camera, tori, section=section, grid=grid)
    for kept in finalists:
        chosen = _likeliest(fit, owner, kept)
        owner = owner[chosen]
        fit = fit_rings(photo, camera, fit.tori[chosen], section=section, grid=grid)
    return fit, owner


def _likeliest(fit: Fit, owner: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Indices of the `count` fits of each owner that are worth most."""
    place = np.lexsort((-_worth(fit), owner))
    rank = np.arange(len(place)) - np.searchsorted(owner[place], owner[place])
    likeliest: NDArray[np.int64] = place[rank < count]
    return likeliest


def _worth(fit: Fit) -> Array:
    """How much (n,) speaks for each fit as the right pair of outlines of its nest."""
    doubt = (fit.scatter + 0.01) * (fit.reading.scale.mean(axis=1) + 0.005)
    worth: Array = (fit.reading.presence + UNSURE) / doubt
    return worth


def is_ring(photo: Photo, nests: list[Nest], camera: Camera, rim: Rim) -> bool:
    """Whether a ring, whose hole shows the table, lies where a disc was thought to be.

    It must have a twin: rings come in sizes, and a coin of two metals is a ring to the eye, with a
    core that may look like the table in shadow.

    Parameters
    ----------
    camera : for which the disc is the coin that it was taken for
    rim : of the disc
    """
    least = (1.0 - ALIKE) * rim.radius
    if not np.any(_radii_elsewhere(nests, rim, least) > (1.0 - TWIN_ALIKE) * least):
        return False  # nothing so large lies elsewhere: no need to read anything
    near = SAME_PLACE * rim.radius
    here = [nest for nest in nests if np.hypot(nest.x - rim.x, nest.y - rim.y) < near]
    fit = find_rings(photo, camera, here).fit
    seen = 2.0 * rim.radius * camera.mm_per_px(np.array([rim.x, rim.y]))
    outer_px = fit.outer_mm / seen * rim.radius
    alike = (fit.id_mm < (1.0 + ALIKE) * seen) & (outer_px > least)
    thick = fit.id_mm < RIM_AR * fit.wire_mm
    twin = np.array(
        [
            np.any(np.abs(_radii_elsewhere(nests, rim, radius) / radius - 1.0) < TWIN_ALIKE)
            for radius in outer_px
        ],
        bool,
    )
    return bool(np.any(alike & thick & twin & ~filled(photo, camera, fit)))


def _radii_elsewhere(nests: list[Nest], rim: Rim, apart: float) -> Array:
    """Radii (n,) of all circles whose nests lie further from the rim's middle than `apart`."""
    return np.array(
        [
            circle.radius
            for nest in nests
            if np.hypot(nest.x - rim.x, nest.y - rim.y) > apart
            for circle in nest.circles
        ]
    )


def looks_round(fit: Fit) -> Fit:
    """Keep the fits whose edges lie on the outlines of one solid ring."""
    good = (fit.scatter < SCATTER_MOST) & (fit.reading.presence > PRESENCE_LEAST)
    return fit.chosen(np.nonzero(good)[0])


def _not_tiny(tori: Array) -> NDArray[np.bool_]:
    """Which (n,) are as large as rings are."""
    large: NDArray[np.bool_] = 2.0 * (tori[:, RADIUS] + tori[:, TUBE]) > SMALLEST_MM
    return large


def upheld(photo: Photo, camera: Camera, fit: Fit) -> Fit:
    """Keep, after the reading that counts, what still may be a ring, whole or covered.

    What proves no sure ring is looked for again, by itself and in the usual sizes, where it was
    left and around: in hard light a ring's shadow, which lies most of a wire's width aside, may
    have been taken for the ring.
    """
    for _ in range(ASKED_AGAIN):
        unsure = np.nonzero(~fit.is_sure)[0]
        if not len(unsure):
            break
        usual = _usual(fit.chosen(np.nonzero(fit.is_clear)[0]).tori)
        guesses = [_around(fit.tori[index], usual) for index in unsure]
        again, owner = _best(photo, camera, guesses, AGAIN_FINALISTS, fit.section, COARSE)
        again = fit_rings(photo, camera, again.tori, section=fit.section, grid=FINE)
        again = settled(photo, camera, again)
        likeliest = _likeliest(again, owner, 1)
        again, owner = again.chosen(likeliest), owner[likeliest]
        before = fit.chosen(unsure[owner])
        better = again.is_clear & ~(before.is_clear & (_worth(before) > _worth(again)))
        if not better.any():
            break  # they would be answered the same
        kept = np.setdiff1d(np.arange(len(fit)), unsure[owner[better]])
        fit = fit.chosen(kept).joined(again.chosen(np.nonzero(better)[0]))
    seen = fit.reading.presence > PRESENCE_LEAST
    good = (fit.scatter < SCATTER_MOST) & (seen | (fit.scatter < CLEAR_SCATTER))
    return without_twins(fit.chosen(np.nonzero(good)[0]))


def _around(torus: Array, usual: Array) -> Array:
    """Rings (k, 6) of one's own size and of the usual ones (m, 6), in its place and around it."""
    laid = np.concatenate([torus[None], _laid(usual, torus)])
    turns = np.arange(ASIDE_WAYS) * (2.0 * np.pi / ASIDE_WAYS)
    steps = ASIDE * 2.0 * torus[TUBE] * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    aside = np.repeat(laid[None], 1 + ASIDE_WAYS, axis=0)
    aside[1:, :, [X, Y]] += steps[:, None]
    return aside.reshape(-1, 6)


def _laid(tori: Array, where: Array) -> Array:
    """Rings of the sizes of `tori` (n, 6) around the middle of another one (6,)."""
    laid = tori.copy()
    laid[:, [X, Y]] = where[[X, Y]]
    return laid


def without_specks(fit: Fit, camera: Camera) -> Fit:
    """Leave out what is far smaller than the rings around it and no more than a line wide."""
    if not len(fit):
        return fit
    size, clear = fit.outer_mm, fit.is_clear
    usual = float(np.median(size[clear])) if np.count_nonzero(clear) > SPECK_PEERS else 0.0
    speck = (size < SPECK * usual) & (wire_widths_px(fit, camera) < SPECK_WIRE_PX)
    return fit.chosen(np.nonzero(~speck)[0])


def without_twins(fit: Fit) -> Fit:
    """Of several fits in one place keep the likeliest: a hard shadow is round as well."""
    same = _same_ring(fit.tori, fit.tori)
    kept: list[int] = []
    for index in np.argsort(-_worth(fit), kind="stable"):
        if not same[index, kept].any():
            kept.append(int(index))
    return fit.chosen(np.array(sorted(kept), dtype=np.int64))


def _same_ring(tori: Array, others: Array) -> NDArray[np.bool_]:
    """Which (n, m) of two sets of rings share place and metal.

    One inside the other's hole is another ring.
    """
    one, other = tori[:, None], others[None]
    apart = np.hypot(one[..., X] - other[..., X], one[..., Y] - other[..., Y])
    nested = np.abs(one[..., RADIUS] - other[..., RADIUS]) > one[..., TUBE] + other[..., TUBE]
    near = apart < SAME_PLACE * np.minimum(one[..., RADIUS], other[..., RADIUS])
    same: NDArray[np.bool_] = near & ~nested
    return same


def refind(photo: Photo, camera: Camera, nests: list[Nest], fit: Fit) -> Fit:
    """Try again, under a better camera and with the quick reader, the open nests.

    By now it is known which sizes lie on the table: they are the first guesses.
    """
    clear = fit.chosen(np.nonzero(fit.is_clear)[0])
    beside = [nests[index] for index in np.nonzero(~_explained(camera, nests, clear))[0]]
    usual = _usual(clear.tori)
    guesses = [
        np.concatenate([guess_like(camera, nest, usual), own[:SECOND_GUESSES]])
        for nest, own in zip(beside, guess_tori(camera, beside), strict=True)
    ]
    again, _ = _best(photo, camera, guesses, SECOND_FINALISTS, fit.section, QUICK)
    again = again.chosen(np.nonzero(_not_tiny(again.tori))[0])
    every = without_twins(fit.joined(looks_round(again)))
    every = _reconsidered(photo, camera, every, usual)
    return without_specks(_with_covered(every, again), camera)


def _explained(camera: Camera, nests: list[Nest], clear: Fit) -> NDArray[np.bool_]:
    """Which nests (n,) clear rings explain: there is no other ring to be looked for.

    They lie around the middle of one, or wholly on its metal; or are a single circle, across the
    metal of one that is sure and around a place near its middle, as where its shadow goes on from
    its edge; or are specks beside it.
    """
    if not nests or not len(clear):
        return np.zeros(len(nests), bool)
    inner, outer = outlines(camera, clear.tori, ring_angles(16), clear.section)
    middles = (inner.mean(axis=1) + outer.mean(axis=1)) / 2.0
    hole, reach = (
        np.hypot(*(edge - middles[:, None]).transpose(2, 0, 1)).mean(axis=1)
        for edge in (inner, outer)
    )
    places = np.array([[nest.x, nest.y] for nest in nests])
    radius = np.array([nest.outer.radius for nest in nests])[:, None]
    single = np.array([len(nest.circles) == 1 for nest in nests])[:, None]
    away = np.hypot(*(places[:, None] - middles).transpose(2, 0, 1))
    band = ON_METAL * (reach - hole)
    on_metal = (away - radius > hole - band) & (away + radius < reach + band)
    across = (away + radius > hole) & (np.abs(away - radius) < reach)
    shadow = single & clear.is_sure & across & (away < SHADOWED * reach)
    speck = radius[:, 0] < SPECK * np.median(reach)
    taken = on_metal | shadow | (away < SAME_PLACE * radius)
    explained: NDArray[np.bool_] = taken.any(axis=1) | (speck & (len(clear) > SPECK_PEERS))
    return explained


def _reconsidered(photo: Photo, camera: Camera, fit: Fit, usual: Array) -> Fit:
    """Try the common sizes in the places of rings that are unlike all of them; the likelier stays.

    The band of light along one edge of a bright ring may pass for a thin ring.
    """
    common = usual[_alike(fit.tori, usual).sum(axis=0) >= COMMON]
    odd = np.nonzero(~_alike(fit.tori, common).any(axis=1))[0]
    if not len(odd) or not len(common):
        return fit
    guesses = [_laid(common, fit.tori[index]) for index in odd]
    tried, owner = _best(photo, camera, guesses, ODD_FINALISTS, fit.section, QUICK)
    found = fit.chosen(odd[owner])
    better = (_worth(tried) > _worth(found)) & ~_alike(tried.tori, found.tori).diagonal()
    better &= tried.is_clear
    kept = np.setdiff1d(np.arange(len(fit)), odd[owner[better]])
    return without_twins(fit.chosen(kept).joined(tried.chosen(np.nonzero(better)[0])))


def _alike(tori: Array, others: Array) -> NDArray[np.bool_]:
    """Which (n, m) of the rings (n, 6) are of a size with the others (m, 6)."""
    size, its = (np.log(each[:, [RADIUS, TUBE]]) for each in (tori, others))
    alike: NDArray[np.bool_] = np.abs(size[:, None] - its[None]).max(axis=2) < ALIKE
    return alike


def _with_covered(fit: Fit, tried: Fit) -> Fit:
    """Add, in other places, what is round to a hair and yet no whole ring: one lies on it."""
    round_enough = (tried.scatter < CLEAR_SCATTER) & (tried.reading.presence <= PRESENCE_LEAST)
    for index in np.nonzero(round_enough)[0]:
        if not _same_ring(tried.tori[[index]], fit.tori).any():
            fit = fit.joined(tried.chosen(np.array([index])))
    return fit


def _usual(tori: Array) -> Array:
    """The most frequent sizes (k, 6) among rings, at most `USUAL_MOST`."""
    alike = _alike(tori, tori)
    kept: list[int] = []
    for index in np.argsort(-alike.sum(axis=1), kind="stable"):
        if len(kept) < USUAL_MOST and not alike[index, kept].any():
            kept.append(int(index))
    return tori[kept]
