// The knobs: a slider and a field for numbers, a list for words. What is wrong stands beside the knob, with its way out.

import { byId, el, plain } from "./dom.js";
import { span, stepped } from "./ranges.js";

const rows = new Map(); // by key
let state;

/** Builds the groups; what matters first is in view, the rest behind one click. */
export function buildKnobs(groups, theState) {
  state = theState;
  for (const group of groups) {
    const knobs = group.sections.flatMap((section) => section.knobs.map((knob) => ({ ...knob, section })));
    const rest = el("details", { class: "rest" }, el("summary", {}, `All keys: ${group.title.toLowerCase()}`));
    rest.addEventListener("toggle", () => rest.open && fill(rest, knobs.filter((knob) => !knob.first)));
    rest.knobs = knobs.filter((knob) => !knob.first);
    if (group.lists.length) rest.append(el("p", { class: "help" }, `In the text alone: ${group.lists.map((path) => `[[${path}]]`).join(", ")}`));
    byId("knobs").append(el("details", { class: "group", open: group.name === "winding", id: `group-${group.name}` },
      el("summary", {}, el("span", {}, group.title), el("span", { class: "marks" })),
      ...knobs.filter((knob) => knob.first).map(row), rest));
  }
  byId("knobs").addEventListener("submit", (event) => event.preventDefault());
}

function fill(rest, knobs) {
  if (rest.filled) return;
  rest.filled = true;
  let last;
  for (const knob of knobs) {
    if (knob.section.path !== last) rest.append(el("p", { class: "section" }, el("b", {}, knob.section.path || "design"), ` ${knob.section.meaning}`));
    last = knob.section.path;
    rest.append(row(knob));
  }
  showValues();
}

function row(knob) {
  const id = `knob-${knob.path}`;
  const help = el("p", { class: "help", id: `${id}-help` }, `${knob.meaning}; ${knob.rule || "a word"}. `,
    knob.default !== null && knob.default !== undefined ? `Left out: ${knob.default}. ` : knob.otherwise ? `Left out: ${knob.otherwise}. ` : "",
    el("code", {}, knob.path));
  const said = el("div", { class: "said", id: `${id}-said` });
  const made = { knob, said, fields: [] };
  const described = { id, "aria-describedby": `${id}-said ${id}-help` };
  const label = el("label", { htmlFor: id }, knob.label, knob.unit ? el("span", { class: "unit" }, ` ${knob.unit}`) : null);
  if (knob.kind === "number" || knob.kind === "count") numberFields(made, described);
  else if (knob.kind === "choice" || knob.kind === "yes") wordField(made, described);
  else {
    made.field = el("input", { ...described, type: "text", readOnly: knob.kind === "list",
      onchange: () => state.set({ [knob.path]: made.field.value === "" ? null : made.field.value }) });
  }
  made.field.addEventListener("input", () => { made.editing = made.field.tagName === "INPUT"; });
  for (const name of ["change", "blur"]) made.field.addEventListener(name, () => { made.editing = false; }, true);
  made.row = el("div", { class: "knob", "data-key": knob.path },
    label, made.slider, made.field, made.word, help, said);
  rows.set(knob.path, made);
  return made.row;
}

function wordField(made, described) {
  const { knob } = made;
  const words = knob.kind === "yes" ? ["true", "false"] : knob.words;
  const left = knob.required ? [] : [el("option", { value: "" }, knob.default === null || knob.default === undefined ? "left out" : `${knob.default} (left out)`)];
  made.field = el("select", described, ...left, ...words.map((word) => el("option", { value: word }, word)));
  made.field.addEventListener("change", () => {
    const word = made.field.value;
    state.set({ [knob.path]: word === "" ? null : knob.kind === "yes" ? word === "true" : word });
  });
}

function numberFields(made, described) {
  const { knob } = made;
  made.field = el("input", { ...described, type: "text", inputMode: "decimal" });
  made.slider = el("input", { type: "range", "aria-label": `${knob.label}, slider`, tabIndex: -1 });
  made.field.addEventListener("change", () => state.set({ [knob.path]: typed(made.field.value, knob) }));
  made.field.addEventListener("keydown", (event) => {
    const steps = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
    if (!steps) return;
    event.preventDefault();
    turn(made, stepped(knob, current(made), steps));
  });
  made.slider.addEventListener("input", () => turn(made, slid(made), true));
  made.slider.addEventListener("change", () => showRow(made));
  if (knob.word) {
    made.word = el("button", { type: "button", class: "word", "aria-pressed": "false", title: `as ${knob.word}`,
      onclick: () => state.set({ [knob.path]: state.values[knob.path] === knob.word ? settled(made) : knob.word }) }, knob.word);
  }
}

const settled = (made) => made.settled ?? made.knob.example ?? made.knob.low;
const slid = ({ knob, slider }) => (knob.allowed ? knob.allowed[Number(slider.value)] : Number(Number(slider.value).toPrecision(10)));

