"""The report as a file: what it says, that it needs nothing else, that no name changes it."""

import os
import re
from base64 import b64decode
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
import pytest

from cli.report.picture import embed, outline_path
from cli.report.plots import plot
from cli.report.rows import Row, State, row_of
from cli.show.marked import marked_jpeg
from cli.show.record import json_text
from tests.cli.fakes import photo, result, ring, unusable
from tests.cli.pages import (
    LOST,
    OFF_SIZE,
    ORDER,
    TOUCHING,
    Elements,
    judged_page,
    measured_page,
    noise,
    tray,
    write,
)
from tests.cli.test_marked import BLINDNESS, LEAST_DIFFERENCE, seen
from vision.results import Status

PAGES = {"measured": measured_page, "judged": judged_page}

# What cross-site scripting and spreadsheets are usually attacked with (OWASP's cheat sheets on
# filter evasion and CSV injection, from memory), a terminal's escape, a right-to-left override.
HOSTILE = [
    "<script>window.pwned=1</script>.jpg",
    '"><img src=x onerror=window.pwned=1>.jpg',
    "'><svg onload=window.pwned=1>.jpg",
    "</title></style></script><script>window.pwned=1</script>",
    "{{ 7 * 7 }}{% raw %}.jpg",
    "javascript:window.pwned=1",
    "&lt;b&gt;&amp;.jpg",
    "-->]]><!--.jpg",
    '=HYPERLINK("http://example.org","x").jpg',
    "\x1b[2J\x1b[31mred.jpg",
    "\u202egpj.yart",
    "a\x00b\x7f\x9b.jpg",
    os.fsdecode(b"tray\xff.jpg"),
]

# Longest side of what a mailbox takes without asking, and what the project promises.
MOST_BYTES = 5_000_000


def hostile(name: str):
    """A tray on which every text that comes from outside is hostile."""
    made = tray(file=name)
    rings = [replace(one, cell=name, colour=name, warnings=(name,)) for one in made.measured]
    rings.append(unusable(LOST, name))
    return replace(
        made,
        photo=replace(made.photo, taken=name),
        scale=replace(made.scale, reference=name, notes=(name,), warnings=(name,)),
        rings=tuple(rings),
        warnings=(name,),
    )


# --- what it says


def test_the_answer_comes_first() -> None:
    words = Elements(measured_page()).text
    assert "12 rings of one size, 1 off size, 1 more not measured" in words
    assert words.index("1 off size") < words.index("The photo") < words.index("All rings")
    assert "1.626 ± " in words


def test_the_verdict_comes_first() -> None:
    words = Elements(judged_page()).text
    assert "Cannot tell: bronze for the lampshade" in words
    assert words.index("Cannot tell") < words.index("What was ordered") < words.index("All rings")


@pytest.mark.parametrize("page", PAGES)
def test_every_ring_has_a_close_up_a_row_and_a_place_on_the_photo(page: str) -> None:
    found = Elements(PAGES[page]())
    ids = [attributes["id"] for _, attributes in found.found if "id" in attributes]
    assert len(ids) == len(set(ids))
    rows = [a["data-ring"] for tag, a in found.found if tag == "tr" and "data-ring" in a]
    assert rows == [str(number) for number in range(1, LOST + 1)]
    assert {f"ring-{number}" for number in rows} <= set(ids)
    assert {f"spot-{number}" for number in rows} <= set(ids)


@pytest.mark.parametrize("page", PAGES)
def test_every_link_inside_the_page_leads_somewhere(page: str) -> None:
    found = Elements(PAGES[page]()).found
    ids = {attributes["id"] for _, attributes in found if "id" in attributes}
    links = {a["href"] for _, a in found if (a.get("href") or "").startswith("#")}
    assert len(links) > 20
    assert {link[1:] for link in links if link} <= ids


