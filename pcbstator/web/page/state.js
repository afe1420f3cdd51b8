// The design as it stands on this page: its text, the keys that were turned since, undo and redo, and the answers of the
// server. The text is the design; knobs only change it.

import { post, Told } from "./server.js";

const QUIET = 250; // ms without a change, after which the motor as built and the ways out are asked for
const ONE_MOVE = 700; // ms within which changes of one key are undone together
const MOST_STEPS = 200;

export class State {
  constructor(text) {
    this.page = Array.from(crypto.getRandomValues(new Uint8Array(9)), (byte) => byte.toString(36)).join("").slice(0, 20);
    this.text = this.saved = text;
    this.settings = {};
    this.values = {};
    this.undone = [];
    this.steps = [];
    this.number = this.version = 0;
    this.drawn = "";
    this.running = this.again = false;
    this.last = { key: "", at: 0 };
    this.listeners = [];
  }

  listen(listener) { this.listeners.push(listener); }
  tell(answer) { for (const listener of this.listeners) listener(answer, this); }

  get changed() { return this.text !== this.saved || Object.keys(this.settings).length > 0; }

  /** Some keys set at once; null takes a key away. */
  set(settings) {
    const key = Object.keys(settings).join();
    const now = Date.now();
    if (key !== this.last.key || now - this.last.at > ONE_MOVE) this.remember();
    this.last = { key, at: now };
    Object.assign(this.settings, settings);
    for (const [name, value] of Object.entries(settings)) {
      if (value === null) delete this.values[name];
      else this.values[name] = value;
    }
    this.ask();
  }

  /** The text as the user has edited it, or another design. */
  edit(text, one = false) {
    const now = Date.now();
    if (!one || this.last.key !== "text" || now - this.last.at > 2 * ONE_MOVE) this.remember();
    this.last = { key: "text", at: now };
    this.replace({ text, settings: one ? this.settings : {} });
  }

  remember() {
    this.steps.push({ text: this.text, settings: { ...this.settings } });
    if (this.steps.length > MOST_STEPS) this.steps.shift();
    this.undone = [];
  }

  undo() { this.step(this.steps, this.undone); }
  redo() { this.step(this.undone, this.steps); }

  step(from, to) {
    const there = from.pop();
    if (there === undefined) return;
    to.push({ text: this.text, settings: { ...this.settings } });
    this.last = { key: "", at: 0 };
    this.replace(there);
  }

  replace({ text, settings }) {
    this.text = text;
    this.settings = { ...settings };
    this.version += 1;
    this.ask();
  }

  /** Asks for the answer to the design as it stands: one at a time, and then the newest. */
  async ask() {
    clearTimeout(this.timer);
    this.tell({ asking: true });
    if (this.running) { this.again = true; return; }
    this.running = true;
    do {
      this.again = false;
      await this.answer(false);
    } while (this.again);
    this.running = false;
    if (!this.failed) this.timer = setTimeout(() => this.answer(true), QUIET);
  }

  async answer(whole) {
    const sent = { ...this.settings };
    const version = this.version;
    const number = (this.number += 1);
    let answer;
    try {
      answer = await post("api/answer", { page: this.page, number, text: this.text, settings: sent, whole, drawn: this.drawn });
      this.failed = false;
    } catch (error) {
      if (!(error instanceof Told)) throw error;
      this.failed = true;
      this.tell({ failed: error.message });
      return;
    }
    if (answer.superseded || version !== this.version || (whole && number !== this.number)) {
      if (!whole && version !== this.version) this.again = true;
      return;
    }
    this.text = answer.text;
    for (const [key, value] of Object.entries(sent)) if (this.settings[key] === value) delete this.settings[key];
    if (answer.values !== undefined) this.values = { ...answer.values, ...this.settings };
    if (answer.drawn) this.drawn = answer.drawn;
    this.tell(answer);
  }

  async save(over = false) {
    while (this.running || Object.keys(this.settings).length) {
      if (this.failed) throw new Told("the server does not answer", 0);
      await new Promise((done) => setTimeout(done, 30));
    }
    const text = this.text;
    const { conflict } = await post("api/save", { text, over });
    if (conflict) return conflict;
    this.saved = text;
    this.ask();
    return "";
  }
}
