// The verdict, the eight numbers with their change from the saved design, and the findings.

import { byId, el } from "./dom.js";
import { complaintWords, knobLabel, showKnob } from "./knobs.js";

/** The eight numbers, the requirement line by line, what is found. */
export function showNumbers(answer, state) {
  byId("eight").tBodies[0].replaceChildren(...answer.numbers.map((one) => el("tr", { title: one.meaning },
    el("th", { scope: "row" }, one.name),
    el("td", { class: "value" }, el("span", { "data-key": one.key || null }, one.value),
      one.before ? el("span", { class: "change" }, `${one.change ? `${one.change}, ` : ""}was ${one.before}`) : null))));
  showRequirement(answer, state);
  byId("findings").replaceChildren(...(answer.findings.length ? answer.findings : [null]).map(finding));
}

function showRequirement(answer, state) {
  const rows = answer.requirement;
  const met = rows.filter((row) => row.verdict === "met").length;
  const title = byId("verdict");
  title.textContent = rows.length ? `${met} of ${rows.length} met` : "No requirement";
  title.className = !rows.length ? "" : met === rows.length ? "met" : "not-met";
  const open = byId("requirement").querySelector("details")?.open ?? false;
  const good = rows.filter((row) => row.verdict === "met").map((row) => verdict(row, state));
  byId("requirement").replaceChildren(
    ...rows.filter((row) => row.verdict !== "met").map((row) => verdict(row, state)),
    rows.length ? el("details", { open, hidden: !good.length }, el("summary", {}, "What is met"), ...good) : el("p", { class: "help" }, answer.not_stated));
}

function verdict(row, state) {
  const settings = Object.entries(row.settings);
  return el("div", { class: `verdict ${row.verdict.replace(" ", "-")}`, "data-key": row.key },
    el("p", {}, el("b", {}, row.verdict), ` ${row.requirement} ${row.limit}`),
    el("p", { class: "help" }, [row.predicted && `predicted ${row.predicted}`, row.margin, row.decided_by && `decided by ${row.decided_by}`].filter(Boolean).join("; ")),
    row.way_out ? el("p", {}, row.way_out) : null,
    settings.length ? el("button", { type: "button", class: "way", onclick: () => state.set(row.settings) },
      settings.map(([key, value]) => `${key} = ${value}`).join(", ")) : null);
}

function finding(one) {
  if (!one) return el("li", {}, "none");
  return el("li", { class: `finding ${one.label}` }, el("b", {}, one.label), ` ${one.message}`,
    one.accepted ? `: ${one.accepted} ` : " ",
    one.key ? el("button", { type: "button", class: "link", onclick: () => showKnob(one.key) }, knobLabel(one.key)) : null);
}

/** What is wrong with the design, each with the way to its knob. */
export function showComplaints(complaints) {
  byId("complaints").replaceChildren(...complaints.map((one) => el("div", {},
    el("p", {}, el("b", {}, "does not fit "), el("button", { type: "button", class: "link", onclick: () => showKnob(one.key) }, one.key)),
    complaintWords(one))));
}

export function showResults(results) {
  byId("panel-results").replaceChildren(el("table", { class: "results" }, el("caption", {}, "Every result"), el("tbody", {},
    ...results.map((one) => el("tr", {}, el("th", { scope: "row" }, one.key), el("td", { class: "value", "data-key": one.key }, one.value), el("td", {}, one.meaning))))));
}