def test_close_ups_are_sorted_by_deviation() -> None:
    found = Elements(measured_page()).found
    cards = [a["id"] for tag, a in found if tag == "figure" and (a.get("id") or "")[:5] == "ring-"]
    assert cards[0] == f"ring-{OFF_SIZE}"
    assert cards[-1] == f"ring-{LOST}"
    # 6.37 is further from the median, 6.35, than 6.36 and 6.35 are.
    assert cards.index("ring-6") < cards.index("ring-9") < cards.index("ring-7")


def test_an_unusable_ring_shows_its_reason_and_no_number() -> None:
    page = measured_page()
    row = re.search(rf'<tr data-ring="{LOST}".*?</tr>', page, re.DOTALL)
    assert row is not None
    assert "overlaps ring 12" in row[0]
    assert "±" not in row[0]


def test_a_photo_of_unusable_rings_makes_a_report_too() -> None:
    words = Elements(measured_page(result([unusable(1, "cut off")]))).text
    assert "None of 1 ring could be measured" in words
    assert "cut off" in words


def test_several_photos_keep_their_rings_apart() -> None:
    found = Elements(judged_page(tray("a.jpg"), tray("b.jpg")))
    ids = {attributes.get("id") for _, attributes in found.found}
    assert {"ring-1-7", "ring-2-7", "photo-0", "photo-1"} <= ids
    assert "2.7" in found.text


# --- one file, alone, small


@pytest.mark.parametrize("page", PAGES)
def test_the_page_refers_to_nothing_but_itself(page: str) -> None:
    text = PAGES[page]()
    found = Elements(text).found
    assert {tag for tag, _ in found} & {"iframe", "object", "embed", "base", "video"} == set()
    for tag, attributes in found:
        for name in ("src", "href", "xlink:href", "srcset", "action", "poster", "data"):
            value = attributes.get(name)
            assert value is None or value.startswith(("#", "data:")), f"{tag} {name} {value}"
        assert "style" not in attributes
        assert not [name for name in attributes if name.startswith("on")]
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)
    assert style is not None
    assert "@import" not in style[1]
    assert re.findall(r"url\(([^)]*)\)", style[1]) == ["#beyond"]


def test_the_pages_own_rules_let_nothing_in() -> None:
    policy = next(
        a["content"] or ""
        for tag, a in Elements(measured_page()).found
        if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy


def test_a_photo_of_12_megapixels_stays_under_5_mb_whatever_is_on_it() -> None:
    # White noise is the worst that a JPEG can be asked to keep.
    rng = np.random.default_rng(12)
    worst = rng.integers(0, 256, (3024, 4032, 3), dtype=np.uint8)
    assert len(embed(worst).uri) < MOST_BYTES - 500_000


def test_an_embedded_photo_keeps_its_place_when_it_is_shrunk() -> None:
    made = embed(noise(), 20_000)
    assert (made.width, made.height) == (640, 480)
    data = b64decode(made.uri.partition(",")[2])
    assert len(data) <= 20_000
    shape = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).shape
    assert shape[1] < 640
    assert shape[0] / shape[1] == pytest.approx(480 / 640, abs=0.01)


def test_a_thinned_outline_stays_on_its_circle() -> None:
    angles = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    circle = 100.0 + 50.0 * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    numbers = np.array(re.findall(r"[\d.]+", outline_path(circle)), dtype=float).reshape(-1, 2)
    assert len(numbers) <= 90
    assert np.hypot(*(numbers - 100.0).T) == pytest.approx(50.0, abs=0.1)


# --- names from outside


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_changes_no_element_of_the_report(name: str) -> None:
    tame = Elements(measured_page(hostile("harmless")))
    wild = Elements(measured_page(hostile(name)))
    assert wild.shape == tame.shape
    for (tag, one), (_, other) in zip(tame.found, wild.found, strict=True):
        for attribute in ("href", "id", "class"):
            if not (one.get(attribute) or "").startswith("data:"):
                assert one.get(attribute) == other.get(attribute), tag


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_changes_no_element_of_the_verdict(name: str) -> None:
    tame = Elements(judged_page(hostile("harmless"), name="harmless"))
    wild = Elements(judged_page(hostile(name), name=name))
    assert wild.shape == tame.shape


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_shown_without_control_characters(name: str) -> None:
    page = measured_page(hostile(name))
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e\udc00-\udfff]", page)
    page.encode("utf-8")
    if name.isprintable():
        assert name in Elements(page).text


