// The other voicings of a step, with what each costs on the whole path. The panel covers the question, never the
// answer; a card under the pointer or the focus is shown on the stage.

import { callApi, problemOf } from "./api.js";
import { el, make } from "./dom.js";
import { pinsOf } from "./state/question.js";
import { isSame } from "./state/store.js";
import { keyRange, miniKeyboard } from "./views/keys.js";
import { pitchRange } from "./views/steps.js";
import { countNoun, noteName, notesOf, symbolText, voicingName } from "./words.js";

const MOST = 60;
const ONE_COLUMN = "(max-width: 63.99rem)";

export function createAlternatives(store, solving, actions) {
  let shown = null; // the path and place whose choices are listed
  let [choices, isCut] = [[], false]; // and whether there are more
  let call = new AbortController();

  const open = (isOpen) => {
    el("sheet").hidden = !isOpen;
    el("ask").hidden = isOpen && !matchMedia(ONE_COLUMN).matches;
    el("swap").setAttribute("aria-expanded", String(isOpen));
    actions.preview(null);
    if (isOpen) {
      draw({ answer: solving.get(), state: store.get() });
      el("sheet-title").focus();
    } else {
      shown = null;
      el("swap").focus({ preventScroll: true });
    }
  };
  document.addEventListener("alternatives", () => open(el("sheet").hidden));
  el("sheet-close").addEventListener("click", () => open(false));
  el("sheet").addEventListener("change", () => list(solving.get(), store.get()));

  function draw({ answer, state }) {
    if (el("sheet").hidden) return;
    if (answer.phase === "error" || answer.phase === "empty") return open(false);
    if (answer.stale || !answer.path) return;
    if (shown?.path === answer.path && shown.place === state.place) return;
    shown = { path: answer.path, place: state.place };
    head(answer.path.steps[state.place]);
    load(answer, state);
  }

  async function load(answer, state) {
    call.abort();
    call = new AbortController();
    const { signal } = call;
    try {
      const found = await choicesAt(answer, state, signal);
      if (signal.aborted) return;
      isCut = found.length === MOST;
      choices = found.filter(isNew);
      list(answer, state);
    } catch (error) {
      if (!signal.aborted) el("sheet-about").textContent = problemOf(error).detail;
    }
  }

  function list(answer, state) {
    const step = answer.path?.steps[state.place];
    if (!step) return;
    const before = stepBefore(answer.path.steps, state);
    const range = keyRange(pitchRange(choices.map(({ voicing }) => voicing)));
    const cards = choices.map((choice) => ({ ...choice, near: before ? moved(before.voicing, choice.voicing) : null }));
    if (document.querySelector("[name=order]:checked").value === "near") cards.sort((a, b) => a.near - b.near || a.cost - b.cost);
    about(step, choices.length, isCut);
    el("alternatives").replaceChildren(...cards.map((choice) => make("li", {}, card(choice, { step, range, answer, actions, place: state.place }))));
  }

  return { draw };
}

// A step's voicings, each with the cost of the best path through it.
async function choicesAt({ path, request }, { place, locks }, signal) {
  if (path.steps[place].voicing === null) return [];
  const pins = pinsOf(locks).filter(({ step }) => step !== place);
  const asked = { ...request, pins, choices_at: place, limit: MOST, level: "brief" };
  return (await callApi("/v1/paths", asked, { signal })).choices;
}

// Voicings of the same notes are one alternative.
const isNew = ({ voicing }, k, all) => all.findIndex((other) => isSame(other.voicing.midi_notes, voicing.midi_notes)) === k;

function head(step) {
  el("sheet-title").textContent = step ? `Alternatives for ${symbolText(step.symbol)}` : "Alternatives";
  el("sheet-about").textContent = step?.voicing ? "Looking…" : "No chord is chosen.";
  el("alternatives").replaceChildren();
}

function about({ measure, beat, voicing }, count, isCut) {
  if (!voicing) return;
  const shown = isCut ? `the ${count} best voicings` : countNoun(count, "voicing");
  el("sheet-about").textContent = `Bar ${measure}, beat ${beat}: ${shown}. Choosing one locks it and solves the rest again.`;
}

const stepBefore = (steps, { place, loop }) => steps.slice(0, place).findLast(({ voicing }) => voicing) ?? (loop ? steps.findLast(({ voicing }) => voicing) : undefined);

// Semitones from the voicing before: of the upper notes, as the service counts motion; null where their numbers differ.
function moved(before, voicing) {
  const [a, b] = [before, voicing].map((one) => notesOf(one).filter(({ is_bass }) => !is_bass).map(({ midi }) => midi));
  return a.length === b.length ? a.reduce((total, midi, k) => total + Math.abs(midi - b[k]), 0) : Infinity;
}

function card({ voicing, cost, near }, { step, range, answer, actions, place }) {
  const isNow = isSame(voicing.midi_notes, step.voicing.midi_notes);
  const more = cost - answer.path.cost;
  const sign = more > 0 ? "+" : more < 0 ? "−" : "±";
  const moves = Number.isFinite(near) && near !== null ? `moves ${near}` : "";
  const names = notesOf(voicing).map(({ note }) => noteName(note)).join(" ");
  const button = make(
    "button", { type: "button", className: "card", ...(isNow ? { "aria-current": "true" } : {}) },
    line(make("b", {}, isNow ? "Now" : `${sign}${Math.abs(more)} on the path`), make("span", {}, voicingName(voicing))),
    miniKeyboard(voicing, range, 300),
    line(make("span", {}, names), make("span", { className: "moved" }, moves)),
  );
  for (const kind of ["pointerenter", "focus"]) button.addEventListener(kind, () => actions.preview(voicing));
  for (const kind of ["pointerleave", "blur"]) button.addEventListener(kind, () => actions.preview(null));
  button.addEventListener("click", () => {
    actions.preview(null);
    actions.lock(place, voicing);
    actions.announce(`${symbolText(step.symbol)} is swapped and locked`);
  });
  return button;
}

const line = (...parts) => make("span", { className: "card-head" }, ...parts);
