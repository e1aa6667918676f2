// The table of steps, and the current step.

import { el, createElement, countNoun, noteNames, state } from "./state.js";
import { highlightStep } from "./pictures.js";

let lines = [];
let current = null;

export function showSteps() {
  el("answer").hidden = false;
  el("unlock-all").hidden = state.pins.size === 0;
  lines = state.path.steps.map(stepRow);
  document.querySelector("#steps tbody").replaceChildren(...lines);
  for (const key of state.exercise?.sections ?? []) lines[key.step].before(keyRow(key));
  current = null;
  goToStep(state.at, false);
}

function stepRow(step, index) {
  const line = createElement("tr");
  const hands = step.voicing ? [noteNames(step.voicing.left), noteNames(step.voicing.right)] : ["", ""];
  line.append(
    stepButtonCell(step, index),
    chordCell(step, index),
    ...[...hands, step.cost ?? "", step.motion ?? "", step.remark].map((text) => createElement("td", text)),
  );
  return line;
}

// The row above a key of an exercise, with the motion into it.
function keyRow({ key, semitones, step, steps }) {
  const motion = state.path.steps.slice(step, step + steps).find((one) => one.motion !== null)?.motion;
  const way = semitones ? `, ${Math.abs(semitones)} ${semitones > 0 ? "up" : "down"}` : "";
  const isJoined = motion !== undefined && (step > 0 || state.request.loop);
  const line = createElement("tr", "", { className: "key" });
  const head = createElement("th", "", { colSpan: 7, scope: "rowgroup" });
  head.append(createElement("span", `In ${key}${way}${isJoined ? `; motion into it: ${countNoun(motion, "semitone")}` : ""}`));
  line.append(head);
  return line;
}

export function stepButtonCell(step, index) {
  const cell = createElement("td");
  const go = createElement("button", `${step.measure}.${step.beat}`, { type: "button" });
  go.setAttribute("aria-label", `Go to step ${index + 1}, measure ${step.measure}, beat ${step.beat}`);
  go.addEventListener("click", () => goToStep(index));
  cell.append(go);
  return cell;
}

function chordCell(step, index) {
  const cell = createElement("td", step.symbol);
  cell.append(state.pins.has(index) ? " (locked)" : "", createElement("br"), createElement("small", step.context?.function ?? ""));
  return cell;
}

export function goToStep(index, scroll = true) {
  const steps = state.path?.steps ?? [];
  if (!steps.length) return;
  state.at = (index + steps.length) % steps.length;
  markRow(lines[state.at], scroll);
  describeStep(steps[state.at], steps.length);
  highlightStep(state.at);
  el("lock").textContent = state.pins.has(state.at) ? "Unlock this voicing" : "Lock this voicing";
  el("lock").disabled = el("others").disabled = !steps[state.at].voicing;
  el("choices").hidden = true;
}

function markRow(line, scroll) {
  current?.removeAttribute("aria-current");
  current = line;
  current.setAttribute("aria-current", "step");
  if (scroll) current.scrollIntoView({ block: "nearest" });
}

// Whether the row of the current step is in view; else playback does not scroll the page.
export function isCurrentStepVisible() {
  const box = current?.getBoundingClientRect();
  return Boolean(box) && box.bottom > 0 && box.top < innerHeight;
}

function describeStep(step, count) {
  const hands = step.voicing ? `left ${noteNames(step.voicing.left) || "rests"}; right ${noteNames(step.voicing.right) || "rests"}` : "silent";
  const why = step.context ? ` ${step.context.function} towards ${step.context.goal}: ${step.context.why}.` : "";
  const key = state.exercise?.sections.findLast((one) => one.step <= state.at);
  el("now").textContent = `Step ${state.at + 1} of ${count}, ${key ? `in ${key.key}, ` : ""}${step.symbol}: ${hands}. ${step.remark}.${why}`;
}