def test_hostile_names_reach_no_terminal_csv_or_page(
    pipeline, run: Callable, tmp_path: Path
) -> None:
    for name in HOSTILE:
        made = hostile(name)
        pipeline.answers = {"tray.jpg": made}
        out = tmp_path / str(HOSTILE.index(name))
        ended = run("measure", photo(tmp_path / "tray.jpg"), "--out", out)
        assert ended.exit_code == 0
        assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", ended.output)
        for line in (out / "tray.csv").read_text(encoding="utf-8").splitlines():
            assert not re.search(r'(^|,)"?[=+@|]', line)


# --- the command


def test_judge_writes_its_report_with_the_marked_photo(run: Callable, tmp_path: Path) -> None:
    made = tray()
    (tmp_path / "tray.json").write_text(json_text(made), encoding="utf-8")
    (tmp_path / "tray.marked.jpg").write_bytes(marked_jpeg(noise(), made))
    (tmp_path / "order.toml").write_text(ORDER.format(name="bronze"), encoding="utf-8")
    asked = ("judge", tmp_path / "tray.json", "--order", tmp_path / "order.toml", "--out", tmp_path)
    ended = run(*asked)
    assert ended.exit_code == 5
    page = (tmp_path / "verdict.html").read_text(encoding="utf-8")
    assert "Cannot tell: bronze" in Elements(page).text
    assert 'id="photo-0"' in page
    assert "verdict.html" in ended.stderr
    again = run(*asked)
    assert again.exit_code == 2
    assert "already holds verdict.html" in again.stderr
    assert run(*asked, "--force").exit_code == 5


def test_judge_reports_without_the_marked_photo_and_with_a_wrong_one(
    run: Callable, tmp_path: Path
) -> None:
    (tmp_path / "tray.json").write_text(json_text(tray()), encoding="utf-8")
    (tmp_path / "order.toml").write_text(ORDER.format(name="bronze"), encoding="utf-8")
    for wrong in (None, b"no picture", cv2.imencode(".jpg", noise()[:, :99])[1].tobytes()):
        if wrong is not None:
            (tmp_path / "tray.marked.jpg").write_bytes(wrong)
        asked = ("judge", tmp_path / "tray.json", "--order", tmp_path / "order.toml", "--force")
        assert run(*asked, "--out", tmp_path).exit_code == 5
        words = Elements((tmp_path / "verdict.html").read_text(encoding="utf-8")).text
        assert "no marked photo lies beside its result file" in words


def test_force_without_out_is_refused(run: Callable, tmp_path: Path) -> None:
    (tmp_path / "tray.json").write_text(json_text(tray()), encoding="utf-8")
    ended = run("judge", tmp_path / "tray.json", "--order", "order.toml", "--force")
    assert ended.exit_code == 2
    assert "--force is about files" in ended.stderr


# --- plots


def rows(values: list[float]) -> list[Row]:
    return [
        row_of(
            ring(number, inside=value),
            photo=0,
            several=False,
            state=State.GOOD,
            said="",
            away=0.0,
            remarks=(),
        )
        for number, value in enumerate(values, 1)
    ]


def test_a_plot_places_values_in_proportion_and_keeps_all_of_it_inside() -> None:
    made = plot(rows([6.30, 6.40, 6.60]), "id_mm", (6.23, 6.47))
    x = [dot.x for dot in made.dots]
    assert (x[2] - x[1]) / (x[1] - x[0]) == pytest.approx(2.0)
    assert x[1] - made.dots[1].low == pytest.approx((x[1] - x[0]) * 0.034 / 0.10)
    ends = [end for dot in made.dots for end in (dot.low, dot.high)]
    ends += [mark.x for mark in (*made.ticks, *made.limits)]
    assert 0 < min(ends) < max(ends) < made.width
    assert made.limits[1].x == pytest.approx(x[1] + 0.7 * (x[1] - x[0]))
    # Ticks stand where the numbers written below them say.
    scale = (x[1] - x[0]) / 0.10
    for tick in made.ticks:
        assert tick.x == pytest.approx(x[0] + scale * (float(tick.text) - 6.30), abs=0.01)


