// Practice in all keys: an order of keys or a list of them, and where each key begins in the path.

import { el, make } from "../dom.js";
import { label, noteName } from "../words.js";

const ORDERS = [
  "fourths", "fifths", "half-steps-up", "half-steps-down", "whole-steps-up", "whole-steps-down", "minor-thirds-up",
  "minor-thirds-down",
];

export function createExercise(store, actions) {
  const order = make("select", { id: "key_order" }, ...ORDERS.map((id) => make("option", { value: id }, label(id))));
  const keys = make("input", { id: "keys-wanted", placeholder: "Eb Ab Db", autocapitalize: "off", spellcheck: false });
  const start = make("button", { type: "button", className: "plain wide", id: "practise" }, "Practise in all keys");
  const back = make("button", { type: "button", className: "plain wide", id: "exercise-back" }, "Back to the chart");
  const sections = make("div", { className: "wide row keys-row", role: "group", "aria-label": "Go to a key" });
  const problem = make("p", { className: "problem wide", hidden: true });
  el("exercise").dataset.pointer = "/keys";
  el("exercise").append(
    make("label", { "data-pointer": "/key_order" }, "Key order", order), make("label", {}, "or these keys", keys), problem,
    start, sections, back,
  );
  start.addEventListener("click", () => store.set(
    { exercise: wanted(keys.value) ?? { key_order: order.value }, locks: [], keep: null, place: 0 }, { undoable: true, isPlaced: true }));
  back.addEventListener("click", () => store.set({ exercise: null, locks: [], keep: null, place: 0 }, { undoable: true, isPlaced: true }));
  let shown = null;

  return {
    draw({ answer, state }) {
      back.hidden = !state.exercise;
      const found = state.exercise ? answer.exercise : null;
      el("exercised").textContent = found ? `${found.sections.length} keys` : "practise";
      if (found === shown) return;
      shown = found;
      sections.replaceChildren(...(found?.sections ?? []).map((section) => keyButton(section, actions)));
    },
  };
}

// Keys are separated by commas or blanks, but "C minor" is one key.
function wanted(text) {
  const keys = text.trim().split(/[\s,]+(?![\s,m])/).filter(Boolean);
  return keys.length ? { keys } : null;
}

function keyButton({ key, step }, actions) {
  const button = make("button", { type: "button", className: "quiet" }, noteName(key));
  button.addEventListener("click", () => actions.goTo(step));
  return button;
}
