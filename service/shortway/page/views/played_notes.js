// Played notes as text: one step per line or between bars, notes by name or MIDI number, "-" for silence,
// "%" for the step before. Text before a colon is ignored.

import { requestError } from "../api.js";

export function parsePlayed(text) {
  const steps = [];
  for (const { notes } of cells(text)) {
    const words = notes.map(([word]) => word);
    if (words.length === 1 && words[0] === "%" && steps.length) steps.push(steps.at(-1));
    else if (words.length === 1 && words[0] === "-") steps.push([]);
    else steps.push(words.map((word, note) => midiNumber(word, `/played/${steps.length}/${note}`)));
  }
  return steps;
}

const SEMITONES = { C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11, "##": 2, "#": 1, b: -1, bb: -2 };

function midiNumber(word, pointer) {
  if (/^\d+$/.test(word)) return Number(word);
  const [, letter, sign, octave] = /^([A-G])(##|#|bb|b)?(-?\d)$/.exec(word) ?? [];
  if (letter) return SEMITONES[letter] + (SEMITONES[sign] ?? 0) + 12 * (Number(octave) + 1);
  const detail = `'${word}' is not a pitch`;
  throw requestError(detail, [{ pointer, detail, expected: "a letter A to G, a sign and an octave, such as Eb4; or a MIDI number" }]);
}

// The position of a step or one of its notes in the text, or null.
export function positionOf(text, step, note = 0) {
  const cell = cells(text)[step];
  return cell ? cell.notes[note]?.[1] ?? cell.at : null;
}

export function formatPlayed(steps) {
  return steps.map((step, k) => `${k + 1} ${step.symbol}: ${notesOf(step)}`).join("\n");
}

function notesOf({ voicing }) {
  return voicing ? [...voicing.left, ...voicing.right].map((note) => note.note).join(" ") : "-";
}

function cells(text) {
  const found = [];
  let at = 0;
  for (const line of text.split("\n")) {
    if (line.trim()) found.push(...lineCells(line, at));
    at += line.length + 1;
  }
  return found;
}

// The cells of a line without their labels; bars at its ends are borders.
function lineCells(line, from) {
  const parts = line.split("|");
  let at = from;
  const all = parts.map((part) => {
    const label = part.lastIndexOf(":") + 1;
    const begin = at + label;
    at += part.length + 1;
    return { at: begin, notes: [...part.slice(label).matchAll(/[^\s,]+/g)].map((m) => [m[0], begin + m.index]) };
  });
  const first = parts.length > 1 && !parts[0].trim() ? 1 : 0;
  const last = parts.length > 1 && !parts.at(-1).trim() ? -1 : undefined;
  return all.slice(first, last);
}
