// What takes longer: orders, sheets, simulation, searches. Each goes on in a process of its own and can be stopped.

import { byId, el } from "./dom.js";
import { buildExplore } from "./explore.js";
import { post } from "./server.js";

let state;

/** The forms of all that can be done. */
export function buildWork(theState, start, groups) {
  state = theState;
  const stem = start.file.replace(/\.toml$/, "");
  const place = (id, words, value) => el("label", { htmlFor: id }, words, el("input", { type: "text", id, value }));
  const button = (words, run) => el("button", { type: "button", onclick: run }, words);
  const folder = () => byId("folder").value;
  const other = el("input", { type: "file", id: "other", accept: ".toml" });
  const simple = el("fieldset", {}, el("legend", {}, "To order, build and measure"),
    el("p", { class: "help" }, `Folders lie in ${start.folder}.`),
    place("folder", "Folder", `${stem}-order`),
    el("div", { class: "tools" },
      button("Make", () => begin("make", "Make", folder())),
      button("Bench sheet", () => begin("bench", "Bench sheet", `${folder()}-bench`)),
      button("Simulate", () => begin("simulate", "Simulate", `${folder()}-motion`)),
      button("Verify", () => begin("verify", "Verify", folder()))),
    place("readings", "Readings of the built motor", `${stem}-order-bench/bench.toml`),
    el("div", { class: "tools" }, button("Compare", () => begin("compare", "Compare", byId("readings").value))));
  const looks = el("fieldset", {}, el("legend", {}, "To look at"),
    el("div", { class: "tools" }, button("Report with all figures", () => begin("details", "Report", "-"))),
    el("label", { htmlFor: "other" }, "A second design", other),
    el("div", { class: "tools" }, button("Side by side", () => beside(other)),
      button("Beside the saved one", () => begin("beside", "Side by side", "-", { other: state.saved, name: start.file }))),
    el("div", { class: "tools" }, button("Suggest designs", () => begin("suggest", "Suggest", "-"))));
  byId("panel-work").append(el("div", { id: "under-way" }),
    el("iframe", { id: "made", title: "What was made", hidden: true, sandbox: "" }), simple, looks, buildExplore(state, groups, begin, stem));
}

async function beside(field) {
  const file = field.files[0];
  if (!file) { field.focus(); return; }
  begin("beside", "Side by side", "-", { other: await file.text(), name: file.name });
}

/** Begins some work and shows how it goes on. */
export async function begin(task, title, place, more = {}) {
  const words = el("span", { role: "status" }, "begun");
  const bar = el("progress", { "aria-label": title });
  const stop = el("button", { type: "button" }, "Stop");
  const picture = el("div", { class: "picture" });
  const result = el("div", { class: "result" });
  const line = el("div", { class: "work" }, el("p", {}, el("b", {}, title), " ", words), el("div", { class: "tools" }, bar, stop), picture, result);
  byId("under-way").prepend(line);
  byId("panel-work").scrollTop = 0;
  let id;
  try {
    ({ id } = await post("api/work", { task, place, text: state.text, more }));
  } catch (error) {
    words.textContent = error.message;
    bar.remove();
    stop.remove();
    return;
  }
  stop.addEventListener("click", () => post(`api/work/${id}/stop`, {}).catch(() => {}));
  const events = new EventSource(`api/work/${id}/events`);
  events.onmessage = ({ data }) => {
    const event = JSON.parse(data);
    words.textContent = event.words ?? "";
    if (event.of) Object.assign(bar, { max: event.of, value: event.done });
    if (event.picture) showPicture(picture, event.picture);
    if (!event.end) return;
    events.close();
    line.classList.add(event.end);
    bar.remove();
    stop.textContent = "Dismiss";
    stop.addEventListener("click", () => line.remove());
    if (event.page) {
      result.append(el("button", { type: "button", onclick: () => showPage(id) }, "Show the page"),
        el("a", { href: `made/${id}`, target: "_blank", rel: "noopener" }, "in a window of its own"));
      showPage(id);
    }
    if (event.choices) result.append(choices(event));
  };
}

/** A figure as an image: its own styles stay within it. */
function showPicture(place, text) {
  place.replaceChildren(el("img", { alt: "Pareto front: the designs that no other design beats", src: `data:image/svg+xml,${encodeURIComponent(text)}` }));
}

function showPage(id) {
  const frame = byId("made");
  frame.hidden = false;
  frame.src = `made/${id}`;
}

/** Designs to choose from: the chosen one becomes the design, and can be undone. */
function choices(event) {
  const use = async (one) => state.edit(one.text ?? (await post("api/take", { place: event.place, number: one.number })).text);
  return el("ul", {}, ...event.choices.map((one) => el("li", {}, el("button", { type: "button", onclick: () => use(one) }, `Use ${one.name}`), ` ${one.words}`)));
}
