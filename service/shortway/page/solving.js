// The answer to the page's question: asked after a pause in typing or at once after a choice, and never late.

import { callApi, problemOf, retryLists } from "./api.js";
import { chartBody, keptLocks, locksAsked, pinsOf } from "./state/question.js";
import { alignSteps } from "./state/alignment.js";
import { isSame, QUESTION } from "./state/store.js";
import { countNoun } from "./words.js";

const PAUSE = 350;

/**
 * The answer is `{path, request, stale, problem, phase, exercise}`: the last path and the paths request that it
 * answers, whether the question has changed since, why it could not be answered, and one of "empty", "loading",
 * "stale", "ready" and "error". `exercise` has the keys of a path through all keys.
 */
export function createSolving(store, announce = () => {}) {
  let answer = { path: null, request: null, stale: false, problem: null, phase: "empty", exercise: null };
  let solved = null; // the question of `answer.path`
  let turn = 0;
  let waiting = 0;
  let isSettling = false;
  let isPlaced = false; // whether the place is meant, and does not follow its chord
  let call = new AbortController();
  const listeners = new Set();

  function tell(patch) {
    answer = Object.freeze({ ...answer, ...patch });
    for (const listener of listeners) listener(answer);
  }

  function giveUp() {
    turn += 1;
    clearTimeout(waiting);
    call.abort();
    call = new AbortController();
  }

  function ask(pause = 0) {
    giveUp();
    const mine = turn;
    const { chart } = store.get();
    if (!chart.file && !chart.text.trim()) {
      return tell({ path: null, request: null, stale: false, problem: null, phase: "empty", exercise: null });
    }
    const isOld = answer.path !== null;
    tell({ stale: isOld, problem: null, phase: isOld && pause ? "stale" : "loading" });
    waiting = setTimeout(() => solve(mine, call.signal), pause);
  }

  async function solve(mine, signal) {
    tell({ phase: "loading" });
    const state = store.get();
    const isSure = solved !== null && ["chart", "preset", "details"].every((name) => isSame(state[name], solved[name]));
    try {
      const found = await findPath(state, { isSure, signal });
      if (mine === turn) settle(state, found);
      retryLists();
    } catch (error) {
      if (mine === turn) tell({ phase: "error", problem: problemOf(error), stale: answer.path !== null });
    }
  }

  // Locks and place are counted in the new path before anybody sees it.
  function settle(state, { path, request, locks, exercise }) {
    const isEdited = answer.path !== null && !isSame(solved.chart, state.chart);
    const at = store.get().place;
    const place = isEdited && !isPlaced ? placeIn(answer.path, path, at) : Math.min(at, path.steps.length - 1);
    isPlaced = false;
    const lost = state.locks.length - locks.length;
    solved = { ...state, locks, keep: null };
    isSettling = true;
    store.set({ locks, keep: null, place });
    isSettling = false;
    tell({ path, request, exercise, stale: false, problem: null, phase: "ready" });
    if (lost > 0) announce(`${countNoun(lost, "lock")} could not be kept, for the chord is gone or the notes do not fit. Undo brings ${lost === 1 ? "it" : "them"} back.`);
  }

  store.subscribe((state, before, options) => {
    if (isSettling || QUESTION.every((name) => isSame(state[name], before[name]))) return;
    isPlaced ||= options.isPlaced;
    const isAnswered = solved !== null && answer.path !== null && QUESTION.every((name) => isSame(state[name], solved[name]));
    if (!isAnswered) return ask(options.undoable === "typing" ? PAUSE : 0);
    isPlaced = false;
    giveUp();
    tell({ stale: false, problem: null, phase: "ready" });
  });

  return {
    get: () => answer,
    subscribe(listener) {
      listeners.add(listener);
      listener(answer);
      return () => listeners.delete(listener);
    },
    /** Asks again, as after a token was given. */
    ask,
  };
}

/** A paths request of the state, without its locks. */
export function pathRequest({ chart, preset, details, loop }) {
  const { top_line, ...setting } = details;
  return { chart: chartBody(chart), setting: { preset, ...setting }, loop, ...(top_line ? { top_line } : {}) };
}

async function findPath(state, { isSure, signal }) {
  if (state.exercise) return findExercise(state, signal);
  const asked = pathRequest(state);
  const held = await locksAsked(state, asked.chart, { isSure, signal });
  const path = await callApi("/v1/paths", { ...asked, ...held, with_least_motion: true }, { signal });
  const locks = keptLocks(held, path);
  return { path, request: { ...asked, ...(locks.length ? { pins: pinsOf(locks) } : {}) }, locks, exercise: null };
}

// The chart through its keys; once voicings are locked there, the path through that chart. A score repeats the
// voicings that were found.
async function findExercise(state, signal) {
  const asked = { ...pathRequest(state), ...state.exercise };
  const found = await callApi("/v1/exercises", asked, { signal });
  const { key_order, keys, ...rest } = asked;
  const request = { ...rest, chart: found.chart, setting: found.path.setting };
  const held = state.locks.length ? { keep: pinsOf(state.locks) } : {};
  const path = held.keep ? await callApi("/v1/paths", { ...request, ...held, with_least_motion: true }, { signal }) : found.path;
  const pins = path.steps.flatMap(({ voicing }, step) => (voicing ? [{ step, midi_notes: voicing.midi_notes }] : []));
  return { path, request: { ...request, pins }, locks: keptLocks(held, path), exercise: { ...found, asked } };
}

// The step of the new path that stands for step `place` of the old one.
function placeIn(old, path, place) {
  const pair = alignSteps(old.steps, path.steps).findLast(([k]) => k <= place);
  return pair ? pair[1] : 0;
}
