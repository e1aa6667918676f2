// Practice in all keys: the chart as typed or opened, through the keys as one path.

import { call, chart, conditions } from "./asking.js";
import { pictures } from "./pictures.js";
import { clearProblems, refused } from "./problems.js";
import { shown, solve } from "./solving.js";
import { stop } from "./sound.js";
import { button, el, many, say, state } from "./state.js";
import { goTo } from "./steps.js";

export async function practise() {
  const number = ++state.asked;
  let asked = {};
  stop();
  clearProblems();
  say("Looking for the path through all keys…");
  try {
    asked = { chart: chart(), way: way(), ...conditions() };
    const found = await call("/v1/exercises", asked);
    if (number !== state.asked) return;
    const request = { chart: found.chart, setting: asked.setting, loop: asked.loop };
    state.pins.clear();
    Object.assign(state, { exercise: { ...found, asked }, at: 0 });
    shown(found.path, request);
    say(`Total motion ${found.path.motion.total} semitones through ${many(found.keys.length, "key")}, the least of all paths.`);
    await pictures(number, request);
  } catch (error) {
    if (number === state.asked) refused(error, "other-problem", asked);
  }
}

// Keys are parted by commas or blanks, but "C minor" is one.
function way() {
  const keys = el("keys-wanted").value.split(/[\s,]+(?![\s,m])/).filter(Boolean);
  return keys.length ? keys : el("way").value;
}

// The path through the chart as typed or opened; what was locked in an exercise stays there.
export function ownChart() {
  if (state.exercise) state.pins.clear();
  state.exercise = null;
  solve();
}

export function showExercise() {
  const { exercise } = state;
  el("exercise").hidden = !exercise;
  if (!exercise) return;
  const heard = exercise.inferred ? ", heard in the chords" : "";
  el("exercise-about").textContent = `In ${many(exercise.keys.length, "key")}; the chart's own is ${exercise.key}${heard}.`;
  el("exercise-keys").replaceChildren(...exercise.keys.map(({ key, step }) => button(key, () => goTo(step))));
}
