// Problem details beside what they are about: the chart, with the place as a link, or a field of the setting.

import { el, make } from "../dom.js";
import { offsetAt } from "./places.js";

// Not reached, too many requests, too busy: the same question may be answered later.
const PASSING = [0, 429, 503];

/** The characters of the text that a problem points at, or null. */
export function textFault(problem, text) {
  const error = problem?.errors.find(({ pointer, position }) => isInText(pointer) && position !== undefined);
  if (!error) return null;
  const from = offsetAt(text, error.position);
  const symbol = wordAround(text, from);
  return symbol.to > symbol.from ? symbol : { from: Math.max(0, from - 1), to: from };
}

const isInText = (pointer) => /^\/chart(\/text)?$/.test(pointer);

function wordAround(text, at) {
  const [before] = /[^\s|]*$/.exec(text.slice(0, at));
  const [after] = /^[^\s|]*/.exec(text.slice(at));
  return after ? { from: at - before.length, to: at + after.length } : { from: at, to: Math.min(text.length, at + 1) };
}

/** `setMeasures` is told what a measure of a chart without bar lines is; `again` asks once more. */
export function createProblems(field, { setMeasures, again }) {
  let shown = null;
  const goTo = (offset) => {
    field.focus();
    field.setSelectionRange(offset, offset);
  };

  return {
    draw({ problem }, text) {
      if (problem === shown) return;
      shown = problem;
      clear();
      if (problem) show(isAnswered(problem) ? withoutExpected(problem) : problem, text, goTo);
      if (isAnswered(problem)) el("chart-problem").append(...measureButtons(setMeasures));
      if (problem && PASSING.includes(problem.status)) el("chart-problem").append(button("Try again", again));
      const isInChart = Boolean(problem) && !el("chart-problem").hidden;
      el("editor").toggleAttribute("data-bad", isInChart);
      field.setAttribute("aria-invalid", String(isInChart));
    },
  };
}

// What buttons beside the problem do is not said in the words of the wire.
const isAnswered = (problem) => problem?.code === "measures-needed";
const withoutExpected = (problem) => ({ ...problem, errors: problem.errors.map(({ expected, ...error }) => error) });

function clear() {
  for (const place of document.querySelectorAll("#ask .problem:not(#token-problem)")) {
    place.hidden = true;
    place.replaceChildren();
  }
  for (const input of document.querySelectorAll("#ask [aria-invalid]")) input.removeAttribute("aria-invalid");
}

function show({ detail, errors, status }, text, goTo) {
  if (status === 401) return;
  for (const error of errors.length ? errors : [{ pointer: "", detail }]) {
    const field = fieldAt(error.pointer);
    const place = field?.querySelector(".problem") ?? el("chart-problem");
    place.append(...words(error, text, goTo));
    place.hidden = false;
    field?.querySelector("input, select")?.setAttribute("aria-invalid", "true");
    const fold = field?.closest("details");
    if (fold) fold.open = true;
  }
}

// The field with the longest pointer that contains the error's.
function fieldAt(pointer) {
  return [...document.querySelectorAll("#ask [data-pointer]")]
    .filter(({ dataset }) => `${pointer}/`.startsWith(`${dataset.pointer}/`))
    .sort((a, b) => b.dataset.pointer.length - a.dataset.pointer.length)[0];
}

function words({ pointer, position, detail, expected }, text, goTo) {
  const said = [make("span", {}, `${detail} `)];
  if (isInText(pointer) && position !== undefined) said.push(placeLink(text, offsetAt(text, position), goTo));
  const [, measure, chord] = /^\/chart\/measures\/(\d+)(?:\/(\d+))?/.exec(pointer) ?? [];
  if (measure !== undefined) said.push(`(measure ${Number(measure) + 1}${chord === undefined ? "" : `, chord ${Number(chord) + 1}`} of the JSON)`);
  if (expected) said.push(make("small", {}, `Expected: ${expected}`));
  return said;
}

function placeLink(text, offset, goTo) {
  const before = text.slice(0, offset).split("\n");
  return button(`line ${before.length}, column ${[...before.at(-1)].length + 1}`, () => goTo(offset));
}

function measureButtons(setMeasures) {
  return [["symbol", "A bar for each chord"], ["line", "A bar for each line"]].map(([each, words]) => button(words, () => setMeasures(each)));
}

function button(words, does) {
  const made = make("button", { type: "button" }, words);
  made.addEventListener("click", () => does());
  return made;
}