@pytest.mark.parametrize("values", [[6.35], [6.35] * 5, [6.0 + 0.01 * n for n in range(300)]])
def test_a_plot_of_one_ring_of_equal_rings_and_of_many(values: list[float]) -> None:
    made = plot(rows(values), "id_mm")
    assert len(made.dots) == len(values)
    assert 2 <= len(made.ticks) <= 8
    assert len({tick.text for tick in made.ticks}) == len(made.ticks)
    heights = [dot.y for dot in made.dots]
    assert heights == sorted(heights, reverse=True)
    assert min(heights) > made.top
    assert max(heights) < made.floor


# --- colours


def theme(dark: bool) -> dict[str, str]:
    page = measured_page()
    blocks = re.findall(r":root \{(.*?)\}", page, re.DOTALL)
    colours: dict[str, str] = {}
    for block in blocks[: 2 if dark else 1]:
        colours |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block))
    return colours


def bgr(colour: str) -> tuple[int, int, int]:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return blue, green, red


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 (W3C), definition of "relative luminance"."""
    parts = np.array(bgr(colour)[::-1]) / 255.0
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("ground", ["ground", "raised"])
@pytest.mark.parametrize("ink", ["ink", "quiet", "good", "doubt", "off", "unusable", "beyond"])
def test_text_stands_out_from_its_ground(dark: bool, ground: str, ink: str) -> None:
    # WCAG 2.2, 1.4.3: a contrast of at least 4.5 to 1 for text.
    colours = theme(dark)
    one, other = sorted((luminance(colours[ground]), luminance(colours[ink])))
    assert (other + 0.05) / (one + 0.05) >= 4.5


@pytest.mark.parametrize("kind", BLINDNESS)
def test_marks_on_the_photo_stay_apart_for_every_kind_of_colour_vision(kind: str) -> None:
    colours = theme(dark=False)
    marks = [colours[f"mark-{name}"] for name in ("good", "doubt", "off", "unusable", "reference")]
    close = [
        (one, other)
        for one, other in combinations(marks, 2)
        if np.linalg.norm(seen(bgr(one), kind) - seen(bgr(other), kind)) < LEAST_DIFFERENCE
    ]
    assert close == []


def test_each_state_has_a_word_and_a_shape_besides_its_colour() -> None:
    page = measured_page()
    for state, number in (("good", 1), ("doubt", TOUCHING), ("off", OFF_SIZE), ("unusable", LOST)):
        assert f'<figure class="card {state}" id="ring-{number}"' in page
        assert f'id="sign-{state}"' in page
    shapes = {
        re.sub(r'id="sign-\w+"', "", found)
        for found in re.findall(r"<symbol.*?</symbol>", page, re.DOTALL)
    }
    assert len(shapes) == 4
    for state in ("doubt", "off", "unusable"):
        assert f".mark.{state} path" in page


def test_a_report_can_be_written_to_a_folder_and_read_back(tmp_path: Path) -> None:
    path = write(measured_page(), tmp_path)
    assert Elements(path.read_text(encoding="utf-8")).text.count("annulet report") >= 1


def test_all_rings_are_drawn_where_they_lie() -> None:
    made = [one for one in tray().rings if one.status is Status.MEASURED]
    found = Elements(measured_page()).found
    reach = [a for tag, a in found if tag == "circle" and a.get("class") == "reach"]
    for one, circle in zip(made, reach, strict=False):
        assert (float(circle["cx"] or 0), float(circle["cy"] or 0)) == one.center_px
