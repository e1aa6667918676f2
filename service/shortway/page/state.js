// What every module shares: the page's one state, its elements by id, and small helpers.
// `source` is a lead sheet that is asked about in place of the typed chart, `exercise` either of them in
// all keys; `request` and `path` are the answer on screen. Counters tell what is late.

export const state = {
  source: null, exercise: null, recording: null, pins: new Map(), request: null, path: null, at: 0,
  asked: 0, drawn: 0, turned: 0, reviewed: 0,
};

export const el = (id) => document.getElementById(id);
export const say = (words) => { el("status").textContent = words; };

export function make(name, text = "", more = {}) {
  return Object.assign(document.createElement(name), { textContent: text }, more);
}

export function button(text, does) {
  const made = make("button", text, { type: "button" });
  made.addEventListener("click", does);
  return made;
}

export const named = (notes) => notes.map((n) => (n.degree ? `${n.note}\u00a0(${n.degree})` : n.note)).join("  ");
export const voiced = (voicing) => [named(voicing.left), named(voicing.right)].filter(Boolean).join(" | ");
export const many = (count, what) => `${count} ${what}${count === 1 ? "" : "s"}`;

export function base64(bytes) {
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text);
}
