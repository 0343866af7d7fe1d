"""`annulet labels`: what is written on the bag, printed and ordered."""

import base64
import json
import re
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

from cli.show.bags import LABEL_MM, PAPERS_MM, labels_pdf
from tests.cli.fakes import result, ring, unusable
from vision.batch.label import propose_labels
from vision.batch.lot import report
from vision.batch.read import shot_of
from vision.batch.sample import pool
from vision.results import Ring, result_record

# SWG 16 is 0.064 in = 1.6256 mm, AWG 14 is 1.6277 mm (R. Rowlett's units dictionary; ASTM B258);
# 1/4 in = 6.35 mm, 5/32 in = 3.969 mm; AR = 6.35 / 1.6256 = 3.906.


@pytest.fixture(autouse=True)
def _eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def bag(
    first: int, rings: int, colour: str | None = "brass-coloured", **sizes: float
) -> list[Ring]:
    return [ring(first + n, colour=colour, **sizes) for n in range(rings)]


def saved(folder: Path, rings: list[Ring], name: str = "tray.jpg") -> Path:
    path = folder / "tray.json"
    path.write_text(json.dumps(result_record(result(rings, file=name))), encoding="utf-8")
    return path


def words(text: str) -> str:
    return " ".join(text.split())


def test_a_label_speaks_the_words_of_the_trade(run: Callable, tmp_path: Path) -> None:
    ended = run("labels", saved(tmp_path, bag(1, 24)))
    assert ended.exit_code == 0
    assert (
        "brass-coloured, 1.63 mm (SWG 16 / AWG 14) x 6.35 mm (1/4 in), AR 3.91, 24 rings"
        in words(ended.stdout)
    )


def test_metal_from_colour_is_called_a_guess_and_left_blank_in_the_order(
    run: Callable, tmp_path: Path
) -> None:
    path = saved(tmp_path, bag(1, 24))
    shown = words(run("labels", path).stdout)
    assert "a guess from the colour: brass, bronze" in shown
    assert "____ jump rings, metal ____, wire" in shown
    (label,) = json.loads(run("labels", path, "--json").stdout)["labels"]
    assert label["order"]["metal"] is None
    assert label["metal_guess"].startswith("brass, bronze")


def test_a_stated_metal_stands_in_label_and_order(run: Callable, tmp_path: Path) -> None:
    shown = words(
        run("labels", saved(tmp_path, bag(1, 24)), "--metal", "bronze", "--rings", "300").stdout
    )
    assert shown.startswith("bronze, 1.63 mm")
    # 300 and 5 % more.
    assert "315 jump rings, bronze, wire 1.63 mm" in shown
    assert "No. 16 Imperial Standard Wire Gauge, No. 14 American Wire Gauge" in shown
    assert "guess" not in shown


def test_each_size_of_a_mixed_bag_gets_its_label(run: Callable, tmp_path: Path) -> None:
    rings = bag(1, 8) + bag(9, 6, colour="silver-coloured", wire=1.0, inside=4.0)
    shown = run("labels", saved(tmp_path, rings)).stdout
    assert "2 sizes: part them into 2 bags" in shown
    assert "8 rings" in shown and "6 rings" in shown
    assert "silver-coloured, 1.00 mm" in shown


def test_rings_of_several_colours_are_not_called_by_one(run: Callable, tmp_path: Path) -> None:
    rings = bag(1, 6) + bag(7, 6, colour="silver-coloured")
    shown = words(run("labels", saved(tmp_path, rings)).stdout)
    assert shown.startswith("mixed colours, 1.63 mm")
    assert "colours differ (6 brass-coloured, 6 silver-coloured)" in shown


def test_a_ring_that_is_off_size_is_taken_out_and_not_counted(
    run: Callable, tmp_path: Path
) -> None:
    rings = [ring(n, inside=6.35 + 0.01 * (n % 5)) for n in range(1, 13)]
    path = saved(tmp_path, [*rings, ring(13, inside=5.0, cell="B3"), unusable(14, "hidden")])
    shown = words(run("labels", path).stdout)
    assert "12 rings" in shown
    assert "take out first: ring 13 (B3), off size" in shown
    assert "1 ring seen but not measured" in shown


def test_a_size_without_name_keeps_its_millimetres(run: Callable, tmp_path: Path) -> None:
    # 1.72 lies between SWG 15 (1.829) and 16 (1.626), AWG 13 (1.828) and 14; 6.55 is 0.2 mm (3 %)
    # from 1/4 in and from 17/64 in (6.747).
    shown = words(run("labels", saved(tmp_path, bag(1, 9, wire=1.72, inside=6.55))).stdout)
    assert "1.72 mm x 6.55 mm, AR 3.81" in shown


