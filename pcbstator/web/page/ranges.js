// How far a slider goes: around the value, within what the key may be.

const WINDOW = 2; // from the value over this to the value times it

/** Ends and step of the slider of a knob at a value. */
export function span(knob, value) {
  let { low, high } = knob;
  if (knob.kind === "count") {
    const step = knob.step || 1;
    if (!knob.whole) {
      low = Math.max(low, low + Math.floor((value / WINDOW - low) / step) * step);
      high = Math.min(high, Math.max(low + 6 * step, low + Math.ceil((value * WINDOW - low) / step) * step));
    }
    return { low, high, step };
  }
  if (!knob.whole) {
    const size = Math.abs(value) || Math.min(1, Math.abs(high));
    if (low < 0) [low, high] = [Math.max(low, -WINDOW * size), Math.min(high, WINDOW * size)];
    else [low, high] = [value ? Math.max(low, value / WINDOW) : low, Math.min(high, size * WINDOW)];
  }
  const step = niceStep(high - low);
  if (!knob.whole) [low, high] = [Math.max(low, rounded(low, step)), Math.min(high, rounded(high, step))];
  return { low, high, step };
}

/** One of 1, 2, 5 times a power of ten: about a hundred of them in a span. */
export function niceStep(width) {
  const raw = width / 100;
  const power = 10 ** Math.floor(Math.log10(raw));
  return [1, 2, 5, 10].map((part) => part * power).find((step) => step >= raw * 0.999);
}

/** A value on the grid of a step, without the digits that binary numbers add. */
export const rounded = (value, step) => Number((Math.round(value / step) * step).toPrecision(10));

/** The next value up or down by some steps, within what the key may be. */
export function stepped(knob, value, steps) {
  if (knob.allowed) {
    const place = knob.allowed.findIndex((one) => one >= value);
    return knob.allowed[Math.min(Math.max((place < 0 ? knob.allowed.length - 1 : place) + Math.sign(steps), 0), knob.allowed.length - 1)];
  }
  const { step } = span(knob, value);
  const moved = knob.kind === "count" ? value + steps * step : rounded(value + steps * step, step);
  return Math.min(Math.max(moved, knob.low), knob.high);
}
