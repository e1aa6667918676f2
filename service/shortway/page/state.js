// The page's state, its elements by id, and helpers. `source` is a lead sheet used in place of the typed
// chart, `exercise` an exercise on screen; `request` and `path` are what is shown. The counters tell which
// responses are outdated. Where the chart was edited since, `edited` has the steps that `pins` count.

export const state = {
  source: null, exercise: null, recording: null, pins: new Map(), edited: null, request: null, path: null, at: 0,
  asked: 0, drawn: 0, turned: 0, reviewed: 0,
};

export const el = (id) => document.getElementById(id);
export const setStatus = (words) => { el("status").textContent = words; };

export function createElement(name, text = "", more = {}) {
  return Object.assign(document.createElement(name), { textContent: text }, more);
}

export function createButton(text, does) {
  const made = createElement("button", text, { type: "button" });
  made.addEventListener("click", does);
  return made;
}

const FLATS = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"];
const SHARPS = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];

/** The name that a player reads, as core/theory/enharmonics.py has it: C for B#, but a root keeps its name. */
function practicalName(note) {
  if (note.is_bass || note.degree === "1" || !/^(?:.bb|.##|[EB]#|[CF]b)/.test(note.note)) return note.note;
  const names = note.note[1] === "b" ? FLATS : SHARPS;
  return names[note.midi % 12] + (Math.floor(note.midi / 12) - 1);
}

export const noteNames = (notes) => notes.map((n) => practicalName(n) + (n.degree ? `\u00a0(${n.degree})` : "")).join("  ");
export const voicingNames = (voicing) => [noteNames(voicing.left), noteNames(voicing.right)].filter(Boolean).join(" | ");
export const countNoun = (count, what) => `${count} ${what}${count === 1 ? "" : "s"}`;

export function base64(bytes) {
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text);
}
