// What the page asks of its server. Addresses are relative to the page's own, which holds the token.

export class Told extends Error {
  constructor(words, status) { super(words); this.status = status; }
}

let heard = () => {};
/** Called with words where the server does not answer, with nothing where it does. */
export function whenLost(listener) { heard = listener; }

async function asked(path, options) {
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    heard("The server does not answer. Your changes are kept here: start it again with pcbstator page, or save the text elsewhere.");
    throw new Told("the server does not answer", 0);
  }
  const found = await answer.json().catch(() => ({}));
  if (answer.status === 403 || answer.status === 421) {
    heard("The server was started anew, with another address: open the one that it printed. The text here can still be copied.");
  } else heard("");
  if (!answer.ok) throw new Told(found.error || `refused (${answer.status})`, answer.status);
  return found;
}

export const get = (path) => asked(path, { cache: "no-store" });

export const post = (path, body) =>
  asked(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
