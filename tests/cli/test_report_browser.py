"""The report in a real browser: Chromium, without a screen, driven by Playwright.

Both are for tests alone. Playwright comes with the extra `dev`; Chromium is the system's own, on
Debian the package `chromium`.
"""

import os
import re
import shutil
import socket
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.cli.pages import LOST, OFF_SIZE, judged_page, measured_page, tray, write
from tests.cli.test_report import HOSTILE, hostile

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

pytestmark = pytest.mark.skipif(
    CHROMIUM is None,
    reason="Chromium is missing: install it (on Debian `apt-get install chromium`) to test reports",
)

api = pytest.importorskip(
    "playwright.sync_api", reason="Playwright is missing: pip install -e '.[dev]' brings it"
)

PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}

MM_PER_PX = 25.4 / 96
"""CSS, Values and Units, 5.2: 96 px are an inch."""

MARGIN_MM = 13.0
"""As the page's own style asks for."""

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""ISO 216 and ANSI Y14.1, mm."""

POINT_MM = 25.4 / 72


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    # Chromium's sandbox does not work for root, as which containers run tests.
    arguments = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield started
        started.close()


class Visit:
    """A page that was opened from disk, and what happened meanwhile."""

    def __init__(self, browser: Any, path: Path, **settings: Any) -> None:
        self.context = browser.new_context(**({"viewport": DESK} | settings))
        self.page = self.context.new_page()
        self.asked: list[str] = []
        self.said: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("dialog", lambda dialog: (self.said.append("dialog"), dialog.dismiss()))
        self.page.goto(path.as_uri())
        self.page.wait_for_load_state("load")

    @property
    def away(self) -> list[str]:
        """Requests for anything but the file itself and what it carries."""
        return [url for url in self.asked if not url.startswith(("data:", "file:"))]

    def column(self, place: int) -> list[str]:
        cells = f"#table tbody tr > :nth-child({place})"
        return self.page.eval_on_selector_all(cells, "all => all.map(one => one.dataset.key)")

    def order(self) -> list[int]:
        rows = "#table tbody tr"
        return self.page.eval_on_selector_all(rows, "all => all.map(one => +one.dataset.ring)")

    def view(self) -> tuple[float, ...]:
        text = self.page.get_attribute(".picture > svg", "viewBox")
        return tuple(float(number) for number in text.split())


@pytest.fixture
def visit(browser: Any, tmp_path: Path) -> Iterator[Any]:
    opened: list[Visit] = []

    def start(page: str | None = None, **settings: Any) -> Visit:
        name = f"report {len(opened)} #1.html"  # blanks and a hash, as people name things
        opened.append(Visit(browser, write(page or measured_page(), tmp_path, name), **settings))
        return opened[-1]

    yield start
    for one in opened:
        one.context.close()


@pytest.mark.parametrize("page", [measured_page, judged_page])
def test_it_opens_from_disk_asks_for_nothing_and_says_nothing(visit: Any, page: Any) -> None:
    there = visit(page())
    assert there.page.title().endswith("annulet report")
    there.page.mouse.wheel(0, 20_000)
    there.page.wait_for_timeout(200)
    assert (there.away, there.said) == ([], [])
    assert there.asked[0].startswith("file:")
    shown = there.page.evaluate(
        "() => Promise.all([...document.querySelectorAll('image')].map(one => {"
        " const picture = new Image(); picture.src = one.getAttribute('href');"
        " return picture.decode().then(() => picture.naturalWidth); }))"
    )
    assert shown == [640]


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    """A server of this machine that hears whoever calls."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.setblocking(False)
        yield server


ASK = """port => {
  document.body.append(Object.assign(new Image(), {src: `http://127.0.0.1:${port}/picture`}));
  return fetch(`http://127.0.0.1:${port}/data`).catch(() => 0);
}"""


def test_the_page_lets_nothing_be_loaded_even_if_something_asks(
    visit: Any, listener: socket.socket, browser: Any
) -> None:
    port = listener.getsockname()[1]
    there = visit()
    there.page.evaluate(ASK, port)
    there.page.wait_for_timeout(300)
    with pytest.raises(BlockingIOError):
        listener.accept()
    assert "Content Security Policy" in " ".join(there.said)
    # The same from a page without such rules is heard: the ear is no deaf one.
    free = browser.new_page()
    free.evaluate(f"setTimeout(() => ({ASK})({port}))")
    free.wait_for_timeout(500)
    listener.accept()[0].close()
    free.close()


def test_the_answer_is_on_the_first_screen_of_a_phone(visit: Any) -> None:
    there = visit(viewport=PHONE, is_mobile=True, has_touch=True)
    box = there.page.locator("h1").bounding_box()
    assert box["y"] + box["height"] < PHONE["height"]
    assert "1 off size" in there.page.inner_text("h1")