def test_json_has_units_in_its_keys(run: Callable, tmp_path: Path) -> None:
    record = json.loads(run("labels", saved(tmp_path, bag(1, 24)), "--json").stdout)
    assert (record["format"], record["version"]) == ("annulet-labels", 1)
    (label,) = record["labels"]
    assert label["wire_mm"] == pytest.approx(1.6256)
    assert label["id_mm"] == pytest.approx(6.35)
    assert label["gauges"] == ["SWG 16", "AWG 14"]
    assert label["id_fraction"] == "1/4 in"


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pdf_is_written_whole_and_never_over_a_file_unasked(
    run: Callable, tmp_path: Path, paper: str
) -> None:
    path, out = saved(tmp_path, bag(1, 24)), tmp_path / "bags.pdf"
    assert run("labels", path, "--out", out, "--paper", paper).exit_code == 0
    first = out.read_bytes()
    assert first.startswith(b"%PDF-") and first.rstrip().endswith(b"%%EOF")
    # Points of 1/72 in (ISO 32000-1, 8.3.2.3).
    wide, high = (side / 25.4 * 72 for side in PAPERS_MM[paper])
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", first)
    assert box is not None
    assert [float(side) for side in box.groups()] == pytest.approx([wide, high], abs=0.01)
    again = run("labels", path, "--out", out)
    assert again.exit_code == 2
    assert "already there" in again.stderr
    assert out.read_bytes() == first
    assert run("labels", path, "--out", out, "--paper", paper, "--force").exit_code == 0
    assert out.read_bytes() == first


def printed(pdf: bytes) -> list[str]:
    """Read the texts of a PDF's pages, in drawing order.

    Streams are Flate inside ASCII85, texts are literal strings in Windows code page 1252 with
    octal escapes (ISO 32000-1: 7.3.4.2, 7.4.3, 7.4.4, annex D).
    """
    texts = []
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        content = zlib.decompress(base64.a85decode(stream.strip().removesuffix(b"~>")))
        for text in re.findall(rb"\(((?:[^()\\]|\\.)*)\) Tj", content, re.DOTALL):
            plain = re.sub(rb"\\([0-7]{3})", lambda found: bytes([int(found[1], 8)]), text)
            texts.append(re.sub(rb"\\(.)", rb"\1", plain).decode("cp1252"))
    return texts


def sizes(n: int) -> tuple:
    """Labels of n sizes, by way of n groups of five rings."""
    labels = []
    for size in range(n):
        shot = shot_of(result(bag(1, 5, wire=0.8 + 0.1 * size, inside=4.0 + size)))
        labels += propose_labels(report(pool([shot])))
    return tuple(labels)


@pytest.mark.parametrize(("paper", "a_page"), [("a4", 12), ("letter", 10)])
def test_labels_that_do_not_fit_a_page_go_on_to_the_next(paper: str, a_page: int) -> None:
    def pages(n: int) -> int:
        return labels_pdf(sizes(n), metal=None, paper=paper).count(b"/Type /Page\n")

    assert [pages(1), pages(a_page), pages(a_page + 1)] == [1, 1, 2]
    # Two columns, and as many rows as fit: no label reaches into the printer's edge.
    assert 2 * LABEL_MM[0] <= PAPERS_MM[paper][0] - 20
    assert a_page / 2 * LABEL_MM[1] <= PAPERS_MM[paper][1] - 20


@pytest.mark.parametrize("metal", [None, "bronze"])
def test_the_printed_label_says_what_the_line_says(metal: str | None) -> None:
    rings = bag(1, 24)
    name = f"{'a very long name ' * 12}\N{SNOWMAN}.jpg"
    labels = propose_labels(report(pool([shot_of(result(rings, file=name))])))
    shown = printed(labels_pdf(labels, metal=metal, paper="a4"))
    assert "1.63 \N{MULTIPLICATION SIGN} 6.35 mm" in shown
    assert "wire SWG 16 / AWG 14, ID 1/4 in" in shown[1]
    assert "AR 3.91, 24 rings" in shown
    assert any("a guess from the colour" in line for line in shown) is (metal is None)
    assert ("bronze" in shown) is (metal is not None)
    assert "a very long name" in shown[-1] and shown[-1].endswith("...")
    assert "\N{SNOWMAN}" not in "".join(shown)


def test_names_from_outside_cannot_steer_the_terminal(run: Callable, tmp_path: Path) -> None:
    rings = bag(1, 6, colour="\x1b[31mred") + bag(7, 6, colour="\x1b[2Jblue")
    path = saved(tmp_path, rings, name="\x1b[31m.jpg")
    ended = run("labels", path, "--metal", "\x1b[31mgold", "--out", tmp_path / "b.pdf")
    assert "\x1b" not in ended.stdout + ended.stderr + run("labels", path).stdout


def test_a_photo_or_nothing_in_place_of_a_result_is_refused(run: Callable, tmp_path: Path) -> None:
    photo = tmp_path / "tray.jpg"
    photo.write_bytes(b"x")
    ended = run("labels", photo)
    assert ended.exit_code == 2
    assert "is a photo" in ended.stderr
    assert run("labels", tmp_path / "none.json").exit_code == 2
    assert run("labels", saved(tmp_path, [unusable(1, "hidden")])).exit_code == 3


def test_lines_fit_the_terminal(run: Callable, tmp_path: Path) -> None:
    rings = bag(1, 8) + bag(9, 6, colour=None, wire=1.02, inside=4.0)
    shown = run("labels", saved(tmp_path, rings)).stdout
    assert max(map(len, shown.splitlines())) <= 80
