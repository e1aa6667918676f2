// The answer to the page's question: asked after a pause in typing or at once after a choice, and never late.

import { callApi, problemOf, retryLists } from "./api.js";
import { chartBody, foundRequest, keptLocks, locksAsked, pinsOf } from "./state/question.js";
import { alignSteps } from "./state/alignment.js";
import { isSame, QUESTION } from "./state/store.js";
import { countNoun } from "./words.js";

const PAUSE = 350;

const NOTHING = { path: null, request: null, stale: false, problem: null, phase: "empty", exercise: null };

/**
 * The answer is `{path, request, stale, problem, phase, exercise}`: the last path and the paths request that it
 * answers, whether the question has changed since, why it could not be answered, and one of "empty", "loading",
 * "stale", "ready" and "error". `exercise` has the keys of a path through all keys.
 */
export function createSolving(store, announce = () => {}) {
  const answer = createAnswer(NOTHING);
  const calls = createCalls();
  let solved = null; // the question of the answer's path
  let isSettling = false;
  let isPlaced = false; // whether the place is meant, and does not follow its chord

  function ask(pause = 0) {
    calls.giveUp();
    const { chart } = store.get();
    if (!chart.file && !chart.text.trim()) return answer.set(NOTHING);
    const isOld = answer.get().path !== null;
    answer.set({ stale: isOld, problem: null, phase: isOld && pause ? "stale" : "loading" });
    calls.start(solve, pause);
  }

  async function solve(signal) {
    answer.set({ phase: "loading" });
    const state = store.get();
    const isSure = solved !== null && ["chart", "preset", "details"].every((name) => isSame(state[name], solved[name]));
    try {
      const found = await findPath(state, { isSure, signal });
      if (!signal.aborted) settle(state, found);
      retryLists();
    } catch (error) {
      if (!signal.aborted) answer.set({ phase: "error", problem: problemOf(error), stale: answer.get().path !== null });
    }
  }

  // Locks and place are counted in the new path before anybody sees it.
  function settle(state, { locks, ...found }) {
    const follows = !isPlaced && answer.get().path !== null && !isSame(solved.chart, state.chart);
    const at = store.get().place;
    const { steps } = found.path;
    const place = follows ? placeIn(answer.get().path.steps, steps, at) : Math.min(at, steps.length - 1);
    isPlaced = false;
    solved = { ...state, locks, keep: null };
    isSettling = true;
    store.set({ locks, keep: null, place });
    isSettling = false;
    answer.set({ ...found, stale: false, problem: null, phase: "ready" });
    announceLost(state.locks.length - locks.length, announce);
  }

  store.subscribe((state, before, options) => {
    if (isSettling || QUESTION.every((name) => isSame(state[name], before[name]))) return;
    isPlaced ||= options.isPlaced;
    const isAnswered = answer.get().path !== null && QUESTION.every((name) => isSame(state[name], solved[name]));
    if (!isAnswered) return ask(options.undoable === "typing" ? PAUSE : 0);
    isPlaced = false;
    calls.giveUp();
    answer.set({ stale: false, problem: null, phase: "ready" });
  });

  /** `ask()` asks again, as after a token was given. */
  return { get: answer.get, subscribe: answer.subscribe, ask };
}

function createAnswer(first) {
  let answer = first;
  const listeners = new Set();
  return {
    get: () => answer,
    set(patch) {
      answer = Object.freeze({ ...answer, ...patch });
      for (const listener of listeners) listener(answer);
    },
    subscribe(listener) {
      listeners.add(listener);
      listener(answer);
      return () => listeners.delete(listener);
    },
  };
}

// One call at a time: `does(signal)` after a pause, until it is given up.
function createCalls() {
  let waiting = 0;
  let call = new AbortController();
  return {
    start(does, pause) {
      const { signal } = call;
      waiting = setTimeout(() => does(signal), pause);
    },
    giveUp() {
      clearTimeout(waiting);
      call.abort();
      call = new AbortController();
    },
  };
}

function announceLost(lost, announce) {
  if (lost <= 0) return;
  const [them, it] = [countNoun(lost, "lock"), lost === 1 ? "it" : "them"];
  announce(`${them} could not be kept, for the chord is gone or the notes do not fit. Undo brings ${it} back.`);
}

/** A paths request of the state, without its locks. */
function pathRequest({ chart, preset, details, loop }) {
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
  return { path, request: foundRequest({ path, request }), locks: keptLocks(held, path), exercise: { ...found, asked } };
}

// The step of the new path that stands for step `place` of the old one.
function placeIn(old, steps, place) {
  const pair = alignSteps(old, steps).findLast(([k]) => k <= place);
  return pair ? pair[1] : 0;
}
