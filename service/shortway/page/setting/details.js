// Setting details: what is changed from the preset, and the way back to it. What equals the preset is no change.

import { loadList } from "../api.js";
import { el, make } from "../dom.js";
import { isSame } from "../state/store.js";
import { label } from "../words.js";
import { createPrices } from "./prices.js";

const NOTES = ["2", "3", "4", "5", "6", "7", "8"].map((count) => [count, count]);
const TENSIONS = [["in-context", "In context"], ["available", "Available"], ["written", "As written"]];

// A field of the setting, its label and its choices; without choices it is a note's name.
const FIELDS = [
  ["hands", "Hands", ["both", "left", "right"]],
  ["notes", "Notes per voicing", [...NOTES, ["vary", "May vary"]]],
  ["tensions", "Tensions", TENSIONS],
  ["reach", "Reach", ["octave", "ninth", "tenth", "eleventh"]],
  ["lowest", "Lowest note"],
  ["highest", "Highest note"],
  ["repeats", "Repeated chords", ["hold", "change"]],
  ["top_line", "Top line", ["free", "hold", "rise", "fall"]],
];
// `top_line` stands beside the setting in a request.
const pointerOf = (name) => (name === "top_line" ? "/top_line" : `/setting/${name}`);

export function createDetails(store) {
  const presets = new Map();
  const own = () => ({ top_line: "free", notes_vary: false, ...presets.get(store.get().preset) });

  function change(patch) {
    const preset = own();
    const details = Object.fromEntries(Object.entries({ ...store.get().details, ...patch })
      .filter(([name, value]) => value !== undefined && !isSame(value, preset[name])));
    store.set({ details }, { undoable: true });
  }

  const prices = createPrices(store, own, change);
  const families = make("div", { className: "ticks", id: "families" });
  const reset = make("button", { type: "button", className: "plain wide", id: "reset" }, "Back to the preset");
  reset.addEventListener("click", () => store.set({ details: {} }, { undoable: true }));
  el("fields").append(
    ...FIELDS.map(fieldOf),
    bassPlayer(change),
    make("fieldset", { className: "wide", "data-pointer": "/setting/families" }, make("legend", {}, "Families"), families, problem()),
    prices.element, reset,
  );
  el("fields").addEventListener("change", ({ target }) => {
    if (target.dataset.set) change(read(target));
    else if (target.closest("#families")) change({ families: [...families.querySelectorAll(":checked")].map(({ value }) => value) });
  });
  load(presets, families);

  return {
    draw({ state }) {
      const shown = { ...own(), ...state.details };
      for (const field of el("fields").querySelectorAll("[data-set]")) write(field, shown);
      for (const tick of families.querySelectorAll("input")) tick.checked = Boolean(shown.families?.includes(tick.value));
      prices.draw({ ...own().prices, ...state.details.prices }, shown.pricing);
      const count = changes(state.details);
      el("changed").textContent = count ? `${count} changed` : "as the preset";
      reset.hidden = !count;
    },
  };
}

const problem = () => make("p", { className: "problem", hidden: true });

function fieldOf([name, words, choices]) {
  const input = choices
    ? make("select", { "data-set": name }, ...choices.map((choice) => option(...[choice].flat())))
    : make("input", { "data-set": name, size: 5, autocapitalize: "off", spellcheck: false });
  return make("label", { "data-pointer": pointerOf(name) }, words, input, problem());
}

const option = (value, words = label(value)) => make("option", { value }, words);

function bassPlayer(change) {
  const box = make("input", { type: "checkbox", id: "bass_player" });
  box.addEventListener("change", () => change({ bass_player: box.checked }));
  return make("label", { className: "check" }, box, "With a bass player");
}

// A number of notes that may vary is a field of its own, and then there is none.
function read({ dataset, value }) {
  if (dataset.set !== "notes") return { [dataset.set]: value.trim() || undefined };
  return value === "vary" ? { notes: undefined, notes_vary: true } : { notes: Number(value), notes_vary: undefined };
}

function write(field, shown) {
  if (field === document.activeElement && field.tagName === "INPUT") return;
  const value = field.dataset.set === "notes" && shown.notes_vary ? "vary" : shown[field.dataset.set];
  field.value = value ?? "";
  if (field.dataset.set === "hands") el("bass_player").checked = shown.bass_player !== false;
}

const changes = ({ prices = {}, ...details }) => Object.keys(details).length + Object.keys(prices).length;

function load(presets, families) {
  loadList("/v1/presets", ({ presets: settings }) => {
    for (const { id, setting } of settings) presets.set(id, setting);
    document.dispatchEvent(new CustomEvent("loaded"));
  });
  loadList("/v1/families", ({ families: all }) => {
    families.replaceChildren(...all.map(({ id, about }) => (
      make("label", { title: about }, make("input", { type: "checkbox", value: id }), label(id)))));
    document.dispatchEvent(new CustomEvent("loaded"));
  });
}
