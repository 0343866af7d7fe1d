"use strict";
// Sorting, finding a ring, looking closer. Without this script the page still reads, links and prints.

const SCREEN_LETTERS = 13; // size of ring numbers on the photo, in pixels of the screen
const STEP = 1.6; // one step closer or wider
const NEAREST = 40; // a view is at least this part of the photo across

function sortBy(button) {
  const heading = button.closest("th");
  const table = heading.closest("table");
  const column = [...heading.parentNode.children].indexOf(heading);
  const down = heading.getAttribute("aria-sort") === "ascending";
  for (const other of heading.parentNode.children) other.removeAttribute("aria-sort");
  heading.setAttribute("aria-sort", down ? "descending" : "ascending");
  const key = (row) => row.children[column].dataset.key;
  const sign = down ? -1 : 1;
  const rows = [...table.tBodies[0].rows];
  rows.sort((a, b) => {
    const [x, y] = [key(a), key(b)];
    if (x === "" || y === "") return (x === "") - (y === ""); // what is unknown stays at the end
    return sign * (heading.dataset.kind === "number" ? x - y : x.localeCompare(y, "en", {numeric: true}));
  });
  table.tBodies[0].append(...rows);
}

function find(wanted) {
  const text = wanted.trim().toLowerCase();
  const rows = [...document.querySelectorAll("#table tbody tr")];
  const row = rows.find((one) => one.dataset.name === text)
    ?? rows.find((one) => one.dataset.cell.toLowerCase() === text);
  const answer = document.getElementById("found");
  answer.textContent = row ? "" : "no such ring";
  if (row) location.hash = `#ring-${row.dataset.ring}`;
}

class View {
  // The part of a photo that is on the screen.
  constructor(figure) {
    this.figure = figure;
    this.svg = figure.querySelector("svg");
    const box = this.svg.viewBox.baseVal;
    this.full = {x: 0, y: 0, width: box.width, height: box.height};
    this.show(this.full);
    for (const button of figure.querySelectorAll("[data-zoom]")) {
      button.addEventListener("click", () => this.zoom(button.dataset.zoom));
    }
    const outlines = figure.querySelector("[data-outlines]");
    outlines.addEventListener("change", () => document.body.classList.toggle("bare", !outlines.checked));
    this.svg.addEventListener("keydown", (event) => this.key(event));
    this.svg.addEventListener("pointerdown", (event) => this.grab(event));
    new ResizeObserver(() => this.letter()).observe(this.svg);
    figure.querySelector(".tools").hidden = false;
  }

  show({x, y, width, height}) {
    const full = this.full;
    const w = Math.min(full.width, Math.max(width, full.width / NEAREST));
    const h = w * full.height / full.width;
    const left = Math.min(Math.max(0, x + (width - w) / 2), full.width - w);
    const top = Math.min(Math.max(0, y + (height - h) / 2), full.height - h);
    this.now = {x: left, y: top, width: w, height: h};
    this.svg.setAttribute("viewBox", `${left} ${top} ${w} ${h}`);
    this.figure.classList.toggle("near", w < full.width);
    this.letter();
  }

  letter() {
    const width = this.svg.clientWidth;
    if (width) this.svg.style.setProperty("--letters", `${SCREEN_LETTERS * this.now.width / width}px`);
  }

  zoom(how) {
    if (how === "all") return this.show(this.full);
    const by = how === "in" ? 1 / STEP : STEP;
    const {x, y, width, height} = this.now;
    const [w, h] = [width * by, height * by];
    this.show({x: x + (width - w) / 2, y: y + (height - h) / 2, width: w, height: h});
  }

  move(right, down) {
    this.show({...this.now, x: this.now.x + right, y: this.now.y + down});
  }

  key(event) {
    const step = this.now.width / 8;
    const does = {
      "+": () => this.zoom("in"), "=": () => this.zoom("in"), "-": () => this.zoom("out"),
      "0": () => this.zoom("all"),
      ArrowLeft: () => this.move(-step, 0), ArrowRight: () => this.move(step, 0),
      ArrowUp: () => this.move(0, -step), ArrowDown: () => this.move(0, step),
    }[event.key];
    if (!does || (event.key.startsWith("Arrow") && this.now.width >= this.full.width)) return;
    event.preventDefault();
    does();
  }

  grab(start) {
    if (this.now.width >= this.full.width) return;
    const from = {...this.now};
    const perPixel = from.width / this.svg.clientWidth;
    const drag = (event) => this.show({
      ...from,
      x: from.x - (event.clientX - start.clientX) * perPixel,
      y: from.y - (event.clientY - start.clientY) * perPixel,
    });
    const end = () => {
      window.removeEventListener("pointermove", drag);
      window.removeEventListener("pointerup", end);
      window.removeEventListener("pointercancel", end);
    };
    window.addEventListener("pointermove", drag);
    window.addEventListener("pointerup", end);
    window.addEventListener("pointercancel", end);
  }

  visit(spot) {
    const reach = spot.querySelector(".reach");
    const [x, y, r] = ["cx", "cy", "r"].map((name) => Number(reach.getAttribute(name)));
    const width = 12 * r;
    const height = width * this.full.height / this.full.width;
    this.show({x: x - width / 2, y: y - height / 2, width, height});
  }
}

const views = new Map([...document.querySelectorAll(".picture")].map((one) => [one, new View(one)]));

function follow() {
  const spot = location.hash.startsWith("#spot-") && document.getElementById(location.hash.slice(1));
  if (!spot) return;
  const figure = spot.closest(".picture");
  views.get(figure).visit(spot);
  figure.scrollIntoView({block: "center"});
}

for (const button of document.querySelectorAll("th button")) {
  button.addEventListener("click", () => sortBy(button));
}
const finder = document.getElementById("finder");
if (finder) {
  finder.hidden = false;
  finder.addEventListener("submit", (event) => { event.preventDefault(); find(finder.elements.ring.value); });
}
window.addEventListener("hashchange", follow);
follow();
let folded = [];
window.addEventListener("beforeprint", () => {
  folded = [...document.querySelectorAll("details:not([open])")];
  for (const one of folded) one.open = true;
});
window.addEventListener("afterprint", () => { for (const one of folded) one.open = false; });
