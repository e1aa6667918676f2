// Words of the page: counts, names of notes and chords as a player reads them. Knows no document but `symbol`'s.

import { make, makeSvg } from "./dom.js";

export const sum = (numbers) => numbers.reduce((a, b) => a + b, 0);
export const countNoun = (count, what) => `${count} ${what}${count === 1 ? "" : "s"}`;

/** An id of the service as a label: "upper-structure" is "Upper structure". */
export const readable = (id) => id.replaceAll("-", " ");
export const label = (id) => readable(id).replace(/^./, (letter) => letter.toUpperCase());

/** Degrees and figures with musical signs: "b9" is "♭9". */
export const degreeName = (text) => text.replace(/b/g, "♭").replace(/#/g, "♯");

/** A note's or key's name with musical signs: "Bb4" is "B♭4". */
export const noteName = (note) => note.replace(/^([A-G])([b#]+)/, (all, letter, signs) => letter + degreeName(signs));

/** A sentence of the service with musical signs in its names and degrees. */
export function withSigns(text) {
  return text
    .replace(/\b([A-G])([b#]{1,2})(?=\d|\b|[^a-z]|maj|min|m\d|m\b|dim|sus|aug|add|alt)/g, (all, letter, signs) => letter + degreeName(signs))
    .replace(/(^|[\s(])([b#])(?=\d|[IV])/g, (all, before, sign) => before + degreeName(sign));
}

// Shorthands of Harte's labels (Harte et al., ISMIR 2005), such as D:min7, as they stand in a chart.
const HARTE = [[/^minmaj7/, "m(maj7)"], [/^hdim7/, "m7b5"], [/^min/, "m"], [/^maj(?=6|$)/, ""], [/^sus4\(b7\)/, "7sus4"]];
const written = (label) => HARTE.reduce((kind, [from, to]) => kind.replace(from, to), label.slice(1));

/** The root of a symbol, and what follows it, with musical signs. */
function symbolParts(symbol) {
  const [, root, kind, bass] = /^([A-G][b#]*)([^/]*)(\/.*)?$/.exec(symbol) ?? [null, symbol, "", ""];
  const tail = kind.startsWith(":") ? written(kind) : kind;
  const signs = tail.replace(/([b#])(?=\d|$)/g, (sign) => degreeName(sign));
  return [noteName(root), signs + (bass ? `/${/^\/[b#]/.test(bass) ? degreeName(bass.slice(1)) : noteName(bass.slice(1))}` : "")];
}

export const symbolText = (symbol) => symbolParts(symbol).join("");

/** A symbol as nodes: its root, and the rest in a smaller size. */
export function symbolNodes(symbol, isSvg = false) {
  const [root, tail] = symbolParts(symbol);
  const rest = isSvg ? makeSvg("tspan", { class: "tail" }, tail) : make("span", { className: "tail" }, tail);
  return tail ? [root, rest] : [root];
}

export const voicingName = ({ family, form }) => `${readable(family)}${form ? `, form ${form}` : ""}`;

/** The notes of a voicing, low to high, each with its hand; none of a rest. */
export const notesOf = (voicing) => ["left", "right"].flatMap((hand) => (voicing?.[hand] ?? []).map((note) => ({ ...note, hand })));