function turn(made, value, sliding = false) {
  state.set({ [made.knob.path]: value });
  made.field.value = plain(value);
  if (!sliding) showRow(made);
}

/** What was typed: a number where it is one, nothing where the key is to be left out, else the word as it stands. */
function typed(text, knob) {
  const words = text.trim();
  if (words === "") return null;
  const number = Number(words);
  return words !== "" && Number.isFinite(number) && knob.word !== words ? number : words;
}

function current({ knob, settled: known }) {
  const candidates = [state.values[knob.path], known, knob.default, knob.example, knob.low];
  return candidates.find((value) => typeof value === "number") ?? 0;
}

function showRow(made) {
  const { knob, field, slider } = made;
  const value = state.values[knob.path];
  const shown = value === undefined ? "" : plain(value);
  if (!made.editing) field.value = shown; // never what is being typed
  if (knob.kind === "number" || knob.kind === "count") {
    field.placeholder = value === undefined && knob.default !== null && knob.default !== undefined ? plain(knob.default) : "";
    const here = current(made);
    if (document.activeElement !== slider || !slider.matches(":active")) {
      const ends = knob.allowed ? { low: 0, high: knob.allowed.length - 1, step: 1 } : span(knob, here);
      Object.assign(slider, { min: ends.low, max: ends.high, step: knob.kind === "count" ? ends.step : "any" });
      if (knob.kind === "number") slider.step = ends.step;
      slider.min = ends.low;
      slider.value = knob.allowed ? Math.max(knob.allowed.indexOf(here), 0) : here;
    }
    slider.setAttribute("aria-valuetext", `${plain(here)} ${knob.unit || ""}`);
    if (made.word) made.word.setAttribute("aria-pressed", String(value === knob.word));
    if (value === knob.word && made.settled !== undefined) field.title = `comes to ${plain(made.settled)}`;
  }
}

/** All knobs as the design stands. */
export function showValues(whereFilled = {}) {
  const shape = state.values["rotor.magnet.shape"];
  for (const [key, made] of rows) {
    if (key in whereFilled) made.settled = whereFilled[key];
    made.row.hidden = made.knob.shapes.length > 0 && !made.knob.shapes.includes(shape);
    showRow(made);
  }
}

/** The knob of a key in view and with the focus; false where there is none. */
export function showKnob(key) {
  if (!rows.has(key)) {
    for (const rest of document.querySelectorAll("#knobs details.rest")) {
      if (rest.knobs.some((knob) => knob.path === key)) { rest.open = true; fill(rest, rest.knobs); }
    }
  }
  const made = rows.get(key);
  if (!made) return false;
  for (let place = made.row.parentElement; place && place.id !== "knobs"; place = place.parentElement) place.open = true;
  made.row.scrollIntoView({ block: "center" });
  made.field.focus();
  return true;
}

export const knobLabel = (key) => rows.get(key)?.knob.label ?? key;

/** What is said beside the knobs: complaints with their ways out, and findings. */
export function showSaid(complaints, findings) {
  for (const { said, field, row: line } of rows.values()) {
    said.replaceChildren();
    field.removeAttribute("aria-invalid");
    line.classList.remove("wrong");
  }
  for (const one of complaints) {
    const made = rows.get(one.key);
    if (!made) continue;
    made.said.append(complaintWords(one, made.knob));
    made.field.setAttribute("aria-invalid", "true");
    made.row.classList.add("wrong");
  }
  for (const one of findings.filter((finding) => !finding.accepted)) {
    rows.get(one.key)?.said.append(el("p", { class: `finding ${one.label}` }, el("b", {}, one.label), ` ${one.message}`));
  }
  for (const group of document.querySelectorAll("#knobs > details")) {
    const count = group.querySelectorAll(".said > *").length;
    group.querySelector(".marks").textContent = count ? `${count} to look at` : "";
  }
}

/** A complaint in words, and a button for each way out that is known. */
export function complaintWords(one, knob) {
  const ways = [...one.ways];
  if (!ways.length && knob && typeof knob.low === "number" && typeof state.values[knob.path] === "number") {
    const value = state.values[knob.path];
    const near = Math.min(Math.max(value, knob.low), knob.high);
    if (near !== value) ways.push({ [knob.path]: near });
  }
  const buttons = ways.map((settings) => el("button", { type: "button", class: "way", onclick: () => state.set(settings) },
    Object.entries(settings).map(([key, value]) => `${key} = ${plain(value)}`).join(", ")));
  return el("div", { class: "complaint" }, el("p", {}, [one.rule, one.value && `got ${one.value}`, one.remedy].filter(Boolean).join("; ")), ...buttons);
}

export function linkKnob(key) {
  for (const [path, made] of rows) made.row.classList.toggle("linked", path === key);
}
