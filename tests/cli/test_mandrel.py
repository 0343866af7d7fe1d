"""`annulet mandrel`: what it prints, and what it will not answer."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.cli.fakes import result, ring
from vision.results import Result, result_record


def coil(seed: int, inside: float, *, wire: float = 1.2, n: int = 12) -> Result:
    rng = np.random.default_rng(seed)
    rings = [
        ring(k, wire=float(wire + rng.normal(0, 0.004)), inside=float(inside + rng.normal(0, 0.02)))
        for k in range(1, n + 1)
    ]
    return result(rings, file=f"coil-{seed}.jpg")


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    def to_file(*coils: Result, name: str = "coil.json") -> Path:
        path = tmp_path / name
        records = [result_record(each) for each in coils]
        whole = {"format": "annulet-batch", "version": 1, "photos": records}
        path.write_text(json.dumps(records[0] if len(records) == 1 else whole))
        return path

    return to_file


def test_one_coil_gives_spring_back_and_the_mandrel_for_a_wanted_id(
    write: Callable, run: Callable
) -> None:
    ended = run("mandrel", write(coil(1, 6.4)), "--mandrel-mm", 6, "--wanted-id", "1/4in")
    assert ended.exit_code == 0, ended.output
    assert ended.stdout.startswith("spring-back of wire 1.20 mm\n")
    assert "6.35" in ended.stdout and "eye protection" in ended.stdout
    assert "--kerf-mm counts the saw cut" in " ".join(ended.stdout.split())
    assert max(map(len, ended.stdout.splitlines())) <= 80


def test_json_has_the_numbers_by_hand(write: Callable, run: Callable) -> None:
    path = write(coil(1, 6.4, n=200))
    ended = run("mandrel", path, "--mandrel-mm", 6, "--wanted-id", 8, "--wanted-id", 6.4, "--json")
    record = json.loads(ended.stdout)
    assert (record["format"], record["version"]) == ("annulet-mandrel", 1)
    assert record["coils"][0]["springback_mm"] == pytest.approx(0.4, abs=0.005)
    # 1/3.6 - 1/3.8 = 0.01462 per mm; wanted 8.0: mandrel 7.42 (see tests/batch/test_mandrel.py).
    assert record["curvature_lost_per_mm"] == pytest.approx(0.01462, abs=2e-4)
    assert record["choices"][0]["mandrel_mm"] == pytest.approx(7.42, abs=0.01)
    assert record["choices"][1]["mandrel_mm"] == pytest.approx(6.0, abs=0.005)


def test_several_mandrels_go_with_the_results_in_their_order(
    write: Callable, run: Callable
) -> None:
    small, large = write(coil(2, 4.2), name="s.json"), write(coil(3, 8.62), name="l.json")
    ended = run("mandrel", small, large, "--mandrel-mm", 4, "--mandrel-mm", 8, "--json")
    record = json.loads(ended.stdout)
    assert [each["mandrel_mm"] for each in record["coils"]] == [4.0, 8.0]
    assert [each["result"] for each in record["coils"]] == [str(small), str(large)]
    assert not record["contradictory"]


def test_several_photos_of_one_coil_are_pooled(write: Callable, run: Callable) -> None:
    paths = [write(coil(k, 6.4), name=f"{k}.json") for k in (4, 5)]
    record = json.loads(run("mandrel", *paths, "--mandrel-mm", 6, "--json").stdout)
    assert [each["rings"] for each in record["coils"]] == [24]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("--mandrel-mm", 4, "--mandrel-mm", 5), 2, "1 result but 2 mandrels"),
        (("--mandrel-mm", 0), 2, "is no mandrel"),
        (("--mandrel-mm", 7), 3, "not larger than their mandrel"),
        (("--mandrel-mm", 6, "--wanted-id", "x"), 2, "cannot read"),
        ((), 2, "--mandrel-mm"),
    ],
)
def test_what_cannot_be_answered_says_why(
    write: Callable, run: Callable, arguments: tuple, code: int, said: str
) -> None:
    ended = run("mandrel", write(coil(1, 6.4)), *arguments)
    assert ended.exit_code == code and said in ended.stderr, ended.output


def test_a_mixed_bag_is_refused(write: Callable, run: Callable) -> None:
    ended = run("mandrel", write(coil(6, 6.4), coil(7, 8.4)), "--mandrel-mm", 6)
    assert ended.exit_code == 3 and "rings of several sizes" in ended.stderr


def test_a_spring_back_smaller_than_its_u_is_said_to_be(write: Callable, run: Callable) -> None:
    ended = run("mandrel", write(coil(8, 6.02)), "--mandrel-mm", 6)
    assert ended.exit_code == 0
    assert "the spring-back is smaller than its U" in ended.stdout
