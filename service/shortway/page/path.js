// The path on screen: requested with the form, shown as steps and pictures, alone or through the keys.

import { callApi } from "./api.js";
import { lockKept, lockedRequest } from "./locks.js";
import { drawPictures } from "./pictures.js";
import { clearProblems, showProblem } from "./problems.js";
import { clearReview } from "./review.js";
import { stopPlayback } from "./playback.js";
import { countNoun, createButton, el, setStatus, state } from "./state.js";
import { goToStep, showSteps } from "./step_table.js";

export async function solvePath() {
  const number = ++state.asked;
  let asked = {};
  stopPlayback();
  clearProblems();
  setStatus("Finding the path…");
  try {
    asked = await lockedRequest();
    const path = await callApi("/v1/paths", asked);
    if (number !== state.asked) return;
    const lost = lockKept(asked, path);
    showPath(path, asked);
    setStatus(`Cost ${path.cost}, motion ${path.motion} semitones over ${path.steps.length} steps; proven optimal among ${path.size.candidates} voicings.${lost}`);
    await drawPictures(number, asked);
  } catch (error) {
    if (number === state.asked) showProblem(error, "other-problem", asked);
  }
}

export function showPath(path, asked) {
  Object.assign(state, { path, request: asked, at: Math.min(state.at, path.steps.length - 1) });
  clearReview();
  showExercise();
  showSteps();
}

// The path through the chart as typed or opened; what was locked in an exercise stays there.
export function solveChart() {
  if (state.exercise) state.pins.clear();
  state.exercise = null;
  solvePath();
}

function showExercise() {
  const { exercise } = state;
  el("exercise").hidden = !exercise;
  if (!exercise) return;
  const inferred = exercise.inferred ? ", estimated from the chords" : "";
  el("exercise-about").textContent = `In ${countNoun(exercise.sections.length, "key")}; the chart's own key is ${exercise.key}${inferred}.`;
  el("exercise-keys").replaceChildren(...exercise.sections.map(({ key, step }) => createButton(key, () => goToStep(step))));
}
