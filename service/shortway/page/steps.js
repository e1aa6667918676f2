// The path as a table of steps, and the step that is looked at.

import { el, make, many, named, state } from "./state.js";
import { highlight } from "./pictures.js";

let lines = [];
let current = null;

export function show() {
  el("answer").hidden = false;
  el("unlock-all").hidden = state.pins.size === 0;
  lines = state.path.steps.map(row);
  document.querySelector("#steps tbody").replaceChildren(...lines);
  for (const key of state.exercise?.keys ?? []) lines[key.step].before(keyRow(key));
  current = null;
  goTo(state.at, false);
}

function row(step, index) {
  const line = make("tr");
  const hands = step.voicing ? [named(step.voicing.left), named(step.voicing.right)] : ["", ""];
  line.append(
    goButton(step, index),
    chordCell(step, index),
    ...[...hands, step.motion === null ? "" : String(step.motion), step.remark].map((text) => make("td", text)),
  );
  return line;
}

// Where a key of an exercise begins, and what is moved into it on the path shown, locks and all.
function keyRow({ key, semitones, step, steps }) {
  const motion = state.path.steps.slice(step, step + steps).find((one) => one.motion !== null)?.motion;
  const way = semitones ? `, ${Math.abs(semitones)} ${semitones > 0 ? "up" : "down"}` : "";
  const isJoined = motion !== undefined && (step > 0 || state.request.loop);
  const line = make("tr", "", { className: "key" });
  const head = make("th", "", { colSpan: 6, scope: "rowgroup" });
  head.append(make("span", `In ${key}${way}${isJoined ? `; the join moves ${many(motion, "semitone")}` : ""}`));
  line.append(head);
  return line;
}

export function goButton(step, index) {
  const cell = make("td");
  const go = make("button", `${step.measure}.${step.beat}`, { type: "button" });
  go.setAttribute("aria-label", `Go to step ${index + 1}, measure ${step.measure}, beat ${step.beat}`);
  go.addEventListener("click", () => goTo(index));
  cell.append(go);
  return cell;
}

function chordCell(step, index) {
  const cell = make("td", step.symbol);
  cell.append(state.pins.has(index) ? " (locked)" : "", make("br"), make("small", step.context?.function ?? ""));
  return cell;
}

export function goTo(index, scroll = true) {
  const steps = state.path?.steps ?? [];
  if (!steps.length) return;
  state.at = (index + steps.length) % steps.length;
  mark(lines[state.at], scroll);
  tell(steps[state.at], steps.length);
  highlight(state.at);
  el("lock").textContent = state.pins.has(state.at) ? "Unlock this voicing" : "Lock this voicing";
  el("lock").disabled = el("others").disabled = !steps[state.at].voicing;
  el("choices").hidden = true;
}

function mark(line, scroll) {
  current?.removeAttribute("aria-current");
  current = line;
  current.setAttribute("aria-current", "step");
  if (scroll) current.scrollIntoView({ block: "nearest" });
}

// Whether the row of the step is on screen; a page that is read elsewhere is not scrolled away.
export function inSight() {
  const box = current?.getBoundingClientRect();
  return Boolean(box) && box.bottom > 0 && box.top < innerHeight;
}

function tell(step, count) {
  const hands = step.voicing ? `left ${named(step.voicing.left) || "rests"}; right ${named(step.voicing.right) || "rests"}` : "silent";
  const why = step.context ? ` ${step.context.function} towards ${step.context.goal}: ${step.context.why}.` : "";
  const key = state.exercise?.keys.findLast((one) => one.step <= state.at);
  el("now").textContent = `Step ${state.at + 1} of ${count}, ${key ? `in ${key.key}, ` : ""}${step.symbol}: ${hands}. ${step.remark}.${why}`;
}