@pytest.mark.parametrize("page", [measured_page, judged_page])
@pytest.mark.parametrize("width", [320, 360, 768, 1280])
def test_nothing_sticks_out_sideways(visit: Any, page: Any, width: int) -> None:
    # WCAG 2.2, 1.4.10 asks for this down to 320 px.
    there = visit(page(), viewport={"width": width, "height": 740})
    assert there.page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_heading_sorts_its_column_up_and_down_with_unknown_values_last(visit: Any) -> None:
    there = visit()
    button = there.page.get_by_role("button", name="ID mm")
    heading = there.page.locator("#table thead th", has=button)
    place = 1 + heading.evaluate("one => [...one.parentNode.children].indexOf(one)")
    for way, reverse in (("ascending", False), ("descending", True)):
        button.click()
        assert heading.get_attribute("aria-sort") == way
        keys = there.column(place)
        assert keys[-1] == ""
        numbers = [float(key) for key in keys[:-1]]
        assert len(numbers) == 12
        assert numbers == sorted(numbers, reverse=reverse)
    assert there.order()[0] == OFF_SIZE
    assert there.order()[-1] == LOST


def test_rings_sort_by_number_and_not_by_letter_and_back(visit: Any) -> None:
    there = visit()
    there.page.get_by_role("button", name="wire mm").click()
    there.page.get_by_role("button", name="ring", exact=True).click()
    assert there.order() == list(range(1, LOST + 1))
    there.page.get_by_role("button", name="cell", exact=True).click()
    cells = there.column(2)
    known = [cell for cell in cells if cell]
    assert known == sorted(known)


def test_sorting_works_with_the_keyboard_alone(visit: Any) -> None:
    there = visit()
    there.page.get_by_role("button", name="AR", exact=True).focus()
    there.page.keyboard.press("Enter")
    assert there.page.locator("th[aria-sort=ascending]").inner_text() == "AR"


@pytest.mark.parametrize("scripted", [True, False])
def test_a_ring_number_in_the_table_scrolls_to_its_close_up(visit: Any, scripted: bool) -> None:
    there = visit(java_script_enabled=scripted)
    there.page.locator("#table tbody").get_by_role("link", name="7", exact=True).click()
    there.page.wait_for_timeout(100)
    assert there.page.url.endswith("#ring-7")
    card = there.page.locator("#ring-7")
    box = card.bounding_box()
    assert 0 <= box["y"] < DESK["height"] - box["height"]
    assert "solid" in card.evaluate("one => getComputedStyle(one).outlineStyle")


def test_a_ring_is_found_by_its_cell_and_by_its_number(visit: Any) -> None:
    there = visit()
    field = there.page.get_by_label("ring or cell")
    for typed, ring in (("b2", 9), ("12", 12), (" C1 ", 3)):
        field.fill(typed)
        field.press("Enter")
        assert there.page.url.endswith(f"#ring-{ring}")
    field.fill("Z9")
    field.press("Enter")
    assert there.page.get_by_role("status").inner_text() == "no such ring"


def test_a_close_up_leads_back_to_the_photo_and_zooms_there(visit: Any) -> None:
    there = visit()
    assert there.view() == (0, 0, 640, 480)
    there.page.locator("#ring-5").get_by_role("link").click()
    there.page.wait_for_timeout(200)
    x, y, width, height = there.view()
    assert width < 640
    assert x < 400 < x + width  # ring 5 lies at (400, 80)
    assert y < 80 < y + height
    there.page.get_by_role("button", name="whole photo").click()
    assert there.view() == (0, 0, 640, 480)


def test_the_photo_zooms_and_moves_by_button_key_and_mouse_and_stays_in_view(visit: Any) -> None:
    there = visit()
    picture = there.page.locator(".picture > svg")
    there.page.get_by_role("button", name="closer").click()
    first = there.view()
    assert first[2] < 640
    picture.focus()
    there.page.keyboard.press("ArrowRight")
    assert there.view()[0] > first[0]
    for _ in range(30):
        there.page.keyboard.press("ArrowRight")
    x, _, width, _ = there.view()
    assert x + width == pytest.approx(640)
    box = picture.bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    there.page.mouse.move(*middle)
    there.page.mouse.down()
    there.page.mouse.move(middle[0] + 150, middle[1], steps=4)
    there.page.mouse.up()
    assert there.view()[0] < x
    picture.focus()
    for key in "+" * 20 + "-" * 40:
        there.page.keyboard.press(key)
    assert there.view() == (0, 0, 640, 480)


