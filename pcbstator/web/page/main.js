// Puts the page together: knobs on the left, the design in the middle, what it does on the right.

import { byId } from "./dom.js";
import { buildEmf, showEmf, turnedTo } from "./emf.js";
import { buildKnobs, showSaid, showValues } from "./knobs.js";
import { showComplaints, showNumbers, showResults } from "./numbers.js";
import { buildPicture, showSection, showStator, showWaiting } from "./picture.js";
import { get, post, whenLost } from "./server.js";
import { State } from "./state.js";
import { buildText, link, showLine, showText } from "./text.js";
import { buildWork } from "./work.js";

const words = byId("state");
let lost = "";

whenLost((told) => {
  lost = told;
  byId("lost").textContent = told;
  byId("lost").hidden = !told;
});

function showAnswer(answer, state) {
  byId("undo").disabled = !state.steps.length;
  byId("redo").disabled = !state.undone.length;
  byId("save").disabled = !state.changed;
  if (answer.asking) { document.body.classList.add("asking"); return; }
  if (answer.failed) { words.textContent = answer.failed; return; }
  const wrong = answer.complaints ?? [];
  document.body.classList.remove("asking");
  document.body.classList.toggle("refining", !answer.whole && !wrong.length);
  document.body.classList.toggle("stale", wrong.length > 0);
  document.body.dataset.answer = String(answer.number);
  document.body.dataset.whole = String(Boolean(answer.whole));
  showText();
  showValues(answer.settled);
  showComplaints(wrong);
  showSaid(wrong, answer.findings ?? []);
  if (wrong.length) {
    words.textContent = "does not fit: shown is the last that did";
    return;
  }
  byId("title").textContent = document.title = answer.title;
  if (answer.pictures) {
    showStator(answer.pictures.stator);
    showSection(answer.pictures.section);
  }
  showEmf(answer.emf);
  showNumbers(answer, state);
  const saved = state.changed ? "changed, not saved" : "as saved";
  words.textContent = answer.whole ? saved : `${saved}; spread of built motors and ways out follow`;
  if (answer.whole && !byId("panel-results").hidden) results(state);
}

async function results(state) {
  const found = await post("api/results", { text: state.text }).catch(() => null);
  if (found) showResults(found.results);
}

function buildTabs(state) {
  const tabs = [...document.querySelectorAll("[role=tab]")];
  const choose = (tab) => {
    for (const one of tabs) {
      const chosen = one === tab;
      one.setAttribute("aria-selected", String(chosen));
      one.tabIndex = chosen ? 0 : -1;
      byId(one.getAttribute("aria-controls")).hidden = !chosen;
    }
    if (tab.id === "tab-results") results(state);
    else if (tab.id === "tab-picture") showWaiting();
  };
  for (const [place, tab] of tabs.entries()) {
    tab.addEventListener("click", () => choose(tab));
    tab.addEventListener("keydown", (event) => {
      const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!by) return;
      const next = tabs[(place + by + tabs.length) % tabs.length];
      next.focus();
      choose(next);
    });
  }
}

async function save(state) {
  try {
    const conflict = await state.save();
    if (conflict && confirm(`${conflict}. Write over it?`)) await state.save(true);
    words.textContent = state.changed ? conflict : "saved";
  } catch (error) {
    words.textContent = error.message;
  }
}

function buildTools(state) {
  byId("undo").addEventListener("click", () => state.undo());
  byId("redo").addEventListener("click", () => state.redo());
  byId("save").addEventListener("click", () => save(state));
  const theme = byId("theme");
  const dark = (on) => {
    document.documentElement.dataset.theme = on ? "dark" : "light";
    theme.setAttribute("aria-pressed", String(on));
  };
  dark(window.matchMedia("(prefers-color-scheme: dark)").matches);
  theme.addEventListener("click", () => dark(theme.getAttribute("aria-pressed") !== "true"));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey)) return;
    const name = event.key.toLowerCase();
    if (name === "s") save(state);
    else if (name === "z" && event.shiftKey) state.redo();
    else if (name === "z") state.undo();
    else if (name === "y") state.redo();
    else return;
    event.preventDefault();
  });
  window.addEventListener("beforeunload", (event) => { if (state.changed) event.preventDefault(); });
  byId("knobs").addEventListener("focusin", (event) => {
    const key = event.target.closest?.("[data-key]")?.dataset.key;
    if (key) { showLine(key); link(key); }
  });
  byId("knobs").addEventListener("focusout", () => link(""));
}

async function begin() {
  const start = await get("api/start");
  byId("file").textContent = start.file;
  const state = new State(start.text);
  buildKnobs(start.groups, state);
  buildEmf();
  buildPicture(turnedTo);
  buildText(state);
  buildTabs(state);
  buildTools(state);
  state.listen(showAnswer);
  buildWork(state, start, start.groups);
  state.ask();
  setInterval(() => { if (lost) state.ask(); }, 2000);
}

begin().catch((error) => { words.textContent = error.message; });
