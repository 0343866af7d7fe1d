"""Which rings to take to the caliper: few, and those that would show a fault."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.batch.groups import part_sizes
from vision.batch.read import Shot
from vision.batch.sample import pool
from vision.results import Ring
from vision.spotcheck.caliper import What, quantity_of

Place = tuple[int, int]
"""Photo (from 0) and ring number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """A ring to read, and why it."""

    photo: int
    ring: Ring
    why: str

    @property
    def place(self) -> Place:
        """Where it lies."""
        return self.photo, self.ring.number


def choose_rings(
    shots: Sequence[Shot],
    count: int,
    *,
    group_of: Mapping[Place, str] | None = None,
    without: frozenset[Place] = frozenset(),
) -> tuple[Pick, ...]:
    """Choose rings to read with a caliper, the most telling first.

    The smallest and the largest part a wrong scale from a wrong rim; then come a middle ring of
    each group and of each photo that has none yet, the middle ring of all, the least sure one,
    and rings far from those chosen, which would show a tilted camera or a bent lens.

    Parameters
    ----------
    count : how many, at least 1; fewer come back where fewer are measured
    group_of : name of each ring's group (size or colour), where there is more than one
    without : rings that were read already; they count as chosen, and are not chosen again
    """
    if count < 1:
        raise ValueError(f"count must be at least 1, got {count}")
    groups = group_of or {}
    rings = {(k, ring.number): ring for k, shot in enumerate(shots) for ring in shot.measured}
    chosen: dict[Place, str] = dict.fromkeys(without & rings.keys(), "")
    wanted = count + len(chosen)
    for wish in _wishes(shots, rings, groups):
        if len(chosen) >= min(wanted, len(rings)):
            break
        place, why = wish(chosen)
        if place is not None:
            chosen[place] = why
    while len(chosen) < min(wanted, len(rings)):
        chosen[_farthest(shots, rings, chosen)] = "far from the others: shows tilt and lens"
    return tuple(
        Pick(photo=place[0], ring=rings[place], why=why) for place, why in chosen.items() if why
    )


def name_groups(shots: Sequence[Shot]) -> dict[Place, str]:
    """Name each ring's group, by size and by colour, where there is more than one of either."""
    batch = pool(shots)
    sizes = part_sizes(batch)
    groups: dict[Place, list[str]] = {(m.shot, m.ring.number): [] for m in batch.members}
    for members in sizes if len(sizes) > 1 else []:
        rings = [batch.members[index] for index in members]
        wire = np.median([quantity_of(m.ring, What.WIRE).value for m in rings])
        inside = np.median([quantity_of(m.ring, What.ID).value for m in rings])
        for m in rings:
            groups[m.shot, m.ring.number].append(f"{wire:.1f} x {inside:.1f} mm")
    colours = {m.ring.colour for m in batch.members if m.ring.colour}
    for m in batch.members if len(colours) > 1 else []:
        groups[m.shot, m.ring.number].append(m.ring.colour or "of no clear colour")
    return {place: ", ".join(names) for place, names in groups.items()}


Wish = Callable[[Mapping[Place, str]], tuple[Place | None, str]]


def _wishes(
    shots: Sequence[Shot], rings: Mapping[Place, Ring], groups: Mapping[Place, str]
) -> list[Wish]:
    """What to look for in turn; a wish that the rings chosen so far fulfil comes back with None."""
    by_size = sorted(rings, key=lambda place: (_size(rings[place]), place))

    def among(
        candidates: Sequence[Place], pick: Callable[[Sequence[Place]], Place], why: str
    ) -> Wish:
        def wish(chosen: Mapping[Place, str]) -> tuple[Place | None, str]:
            if not candidates or any(place in chosen for place in candidates):
                return None, why
            return pick(candidates), why

        return wish

    def one(place: Place, why: str) -> Wish:
        return among([place], lambda places: places[0], why)

    if not by_size:
        return []
    wishes = [one(by_size[0], "the smallest"), one(by_size[-1], "the largest")]
    for name in dict.fromkeys(groups.get(place, "") for place in by_size):
        members = [place for place in by_size if groups.get(place, "") == name]
        if name:
            wishes.append(among(members, _middle, f"the middle of the group {name}"))
    for k, shot in enumerate(shots):
        members = [place for place in by_size if place[0] == k]
        if len(shots) > 1:
            wishes.append(among(members, _middle, f"the middle one in {shot.photo.file}"))
    wishes.append(one(_middle(by_size), "the middle one"))
    least_sure = max(by_size, key=lambda place: quantity_of(rings[place], What.ID).u)
    wishes.append(one(least_sure, "the least sure"))
    if len(by_size) == 1:
        return [one(by_size[0], "the only one measured")]
    return wishes


def _size(ring: Ring) -> float:
    return quantity_of(ring, What.OD).value


def _middle(by_size: Sequence[Place]) -> Place:
    return by_size[len(by_size) // 2]


def _farthest(
    shots: Sequence[Shot], rings: Mapping[Place, Ring], chosen: Mapping[Place, str]
) -> Place:
    """Find the ring farthest, in parts of its picture, from all chosen ones of its photo."""

    def apart(place: Place) -> float:
        photo = shots[place[0]].photo
        here = np.array(rings[place].center_px)
        others = [rings[p].center_px for p in chosen if p[0] == place[0]]
        if not others:
            return float("inf")
        gaps = np.hypot(*(np.array(others) - here).T)
        return float(gaps.min() / np.hypot(photo.width_px, photo.height_px))

    return max((place for place in rings if place not in chosen), key=apart)
