// The question that the form asks, and its answer on screen.

import { call, request } from "./asking.js";
import { showExercise } from "./exercise.js";
import { pictures } from "./pictures.js";
import { clearProblems, refused } from "./problems.js";
import { clearReview } from "./review.js";
import { stop } from "./sound.js";
import { say, state } from "./state.js";
import { show } from "./steps.js";

export async function solve() {
  const number = ++state.asked;
  let asked = {};
  stop();
  clearProblems();
  say("Looking for the path…");
  try {
    asked = request();
    const path = await call("/v1/paths", asked);
    if (number !== state.asked) return;
    shown(path, asked);
    say(`Total motion ${path.motion.total} semitones over ${path.steps.length} steps, the least of all paths through ${path.size.candidates} voicings.`);
    await pictures(number, asked);
  } catch (error) {
    if (number === state.asked) refused(error, "other-problem", asked);
  }
}

export function shown(path, asked) {
  Object.assign(state, { path, request: asked, at: Math.min(state.at, path.steps.length - 1) });
  clearReview();
  showExercise();
  show();
}