def test_outlines_can_be_taken_away_to_see_the_rings_bare(visit: Any) -> None:
    there = visit()
    line = there.page.locator("#mark-1 path").first
    assert line.evaluate("one => getComputedStyle(one).display") != "none"
    there.page.get_by_label("outlines").uncheck()
    assert line.evaluate("one => getComputedStyle(one).display") == "none"


def test_numbers_on_the_photo_are_readable_on_every_screen(visit: Any) -> None:
    for size in (PHONE, DESK):
        there = visit(viewport=size)
        text = there.page.locator(".picture .letters").first
        assert 11 <= text.bounding_box()["height"] <= 24


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_follows_the_systems_light_or_dark(visit: Any, scheme: str) -> None:
    there = visit(color_scheme=scheme)
    read = "getComputedStyle(document.body)"
    ground = there.page.evaluate(f"{read}.backgroundColor")
    ink = there.page.evaluate(f"{read}.color")
    bright = [sum(map(int, re.findall(r"\d+", colour)[:3])) for colour in (ground, ink)]
    assert (bright[0] > bright[1]) is (scheme == "light")


@pytest.mark.parametrize("page", [measured_page, judged_page])
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext (poppler) is missing")
def test_the_print_fits_its_paper(visit: Any, tmp_path: Path, paper: str, page: Any) -> None:
    there = visit(page(), color_scheme="dark")
    pdf, words = tmp_path / "report.pdf", tmp_path / "words.html"
    there.page.pdf(path=str(pdf), format=paper, prefer_css_page_size=False)
    subprocess.run(["pdftotext", "-bbox", str(pdf), str(words)], check=True)
    text = words.read_text(encoding="utf-8")
    width, height = PAPERS[paper]
    for found in re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', text):
        assert [float(side) * POINT_MM for side in found] == pytest.approx([width, height], abs=0.5)
    sides = re.findall(
        r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)"', text
    )
    assert len(sides) > 300
    boxes = [[float(side) * POINT_MM for side in box] for box in sides]
    assert min(box[0] for box in boxes) >= MARGIN_MM - 1
    assert min(box[1] for box in boxes) >= MARGIN_MM - 1
    assert max(box[2] for box in boxes) <= width - MARGIN_MM + 1
    assert max(box[3] for box in boxes) <= height - MARGIN_MM + 1
    # What is folded away on the screen is printed, what can only be clicked is not.
    assert ">combined<" in text
    assert ">closer<" not in text


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("page", [measured_page, judged_page])
def test_the_print_is_not_shrunk_to_fit(visit: Any, paper: str, page: Any) -> None:
    # A browser prints what is too wide at a smaller size, and says nothing.
    room = round((PAPERS[paper][0] - 2 * MARGIN_MM) / MM_PER_PX)
    there = visit(page(), viewport={"width": room, "height": 1000})
    there.page.emulate_media(media="print")
    assert there.page.evaluate("document.documentElement.scrollWidth") <= room
    assert there.page.evaluate("getComputedStyle(document.body).backgroundColor") == (
        "rgb(255, 255, 255)"
    )


def test_everything_that_can_be_used_has_a_name(visit: Any) -> None:
    # WCAG 2.2, 4.1.2: what a screen reader says of links, buttons, fields and pictures.
    there = visit()
    nameless = there.page.evaluate(
        """() => [...document.querySelectorAll('a, button, input, svg[role=img]')].filter(one => {
          const label = one.id && document.querySelector(`label[for=${one.id}]`);
          const said = one.getAttribute('aria-label') || one.textContent || one.title
            || label?.textContent || one.closest('label')?.textContent;
          return !said || !said.trim();
        }).map(one => one.outerHTML.slice(0, 80))"""
    )
    assert nameless == []
    levels = there.page.eval_on_selector_all("h1, h2, h3", "all => all.map(one => +one.tagName[1])")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert there.page.get_attribute("html", "lang") == "en"


@pytest.mark.parametrize("page", ["measured", "judged"])
def test_hostile_names_run_nothing(visit: Any, page: str) -> None:
    for name in HOSTILE:
        made = hostile(name)
        there = visit(measured_page(made) if page == "measured" else judged_page(made, name=name))
        assert there.page.evaluate("typeof window.pwned") == "undefined"
        assert (there.away, there.said) == ([], [])
        assert there.page.locator("#table tbody tr").count() == LOST
        there.context.close()


def test_two_hundred_rings_are_shown_in_good_time(visit: Any) -> None:
    rings = tuple(tray().rings[number % 12] for number in range(200))
    numbered = tuple(replace(one, number=number) for number, one in enumerate(rings, 1))
    there = visit(measured_page(replace(tray(), rings=numbered)))
    took = there.page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd")
    assert took < 5000
    assert there.page.locator(".card").count() == 200
