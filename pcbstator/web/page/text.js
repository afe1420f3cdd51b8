// The text of the design beside the knobs: edited both ways, and which line belongs to which knob.

import { byId } from "./dom.js";
import { linkKnob } from "./knobs.js";
import { linkPart } from "./picture.js";

let state, timer;

export function buildText(theState) {
  state = theState;
  const field = byId("text");
  field.addEventListener("input", () => {
    clearTimeout(timer);
    document.body.classList.add("asking");
    timer = setTimeout(() => state.edit(field.value, true), 150);
  });
  for (const name of ["keyup", "click"]) field.addEventListener(name, () => link(keyAt(field.value, field.selectionStart)));
}

/** The text as it stands, the place of the cursor kept. */
export function showText() {
  const field = byId("text");
  if (field.value === state.text) return;
  const { selectionStart: from, selectionEnd: to, scrollTop: top } = field;
  field.value = state.text;
  field.setSelectionRange(from, to);
  field.scrollTop = top;
}

/** The dotted key of the line that a place of the text is in; empty where it has none. */
export function keyAt(text, place) {
  const lines = text.slice(0, place).split("\n");
  const end = text.indexOf("\n", place);
  lines[lines.length - 1] = text.slice(place - lines.at(-1).length, end < 0 ? undefined : end);
  const name = lines.at(-1).match(/^\s*([\w-]+)\s*=/)?.[1];
  const head = lines.findLast((line) => /^\s*\[[^[]/.test(line))?.match(/\[([\w.\s-]+)\]/)?.[1].trim();
  return name ? (head ? `${head}.${name}` : name) : "";
}

/** The number, from 0, and the text of the line of a key; nothing where it is not written. */
export function lineOf(text, key) {
  let head = "";
  const lines = text.split("\n");
  for (const [number, line] of lines.entries()) {
    head = line.match(/^\s*\[([\w.\s-]+)\]/)?.[1].trim() ?? head;
    const name = line.match(/^\s*([\w-]+)\s*=/)?.[1];
    if (name && (head ? `${head}.${name}` : name) === key) return { number, line };
  }
  return null;
}

export function link(key) {
  linkKnob(key);
  linkPart(key);
}

/** From a knob to its line. */
export function showLine(key) {
  const found = lineOf(state.text, key);
  const field = byId("text");
  byId("line").textContent = found ? `Line ${found.number + 1}: ${found.line.trim()}` : `${key} is not written: its default holds`;
  if (found && !byId("panel-text").hidden) {
    const height = parseFloat(getComputedStyle(field).lineHeight) || 18;
    field.scrollTop = Math.max(0, found.number * height - field.clientHeight / 2);
  }
}
