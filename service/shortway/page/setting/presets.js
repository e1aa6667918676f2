// Presets as radio cards, each with a small keyboard of what the hands do.

import { loadList } from "../api.js";
import { el, make } from "../dom.js";
import { label } from "../words.js";
import { pictogram } from "../views/keys.js";

// Title, line below, and the picture: a bass note, notes of the left and of the right hand, and whether they lie close.
const CARDS = {
  "with-bass-two-hands": ["With a bass player", "both hands, no roots", { left: 2, right: 3 }],
  solo: ["Solo piano", "a bass note and the chord above", { bass: true, left: 1, right: 3 }],
  "left-hand-under-a-solo": ["Left hand under a solo", "rootless, right hand free", { left: 4, right: 0 }],
  "small-hands": ["Small hands", "no stretch beyond an octave", { left: 2, right: 3, small: true }],
  "beginner-guide-tones": ["Beginner: guide tones", "3rd and 7th, root and 5th", { left: 2, right: 2 }],
};

/** A preset's name for people. */
export const presetTitle = (id) => CARDS[id]?.[0] ?? label(id);

export function createPresets(store) {
  el("presets").addEventListener("change", ({ target }) => {
    store.set({ preset: target.value, details: {} }, { undoable: true });
  });
  const fill = ({ presets }) => {
    el("presets").replaceChildren(...presets.map(card));
    check(store.get().preset);
  };
  fill({ presets: Object.keys(CARDS).map((id) => ({ id, about: "" })) });
  loadList("/v1/presets", fill);
  return { draw: ({ state }) => check(state.preset) };
}

function check(preset) {
  for (const radio of document.getElementsByName("preset")) radio.checked = radio.value === preset;
}

function card({ id, about }) {
  const [title, line, hands] = CARDS[id] ?? [label(id), about, { left: 2, right: 2 }];
  const radio = make("input", { type: "radio", name: "preset", value: id });
  const words = make("span", {}, make("b", {}, title), make("small", {}, line));
  return make("label", { className: "preset", title: about }, radio, pictogram(hands), words);
}
