// Locked voicings through an edit of the chart: they are kept at the steps that are still there, and never
// lead to an error.

import { alignSteps } from "./alignment.js";
import { callApi, pathRequest } from "./api.js";
import { countNoun, state } from "./state.js";

// The request of the form; after an edit, with what was locked to keep.
export async function lockedRequest() {
  const asked = pathRequest();
  if (!state.edited) return asked;
  const read = await callApi("/v1/charts", asked.chart).catch(() => null); // the path's request says what is wrong
  if (!read) return asked;
  const now = new Map(alignSteps(state.edited, read.steps));
  const still = [...state.pins].filter(([step]) => now.has(step));
  return still.length ? { ...asked, keep: still.map(([step, notes]) => ({ step: now.get(step), midi_notes: notes })) } : asked;
}

// Locks what was kept, and tells what was not.
export function lockKept({ keep = [] }, { released }) {
  if (!state.edited) return "";
  const kept = keep.filter(({ step }) => !released.includes(step));
  const lost = state.pins.size - kept.length;
  Object.assign(state, { edited: null, pins: new Map(kept.map(({ step, midi_notes }) => [step, midi_notes])) });
  return lost ? ` ${countNoun(lost, "locked voicing")} could not be kept.` : "";
}
