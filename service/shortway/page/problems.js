// Problem details beside their fields, with position and expected value.

import { el, setStatus, state, createElement } from "./state.js";
import { positionOf } from "./played_notes.js";

export function clearProblems(part = document) {
  for (const place of part.querySelectorAll(".problem")) { place.hidden = true; place.replaceChildren(); }
  for (const field of part.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
}

// `rest` is the element for errors of no field; `asked` is the rejected request.
export function showProblem(error, rest = "other-problem", asked = {}) {
  const problem = error.problem ?? { detail: `Cannot reach the service: ${error.message}`, errors: [] };
  const errors = problem.errors.length ? problem.errors : [{ pointer: "", detail: problem.detail }];
  for (const fault of errors) {
    const field = fieldAt(fault.pointer);
    if (field) field.hidden = false;
    const place = field?.querySelector(".problem") ?? el(rest);
    const lines = [fault.detail, fault.expected ? `Expected: ${fault.expected}` : ""];
    if (place.hasChildNodes()) place.append("\n");
    place.append(lines.filter(Boolean).join("\n"), ...locate(fault, asked));
    place.hidden = false;
    const input = field?.querySelector("textarea, input") ?? field?.querySelector("select");
    input?.setAttribute("aria-invalid", "true");
  }
  if (errors.some((e) => e.pointer.startsWith("/pins"))) el("unlock-all").hidden = false;
  setStatus(`Rejected: ${problem.detail}`);
}

// The field with the longest pointer that contains the error's.
function fieldAt(pointer) {
  return [...document.querySelectorAll("[data-pointer]")]
    .filter((field) => `${pointer}/`.startsWith(`${field.dataset.pointer}/`))
    .sort((a, b) => b.dataset.pointer.length - a.dataset.pointer.length)[0];
}

function locate(fault, asked) {
  if (fault.pointer.startsWith("/played")) return locateInPlayed(fault);
  const typed = /^\/chart(\/text)?$/.test(fault.pointer) && (asked.chart?.text ?? el("chart").value) === el("chart").value;
  if (typed && fault.position !== undefined) return [caret(el("chart").value, fault.position)];
  const [, measure, chord] = /^\/chart\/measures\/(\d+)(?:\/(\d+))?/.exec(fault.pointer) ?? [];
  if (measure === undefined) return [];
  const where = `In measure ${Number(measure) + 1}${chord === undefined ? "" : `, chord ${Number(chord) + 1}`} of the JSON`;
  const value = fault.pointer.split("/").slice(1).reduce((part, name) => part?.[name], asked);
  return [`\n${where}${typeof value === "string" ? ":" : ""}`, ...(typeof value === "string" ? [caret(value, fault.position ?? 0)] : [])];
}

function locateInPlayed(fault) {
  const [step, note] = fault.pointer.split("/").slice(2).map(Number);
  if (step === undefined) return [];
  const symbol = state.path?.steps[step]?.symbol;
  const words = `\nAt step ${step + 1}${symbol ? `, ${symbol}` : ""}${note === undefined ? "" : `, note ${note + 1}`}`;
  const place = positionOf(el("played").value, step, note);
  return place === null ? [words] : [`${words}:`, caret(el("played").value, place)];
}

const BEFORE = 16;
const AFTER = 12;

// The text around `position` on its line, short enough for a phone, with a caret below.
function caret(text, position) {
  const end = text.indexOf("\n", position) < 0 ? text.length : text.indexOf("\n", position);
  const begin = text.lastIndexOf("\n", position - 1) + 1;
  const from = Math.max(begin, position - BEFORE);
  const shown = (from > begin ? "…" : "") + text.slice(from, Math.min(end, position + AFTER)) + (end > position + AFTER ? "…" : "");
  return createElement("code", `${shown}\n${" ".repeat(position - from + (from > begin ? 1 : 0))}^`);
}
