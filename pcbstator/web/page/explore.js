// A study of the design as it stands: which keys are varied, what is wanted, how many designs are looked at.

import { byId, el } from "./dom.js";

const MOST = 6; // keys that are varied at once
const WANTED = [
  ["magnetic.motor_constant_n_m_per_sqrt_w", "most", "motor constant, the most"],
  ["cost.total", "least", "cost, the least"],
  ["thermal.continuous_torque_n_m", "most", "continuous torque, the most"],
  ["magnetic.torque_constant_n_m_per_a", "most", "torque constant, the most"],
  ["electrical.phase_resistance_ohm", "least", "phase resistance, the least"],
  ["mechanical.rotor_mass_g", "least", "mass of the rotor, the least"],
  ["magnetic.torque_ripple_ratio", "least", "torque ripple, the least"],
];

export function buildExplore(state, groups, begin, stem) {
  const knobs = groups.filter((group) => ["winding", "copper", "magnets"].includes(group.name))
    .flatMap((group) => group.sections.flatMap((section) => section.knobs))
    .filter((knob) => knob.first && (knob.kind === "number" || knob.kind === "count"));
  const rows = el("div", { id: "varied" });
  const add = (path) => {
    if (rows.children.length >= MOST) return;
    const number = rows.children.length + 1;
    const key = el("select", { "aria-label": `Key ${number}` }, ...knobs.map((knob) => el("option", { value: knob.path }, `${knob.label} (${knob.path})`)));
    const from = el("input", { type: "text", inputMode: "decimal", "aria-label": `From, key ${number}` });
    const to = el("input", { type: "text", inputMode: "decimal", "aria-label": `To, key ${number}` });
    const ends = () => {
      const value = state.values[key.value];
      const whole = knobs.find((knob) => knob.path === key.value).kind === "count";
      if (typeof value !== "number") return;
      from.value = whole ? Math.max(1, Math.round(value * 0.6)) : Number((value * 0.6).toPrecision(3));
      to.value = whole ? Math.round(value * 1.4) : Number((value * 1.4).toPrecision(3));
    };
    key.value = path;
    key.addEventListener("change", ends);
    ends();
    rows.append(el("div", { class: "vary" }, key, from, " to ", to,
      el("button", { type: "button", "aria-label": `Take key ${number} away`, onclick: (event) => event.currentTarget.parentElement.remove() }, "×")));
  };
  const wanted = [0, 1].map((number) => {
    const made = el("select", { id: `wanted-${number}` }, ...(number ? [el("option", { value: "" }, "nothing else")] : []),
      ...WANTED.map(([key, , words]) => el("option", { value: key }, words)));
    made.value = WANTED[number][0];
    return el("label", { htmlFor: made.id }, number ? "and" : "Wanted", made);
  });
  const begun = () => {
    const listed = wanted.map((label) => label.querySelector("select").value).filter(Boolean);
    const variables = [...rows.children].map((row) => {
      const [from, to] = row.querySelectorAll("input");
      return { key: row.querySelector("select").value, from: Number(from.value), to: Number(to.value) };
    });
    const objectives = [...new Set(listed)].map((key) => ({ key, goal: WANTED.find((one) => one[0] === key)[1] }));
    const study = { title: "Page", budget: Math.round(Number(byId("budget").value)), variables, objectives };
    begin("explore", "Explore", byId("study").value, { study });
  };
  const made = el("fieldset", { id: "explore" }, el("legend", {}, "Explore around this design"), rows,
    el("div", { class: "tools" }, el("button", { type: "button", onclick: () => add(knobs[0].path) }, "Vary another key")), ...wanted,
    el("label", { htmlFor: "budget" }, "Designs to look at", el("input", { type: "text", inputMode: "numeric", id: "budget", value: "400" })),
    el("label", { htmlFor: "study" }, "Folder that keeps them", el("input", { type: "text", id: "study", value: `${stem}-study` })),
    el("div", { class: "tools" }, el("button", { type: "button", onclick: begun }, "Explore")));
  state.listen((answer) => {
    if (rows.children.length || !answer.values) return;
    for (const path of ["winding.turns", "board.track_width_mm", "rotor.magnet.thickness_mm"]) {
      if (typeof state.values[path] === "number") add(path);
    }
  });
  return made;
}
