// What the views say about the steps of a path: notes by hand, moves into each step, words for both.

import { degreeName, notesOf, noteName, symbolText } from "../words.js";

const MADE = new WeakMap();

/** The steps of a path, each with `notes` (hand beside each), `moves`, the sounding step `before`, and `startsBar`. */
export function stepsOf(path) {
  if (!MADE.has(path)) MADE.set(path, joined(path));
  return MADE.get(path);
}

function joined(path) {
  const steps = path.steps.map((step, index) => ({ ...step, index, notes: notesOf(step.voicing), startsBar: startsBar(path.steps, index) }));
  let before = path.loop_motion === null ? null : steps.findLast(({ voicing }) => voicing) ?? null;
  for (const step of steps) {
    step.before = step.voicing ? before : null;
    step.joined = step.moves.length ? movesOfStep(step) : stillOf(step.notes);
    if (step.voicing) before = step;
  }
  return steps;
}

// A measure begins where its number or repetition changes, or where a one-bar form comes round.
function startsBar(steps, index) {
  const [before, step] = [steps[index - 1], steps[index]];
  return !before || before.measure !== step.measure || before.repetition !== step.repetition || step.beat <= before.beat;
}

const stillOf = (notes) => notes.map((note) => ({ ...note, from: note.midi }));
const upperOf = (notes) => notes.filter((note) => !note.is_bass);

// Each move has the note that it leads to and `from`, a MIDI number.
function movesOfStep(step) {
  const upper = step.moves.map((move) => ({ ...step.notes.find((note) => note.midi === move.to_midi && !note.is_bass), from: move.from_midi }));
  return [...bassMove(step.before?.notes ?? [], step.notes), ...upper.filter((move) => move.midi !== undefined)];
}

function bassMove(before, notes) {
  const [last, bass] = [before.find((note) => note.is_bass), notes.find((note) => note.is_bass)];
  return bass ? [{ ...bass, from: last?.midi ?? bass.midi }] : [];
}

/** The moves from one step into any voicing, voice by voice; of unlike sizes, each note from the nearest. */
export function movesInto(before, voicing) {
  const notes = notesOf(voicing);
  if (!before) return stillOf(notes);
  const [from, to] = [upperOf(before.notes), upperOf(notes)];
  const nearest = (midi) => from.reduce((best, note) => (Math.abs(note.midi - midi) < Math.abs(best.midi - midi) ? note : best), from[0]);
  const upper = to.map((note, voice) => ({ ...note, from: (from.length === to.length ? from[voice] : nearest(note.midi) ?? note).midi }));
  return [...bassMove(before.notes, notes), ...upper];
}

/** The lowest and the highest note of some steps. */
export function pitchRange(steps) {
  const all = steps.flatMap(({ midi_notes: notes }) => notes);
  return all.length ? [Math.min(...all), Math.max(...all)] : [60, 72];
}

/** The step four bars on or back; `by` is 1 or -1. */
export function fourBarsFrom(steps, index, by) {
  const starts = steps.filter((step) => step.startsBar).map((step) => step.index);
  const bar = starts.findLastIndex((start) => start <= index);
  return starts[Math.min(starts.length - 1, Math.max(0, bar + 4 * by))] ?? 0;
}

/** The titled chart's head, as far as its text says it. */
export function chartHead(chart) {
  const said = (name) => new RegExp(`^\\s*${name}:\\s*(.+)$`, "m").exec(chart?.text ?? "")?.[1].trim() ?? chart?.[name] ?? "";
  return { title: said("title"), key: said("key") };
}

// --- words --------------------------------------------------------------------------------------

/** The beat as people write it: 1, 2.5. */
export const beatOf = ({ beat }) => String(Math.round(beat * 100) / 100);
export const placeOf = (step) => `${step.measure}.${beatOf(step)}`;

/** All notes of a voicing in words, as a screen reader says them. */
export function spokenNotes(symbol, notes) {
  const spoken = ["left", "right"].map((hand) => {
    const part = notes.filter((note) => note.hand === hand);
    return part.length ? `${hand} hand ${part.map(({ note, degree }) => `${noteName(note)}, degree ${degreeName(degree)}`).join("; ")}` : "";
  });
  return `${symbolText(symbol)}: ${spoken.filter(Boolean).join("; ") || "the hands rest"}.`;
}
