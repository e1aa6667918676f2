// Practice in all keys: the chart as typed or opened, through the keys as one path.

import { callApi, chartInput, pathOptions } from "./api.js";
import { showPath } from "./path.js";
import { drawPictures } from "./pictures.js";
import { stopPlayback } from "./playback.js";
import { clearProblems, showProblem } from "./problems.js";
import { countNoun, el, setStatus, state } from "./state.js";

export async function practiseAllKeys() {
  const number = ++state.asked;
  let asked = {};
  stopPlayback();
  clearProblems();
  setStatus("Finding the path through all keys…");
  try {
    asked = { chart: chartInput(), ...keyOrder(), ...pathOptions() };
    const found = await callApi("/v1/exercises", asked);
    if (number !== state.asked) return;
    const request = { chart: found.chart, setting: found.path.setting, loop: asked.loop, pins: pinsOf(found.path) };
    state.pins.clear();
    Object.assign(state, { exercise: { ...found, asked }, at: 0 });
    showPath(found.path, request);
    setStatus(`Cost ${found.path.cost}, motion ${found.path.motion} semitones through ${countNoun(found.sections.length, "key")}; proven optimal.`);
    await drawPictures(number, request);
  } catch (error) {
    if (number === state.asked) showProblem(error, "other-problem", asked);
  }
}

// The score of an exercise plays the voicings that were found.
function pinsOf(path) {
  return path.steps.flatMap(({ voicing }, step) => (voicing ? [{ step, midi_notes: voicing.midi_notes }] : []));
}

// Keys are separated by commas or blanks, but "C minor" is one key.
function keyOrder() {
  const keys = el("keys-wanted").value.split(/[\s,]+(?![\s,m])/).filter(Boolean);
  return keys.length ? { keys } : { key_order: el("key_order").value };
}
