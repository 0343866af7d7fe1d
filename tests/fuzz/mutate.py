"""Damage to files: by chance, and where decoders are known to trust what they read."""

import struct
import zlib
from collections.abc import Callable

import numpy as np

Rng = np.random.Generator
HEAD = 512
"""Bytes in which headers, tables and EXIF of the small seeds stand."""
EXTREMES = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
MOST_BYTES = 200_000
SIGNATURE = b"\x89PNG\r\n\x1a\n"


def mutated(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Damage a file in one to six places; `other` is a second file to splice in."""
    for _ in range(int(rng.integers(1, 7))):
        way = WAYS[int(rng.integers(len(WAYS)))]
        data = way(data, other, rng)[:MOST_BYTES]
        if not data:
            break
    if data.startswith(SIGNATURE) and rng.random() < 0.7:
        data = with_valid_sums(data)
    return data


def _place(data: bytes, rng: Rng) -> int:
    """A place in the file, half of the time in its head."""
    most = min(len(data), HEAD) if rng.random() < 0.5 else len(data)
    return int(rng.integers(most))


def _flip(data: bytes, _: bytes, rng: Rng) -> bytes:
    changed = bytearray(data)
    for _ in range(int(rng.integers(1, 9))):
        changed[_place(data, rng)] ^= 1 << int(rng.integers(8))
    return bytes(changed)


def _noise(data: bytes, _: bytes, rng: Rng) -> bytes:
    at, length = _place(data, rng), int(rng.integers(1, 33))
    return data[:at] + rng.bytes(length) + data[at + length :]


def _extreme(data: bytes, _: bytes, rng: Rng) -> bytes:
    """Write a number at the edge of its range, either byte order, over two or four bytes."""
    value, at = EXTREMES[int(rng.integers(len(EXTREMES)))], _place(data, rng)
    form = ("<H", ">H", "<I", ">I")[int(rng.integers(4))]
    size = struct.calcsize(form)
    return data[:at] + struct.pack(form, value % (1 << 8 * size)) + data[at + size :]


def _cut(data: bytes, _: bytes, rng: Rng) -> bytes:
    return data[: int(rng.integers(len(data)))]


def _drop(data: bytes, _: bytes, rng: Rng) -> bytes:
    at, length = _place(data, rng), int(rng.integers(1, 65))
    return data[:at] + data[at + length :]


def _repeat(data: bytes, _: bytes, rng: Rng) -> bytes:
    at, length, times = _place(data, rng), int(rng.integers(1, 65)), int(rng.integers(1, 200))
    return data[:at] + data[at : at + length] * times + data[at:]


def _splice(data: bytes, other: bytes, rng: Rng) -> bytes:
    return data[: _place(data, rng)] + other[int(rng.integers(len(other))) :]


def _swap(data: bytes, _: bytes, rng: Rng) -> bytes:
    """Exchange two stretches: chunks and segments out of order."""
    first, second = sorted((_place(data, rng), _place(data, rng)))
    length = int(rng.integers(1, 33))
    if first + length > second:
        return data
    a, b = data[first : first + length], data[second : second + length]
    return data[:first] + b + data[first + length : second] + a + data[second + length :]


WAYS: tuple[Callable[[bytes, bytes, Rng], bytes], ...] = (
    _flip,
    _noise,
    _extreme,
    _extreme,
    _cut,
    _drop,
    _repeat,
    _splice,
    _swap,
)


def with_valid_sums(data: bytes) -> bytes:
    """Make a PNG's check sums right again, so that the damage gets past them."""
    out, at = [SIGNATURE], len(SIGNATURE)
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        body = data[at + 4 : at + 8 + length]
        if len(body) < 4 + length:
            break
        out += [data[at : at + 4], body, struct.pack(">I", zlib.crc32(body))]
        at += 12 + length
    return b"".join((*out, data[at:]))
