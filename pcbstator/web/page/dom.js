// Small helpers for elements.

/** An element with properties, attributes ("aria-…", "data-…", role …) and children. */
export function el(tag, properties = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === undefined || value === null) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "class") made.className = value;
    else if (name in made && !name.includes("-")) made[name] = value;
    else made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== undefined && child !== null));
  return made;
}

export const byId = (id) => document.getElementById(id);

/** An element of a drawing. */
export function drawn(tag, attributes = {}, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

/** A drawing from its text; scripts in it would not run. */
export function drawing(text) {
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  return document.importNode(parsed, true);
}

/** A number as it is typed: no more digits than it needs. */
export const plain = (value) => (typeof value === "number" ? String(Number(value.toPrecision(9))) : String(value));
