// The path as a table: every note in words, on screen in chunks, on paper whole.

import { make } from "../dom.js";
import { degreeName, noteName, readable, symbolText, withSigns } from "../words.js";
import { createChunks, createListView } from "./chunks.js";
import { placeOf, stepsOf } from "./steps.js";

const COLUMNS = ["Bar", "Chord", "Left hand", "Right hand", "Movement"];
const ROW_HEIGHT = 49;

export const create = (element, actions) => createListView(element, actions, "Table of the path", (region, { answer, state }) => {
  const locked = new Set(state.locks.map(({ step }) => step));
  const table = make("table", { className: "steps" }, tableHead());
  region.append(table);
  return createChunks(table, {
    steps: stepsOf(answer.path), tag: "tbody", size: 20,
    each: (some) => some.map((step) => tableRow(step, { isLive: true, isLocked: locked.has(step.index) })),
    guess: (count) => count * ROW_HEIGHT,
  });
});

export function tableHead() {
  const cells = COLUMNS.map((name) => make("th", { scope: "col" }, name));
  return make("thead", {}, make("tr", {}, ...cells, make("th", { scope: "col", className: "wide-only" }, "Remark")));
}

/** The row of a step; a live one leads to it. */
export function tableRow(step, { isLive = false, isLocked = false } = {}) {
  const at = isLive ? make("button", { type: "button", "aria-label": `${placeOf(step)}, go to this chord` }, placeOf(step)) : placeOf(step);
  const moved = step.motion ? make("span", { className: "moved" }, String(step.motion)) : String(step.motion ?? "");
  return make("tr", isLive ? { "data-step": step.index } : {},
    make("td", {}, at), make("td", { className: "name" }, symbolText(step.symbol), ...(isLocked ? [make("small", {}, " locked")] : [])),
    make("td", { className: "notes" }, ...handNotes(step, "left")), make("td", { className: "notes" }, ...handNotes(step, "right")),
    make("td", {}, moved), make("td", { className: "wide-only" }, remarkOf(step)));
}

const handNotes = ({ notes }, hand) => notes.filter((note) => note.hand === hand)
  .map(({ note, degree }) => make("span", {}, noteName(note), make("small", {}, degreeName(degree))));

const remarkOf = ({ remark, price_items: items }) => [
  withSigns(remark ?? ""), ...items.map(({ name, total }) => `${readable(name)} costs ${total}`),
].filter(Boolean).join("; ");
