// The stator as the program draws it: layer by layer, zoom and pan, the rotor turning; parts lead to their knobs.

import { byId, drawing, el } from "./dom.js";
import { showKnob } from "./knobs.js";

const PARTS = { // what a part of the drawing is set by
  "layer-": "board.track_width_mm", "interconnects-": "board.interconnect_width_mm", vias: "board.via_drill_mm",
  magnets: "rotor.poles", terminals: "board.terminal_drill_mm", board: "board.copper_outer_diameter_mm",
};
const OF_KEYS = { // which part a key stands for
  "rotor.": "magnets", "board.via": "vias", "board.terminal": "terminals", "winding.": "layer-1", "board.track": "layer-1",
  "board.interconnect": "interconnects-1",
};
const hiddenParts = new Set();
let svg, whole, view, waiting;

/** A new drawing in the place of the one before, seen as that was. */
export function showStator(text) {
  waiting = byId("panel-picture").hidden ? text : ""; // what is not in view has no size
  if (waiting) return;
  const fresh = drawing(text);
  fresh.removeAttribute("width");
  fresh.removeAttribute("height");
  fresh.setAttribute("id", "stator-drawing");
  svg = fresh;
  byId("picture").replaceChildren(fresh);
  const next = extent(fresh.querySelector("#stator"));
  if (whole && view) {
    const part = next.width / whole.width;
    view = { x: next.x + (view.x - whole.x) * part, y: next.y + (view.y - whole.y) * part, width: view.width * part, height: view.height * part };
  } else view = { ...next };
  whole = next;
  setView();
  showLayers();
}

/** The last drawing, once the picture is in view again. */
export function showWaiting() {
  if (waiting) showStator(waiting);
}

/** What the plan takes of the sheet, with a little paper around it. */
function extent(plan) {
  const box = plan.getBBox();
  const place = plan.transform.baseVal.consolidate().matrix;
  const edge = 0.015 * box.width;
  return { x: box.x + place.e - edge, y: box.y + place.f - edge, width: box.width + 2 * edge, height: box.height + 2 * edge };
}

function setView() {
  svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.width} ${view.height}`);
}

function showLayers() {
  const names = [...svg.querySelectorAll("#stator > g[id]")].map((group) => group.id);
  const layers = names.filter((name) => name.startsWith("layer-")).sort();
  const shown = [...layers.map((name) => [name, `Layer ${name.slice(6)}`]), ["vias", "Vias"], ["magnets", "Magnets"], ["names", "Names"]];
  const bar = byId("layers");
  if (bar.dataset.names !== names.join()) {
    bar.dataset.names = names.join();
    const toggle = (name) => () => {
      if (!hiddenParts.delete(name)) hiddenParts.add(name);
      applyHidden();
    };
    bar.replaceChildren(
      ...shown.map(([name, words]) => el("button", { type: "button", "data-part": name, onclick: toggle(name) }, words)),
      el("span", { class: "space" }),
      el("button", { type: "button", "aria-label": "Zoom in", onclick: () => zoom(1 / 1.4) }, "+"),
      el("button", { type: "button", "aria-label": "Zoom out", onclick: () => zoom(1.4) }, "−"),
      el("button", { type: "button", onclick: () => { view = { ...whole }; setView(); } }, "Whole"),
    );
  }
  applyHidden();
}

function applyHidden() {
  for (const button of byId("layers").querySelectorAll("[data-part]")) {
    const name = button.dataset.part;
    const hidden = hiddenParts.has(name);
    button.setAttribute("aria-pressed", String(!hidden));
    for (const id of [name, name.replace("layer-", "interconnects-")]) {
      svg.querySelector(`#${id}`)?.classList.toggle("off", hidden);
    }
  }
}

function zoom(factor, at = { x: view.x + view.width / 2, y: view.y + view.height / 2 }) {
  const width = Math.min(Math.max(view.width * factor, whole.width / 60), 1.5 * whole.width);
  const real = width / view.width;
  view = { x: at.x - (at.x - view.x) * real, y: at.y - (at.y - view.y) * real, width, height: view.height * real };
  setView();
}

/** A place on the screen in the drawing's own units. */
function inDrawing(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return { x: point.x, y: point.y };
}

export function buildPicture(turnedTo) {
  const place = byId("picture");
  let dragged = null;
  place.addEventListener("wheel", (event) => {
    if (!svg) return;
    event.preventDefault();
    zoom(event.deltaY > 0 ? 1.15 : 1 / 1.15, inDrawing(event));
  }, { passive: false });
  place.addEventListener("pointerdown", (event) => {
    if (!svg) return;
    dragged = { at: inDrawing(event), moved: 0, x: event.clientX, y: event.clientY };
    place.setPointerCapture(event.pointerId);
  });
  place.addEventListener("pointermove", (event) => {
    if (!dragged) return;
    dragged.moved = Math.max(dragged.moved, Math.hypot(event.clientX - dragged.x, event.clientY - dragged.y));
    if (dragged.moved < 4) return;
    const here = inDrawing(event);
    view.x += dragged.at.x - here.x;
    view.y += dragged.at.y - here.y;
    setView();
  });
  place.addEventListener("pointerup", (event) => {
    if (dragged && dragged.moved < 4) pick(document.elementFromPoint(event.clientX, event.clientY));
    dragged = null;
  });
  place.addEventListener("pointercancel", () => { dragged = null; });
  place.addEventListener("keydown", (event) => {
    if (!svg) return;
    const by = 0.1 * view.width;
    const moves = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] };
    if (event.key === "+" || event.key === "=") zoom(1 / 1.4);
    else if (event.key === "-") zoom(1.4);
    else if (event.key === "0") { view = { ...whole }; setView(); } else if (event.key in moves) {
      view.x += moves[event.key][0];
      view.y += moves[event.key][1];
      setView();
    } else return;
    event.preventDefault();
  });
  turnedTo((degrees) => svg?.querySelector("#magnets")?.setAttribute("transform", `rotate(${-degrees.toFixed(3)})`));
}

/** From a part of the drawing to its knob. */
function pick(target) {
  const group = target?.closest?.("#stator > g[id]");
  const part = group && Object.keys(PARTS).find((name) => group.id.startsWith(name));
  if (part) showKnob(PARTS[part]);
}

/** The part that a key stands for, made to stand out. */
export function linkPart(key) {
  if (!svg) return;
  const part = Object.keys(OF_KEYS).find((name) => key.startsWith(name));
  for (const group of svg.querySelectorAll("#stator > g[id]")) {
    group.classList.toggle("quiet", Boolean(part) && group.id !== OF_KEYS[part] && group.id !== "board");
  }
}

export function showSection(text) {
  const fresh = drawing(text);
  fresh.removeAttribute("width");
  fresh.removeAttribute("height");
  byId("section").replaceChildren(fresh);
}
