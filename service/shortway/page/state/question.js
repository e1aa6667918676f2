// What is asked of the service: the chart's body, and locks that follow their chords when the chart is edited.

import { callApi, requestError } from "../api.js";
import { alignSteps } from "./alignment.js";

/** The chart as the service reads it. Raises what points at the place where typed JSON is broken. */
export function chartBody({ text, format, measureEach, file }) {
  if (file) return file.chart;
  const options = { ...(format ? { text_format: format } : {}), ...(measureEach ? { measure_each: measureEach } : {}) };
  if (format || !text.trim().startsWith("{")) return { text, ...options };
  try {
    return JSON.parse(text);
  } catch (error) {
    throw requestError("The chart begins with { but is not valid JSON.", [{
      pointer: "/chart/text", position: jsonErrorPosition(text, error.message), detail: `cannot read the JSON: ${error.message}`,
      expected: "JSON such as {\"measures\": [[{\"symbol\": \"F6\"}]]}, or text such as | F6 | C7 |",
    }]);
  }
}

// Error messages of JSON.parse differ between browsers.
function jsonErrorPosition(text, words) {
  const position = /position (\d+)/.exec(words);
  if (position) return Number(position[1]);
  const place = /line (\d+) column (\d+)/.exec(words);
  if (!place) return text.length;
  const lines = text.split("\n").slice(0, Number(place[1]) - 1);
  return lines.reduce((length, line) => length + line.length + 1, Number(place[2]) - 1);
}

export const pinsOf = (locks) => locks.map(({ step, midiNotes }) => ({ step, midi_notes: midiNotes })).sort((a, b) => a.step - b.step);

/**
 * The request for a score or a performance of the path that was found: with its voicings pinned, so that a long chart is
 * not solved again.
 */
export function foundRequest({ path, request }) {
  const pins = path.steps.flatMap(({ voicing }, step) => (voicing ? [{ step, midi_notes: voicing.midi_notes }] : []));
  return { ...request, pins };
}

/** The change of state that edits the chart: from then on `keep` has the steps that the locks count. */
export function edited(state, path, chart) {
  if (state.exercise) return { chart, exercise: null, locks: [], keep: null };
  const steps = path?.steps.map(({ measure, beat, symbol }) => ({ measure, beat, symbol }));
  return { chart, keep: state.locks.length ? state.keep ?? steps ?? null : null };
}

/**
 * The locks as a paths request takes them: `pins` where nothing but locks changed since the last path, else `keep`,
 * at the steps where their chords are now, which never leads to an error.
 */
export async function locksAsked({ locks, keep }, chart, { isSure, signal }) {
  if (!locks.length) return {};
  if (isSure && !keep) return { pins: pinsOf(locks) };
  if (!keep) return { keep: pinsOf(locks) };
  const read = await callApi("/v1/charts", chart, { signal }).catch(() => null);
  if (!read) return {}; // the path's request says what is wrong, and where
  const now = new Map(alignSteps(keep, read.steps));
  return { keep: pinsOf(locks.filter(({ step }) => now.has(step)).map((lock) => ({ ...lock, step: now.get(lock.step) }))) };
}

/** The locks that hold in the path that was found; `asked` is what `locksAsked` made. */
export function keptLocks({ pins = [], keep = [] }, path) {
  const released = new Set(path.released);
  return [...pins, ...keep].filter(({ step }) => !released.has(step) && path.steps[step]?.voicing)
    .map(({ step, midi_notes }) => ({ step, midiNotes: midi_notes, symbol: path.steps[step].symbol }));
}
