// A small keyboard for each chord.

import { make } from "../dom.js";
import { symbolText } from "../words.js";
import { createChunks, createListView } from "./chunks.js";
import { keyRange, miniKeyboard } from "./keys.js";
import { pitchRange, placeOf, spokenNotes, stepsOf } from "./steps.js";

// Least width of a card and its gap, and height with the gap, in px.
const [CARD_WIDTH, CARD_HEIGHT, KEYS_WIDTH] = [181, 115, 172];

export const create = (element, actions) => createListView(element, actions, "A keyboard for each chord", (region, { answer, state }) => {
  const steps = stepsOf(answer.path);
  const range = keyRange(pitchRange(steps));
  const locked = new Set(state.locks.map(({ step }) => step));
  const across = Math.max(1, Math.floor(region.clientWidth / CARD_WIDTH));
  return createChunks(region, {
    steps, tag: "div", className: "cards", size: 24,
    each: (some) => some.map((step) => cardOf(step, range, locked.has(step.index))),
    guess: (count) => Math.ceil(count / across) * CARD_HEIGHT,
  });
});

function cardOf(step, range, isLocked) {
  const moved = step.motion === null ? "" : String(step.motion);
  return make("button", { type: "button", className: "card", "data-step": step.index },
    make("span", { className: "card-head" }, make("b", {}, symbolText(step.symbol)), make("span", {}, `${placeOf(step)}${isLocked ? " locked" : ""} `, make("span", { className: step.motion ? "moved" : "" }, moved))),
    make("span", { className: "hide" }, spokenNotes(step.symbol, step.notes)), miniKeyboard(step.voicing, range, KEYS_WIDTH));
}
