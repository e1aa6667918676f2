// Problems: each beside the field that it is about, with where in it and what was expected.

import { el, say, state, make } from "./state.js";
import { placeOf } from "./played.js";

export function clearProblems(part = document) {
  for (const place of part.querySelectorAll(".problem")) { place.hidden = true; place.replaceChildren(); }
  for (const field of part.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
}

// `rest` takes what no field is about; `asked` is the request that was refused.
export function refused(error, rest = "other-problem", asked = {}) {
  const problem = error.problem ?? { detail: `The service cannot be reached: ${error.message}`, errors: [] };
  const errors = problem.errors.length ? problem.errors : [{ pointer: "", detail: problem.detail }];
  for (const fault of errors) {
    const field = fieldOf(fault.pointer);
    if (field) field.hidden = false;
    const place = field?.querySelector(".problem") ?? el(rest);
    const lines = [fault.detail, fault.expected ? `Expected: ${fault.expected}` : ""];
    if (place.hasChildNodes()) place.append("\n");
    place.append(lines.filter(Boolean).join("\n"), ...located(fault, asked));
    place.hidden = false;
    const input = field?.querySelector("textarea, input") ?? field?.querySelector("select");
    input?.setAttribute("aria-invalid", "true");
  }
  if (errors.some((e) => e.pointer.startsWith("/pins"))) el("unlock-all").hidden = false;
  say(`Refused: ${problem.detail}`);
}

// The field with the longest pointer that leads to the fault.
function fieldOf(pointer) {
  return [...document.querySelectorAll("[data-pointer]")]
    .filter((field) => `${pointer}/`.startsWith(`${field.dataset.pointer}/`))
    .sort((a, b) => b.dataset.pointer.length - a.dataset.pointer.length)[0];
}

function located(fault, asked) {
  if (fault.pointer.startsWith("/played")) return inPlayed(fault);
  const typed = fault.pointer === "/chart" && (asked.chart ?? el("chart").value) === el("chart").value;
  if (typed && fault.position !== undefined) return [caret(el("chart").value, fault.position)];
  const [, measure, chord] = /^\/chart\/measures\/(\d+)(?:\/(\d+))?/.exec(fault.pointer) ?? [];
  if (measure === undefined) return [];
  const where = `In measure ${Number(measure) + 1}${chord === undefined ? "" : `, chord ${Number(chord) + 1}`} of the JSON`;
  const value = fault.pointer.split("/").slice(1).reduce((part, name) => part?.[name], asked);
  return [`\n${where}${typeof value === "string" ? ":" : ""}`, ...(typeof value === "string" ? [caret(value, fault.position ?? 0)] : [])];
}

function inPlayed(fault) {
  const [step, note] = fault.pointer.split("/").slice(2).map(Number);
  if (step === undefined) return [];
  const symbol = state.path?.steps[step]?.symbol;
  const words = `\nAt step ${step + 1}${symbol ? `, ${symbol}` : ""}${note === undefined ? "" : `, note ${note + 1}`}`;
  const place = placeOf(el("played").value, step, note);
  return place === null ? [words] : [`${words}:`, caret(el("played").value, place)];
}

const BEFORE = 16;
const AFTER = 12;

// What stands around `position` on its line, narrow enough for a phone, and a caret under it.
function caret(text, position) {
  const end = text.indexOf("\n", position) < 0 ? text.length : text.indexOf("\n", position);
  const begin = text.lastIndexOf("\n", position - 1) + 1;
  const from = Math.max(begin, position - BEFORE);
  const shown = (from > begin ? "…" : "") + text.slice(from, Math.min(end, position + AFTER)) + (end > position + AFTER ? "…" : "");
  return make("code", `${shown}\n${" ".repeat(position - from + (from > begin ? 1 : 0))}^`);
}
