// The EMF of the phases over one electrical turn, with the rotor's angle in it; the rotor turns with it.

import { byId, drawn, el } from "./dom.js";

const WIDTH = 360, HEIGHT = 150, LEFT = 6, TOP = 20, BOTTOM = 22;
const SECONDS = 6; // of an electrical turn
const DASHES = ["", "7 3", "2 3", "9 3 2 3", "4 4", "1 2", "12 4"];
const listeners = [];
let emf, angle = 0, running = false, marker, values, before;

/** Called with the mechanical angle [degrees] as the rotor turns. */
export const turnedTo = (listener) => listeners.push(listener);

export function buildEmf() {
  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const turn = el("button", { type: "button", id: "turn", "aria-pressed": "false", onclick: () => run(!running) }, "Turn the rotor");
  const slider = el("input", { type: "range", id: "angle", min: 0, max: 360, step: 1, value: 0, "aria-label": "Rotor angle, electrical degrees" });
  slider.addEventListener("input", () => { run(false); angle = Number(slider.value); show(); });
  byId("emf").append(el("div", { class: "tools" }, turn, slider), el("div", { id: "emf-curves" }), el("figcaption", { id: "emf-now" }));
  run(!still);
}

function run(on) {
  running = on;
  byId("turn")?.setAttribute("aria-pressed", String(on));
  before = undefined;
  if (on) requestAnimationFrame(frame);
}

function frame(now) {
  if (!running) return;
  if (before !== undefined && emf && !document.hidden) {
    angle = (angle + (360 * Math.min(now - before, 100)) / 1000 / SECONDS) % (360 * (emf.pole_pairs || 1));
    show();
  }
  before = now;
  requestAnimationFrame(frame);
}

export function showEmf(found) {
  emf = found;
  const place = byId("emf-curves");
  if (!found) { place.replaceChildren(el("p", { class: "help" }, "No EMF: the field is not known.")); return; }
  const top = Math.max(...found.v_s_per_rad.flat().map(Math.abs)) || 1;
  const x = (degrees) => LEFT + ((WIDTH - 2 * LEFT) * degrees) / 360;
  const y = (value) => TOP + (HEIGHT - TOP - BOTTOM) * (0.5 - value / top / 2);
  const curves = found.v_s_per_rad.map((wave, phase) => drawn("path", {
    class: `curve phase-${phase % 7}`, "stroke-dasharray": DASHES[phase % 7],
    d: `M${wave.map((value, place) => `${x(found.angle_deg[place]).toFixed(1)} ${y(value).toFixed(1)}`).join("L")}`,
  }));
  const names = found.v_s_per_rad.map((_, phase) => drawn("text", { x: WIDTH - LEFT - 20 * (found.v_s_per_rad.length - phase) + 8, y: 13, class: `name phase-${phase % 7}` }, "ABCDEFGHIJKLMNO"[phase]));
  marker = drawn("line", { class: "marker", y1: TOP, y2: HEIGHT - BOTTOM });
  values = { x, top };
  const axis = drawn("line", { class: "axis", x1: LEFT, x2: WIDTH - LEFT, y1: y(0), y2: y(0) });
  place.replaceChildren(drawn("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": "EMF of the phases over an electrical turn" },
    axis, ...curves, ...names, marker,
    drawn("text", { x: LEFT, y: 13 }, `EMF, peak ${top.toPrecision(3)} V per rad/s`),
    drawn("text", { x: LEFT, y: HEIGHT - 6 }, "0°"), drawn("text", { x: WIDTH - LEFT, y: HEIGHT - 6, "text-anchor": "end" }, "360° electrical")));
  show();
}

function show() {
  if (!emf) return;
  const turn = angle % 360;
  const place = String(values.x(turn).toFixed(1));
  marker.setAttribute("x1", place);
  marker.setAttribute("x2", place);
  if (running) byId("angle").value = turn;
  const mechanical = angle / emf.pole_pairs;
  if (!running) byId("emf-now").textContent = `${turn.toFixed(0)}° electrical, ${mechanical.toFixed(2)}° of the rotor`;
  else byId("emf-now").textContent = "";
  for (const listener of listeners) listener(mechanical);
}
