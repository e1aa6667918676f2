// The head of the stage: the chord, where it stands and what it does, and the movement into it as chips.

import { el, icon, make } from "../dom.js";
import { countNoun, readable, symbolNodes, symbolText, voicingName, withSigns } from "../words.js";
import { beatOf, stepsOf } from "./steps.js";

const INTERVALS = ["", "half step", "whole step", "minor third", "major third", "fourth", "tritone", "fifth"];

export function create(element) {
  return {
    draw({ answer, state }) {
      const step = answer.path && stepsOf(answer.path)[state.place];
      if (!step) return;
      drawHead(step);
      drawLocks(state.locks);
      const isLocked = state.locks.some((lock) => lock.step === step.index);
      el("lock").disabled = el("swap").disabled = answer.phase === "error" || !step.voicing;
      el("lock").setAttribute("aria-pressed", String(isLocked));
      el("lock").replaceChildren(icon(isLocked ? "lock" : "open-lock"), make("span", {}, isLocked ? "Locked" : "Lock"));
      const chips = element.querySelector("#chips");
      chips.replaceChildren(...chipsOf(step).map(([kind, words]) => make("li", { className: kind }, words)));
      keepReachable(chips);
    },
  };
}

function drawHead(step) {
  const repeated = step.repetition > 1 ? `, time ${step.repetition}` : "";
  const voicing = step.voicing ? ` · ${voicingName(step.voicing)}` : "";
  el("now-symbol").replaceChildren(...symbolNodes(step.symbol));
  el("now-where").textContent = `Bar ${step.measure}, beat ${beatOf(step)}${repeated}${voicing}`;
  el("now-why").textContent = step.context ? withSigns([step.context.function, step.context.why].filter(Boolean).join(", ")) : "";
  el("now-why").title = el("now-why").textContent;
}

function drawLocks(locks) {
  el("locks").hidden = !locks.length;
  el("locks-count").textContent = `${locks.length} locked`;
}

// A strip that scrolls can be scrolled by keys.
function keepReachable(strip) {
  strip.removeAttribute("tabindex");
  if (strip.scrollWidth > strip.clientWidth) strip.tabIndex = 0;
}

/** Kind and words of each chip of a step: how far in all, the roots, the moves by size, what stays, the prices. */
function chipsOf(step) {
  if (!step.voicing) return [["stay", "No chord: the hands rest"]];
  if (!step.before) return [["stay", "The path begins here"], ...priceChips(step)];
  const around = step.before.index >= step.index ? ", round the loop" : "";
  const moved = step.motion ? countNoun(step.motion, "semitone") : "No movement";
  return [["sum", `${moved} from ${symbolText(step.before.symbol)}${around}`], ...remarkChips(step), ...moveChips(step), ...priceChips(step)];
}

// The remark begins with what the roots and the forms do; its moves are counted below.
function remarkChips({ remark }) {
  const parts = (remark ?? "").split(", ").filter((part) => /^(falling|rising|root|same root|form)\b/.test(part));
  return parts.map((part) => ["", withSigns(part)]);
}

const arrow = (by) => (by > 0 ? "↑" : "↓");
const intervalName = (by) => INTERVALS[Math.abs(by)] ?? countNoun(Math.abs(by), "semitone");

function moveChips({ joined }) {
  const counts = new Map();
  for (const move of joined.filter((one) => !one.is_bass && one.midi !== one.from)) counts.set(move.midi - move.from, (counts.get(move.midi - move.from) ?? 0) + 1);
  const chips = [...counts].sort(([a], [b]) => Math.abs(b) - Math.abs(a)).map(([by, count]) => ["moves", `${arrow(by)} ${countNoun(count, "voice")}, ${intervalName(by)}`]);
  const bass = joined.find((move) => move.is_bass && move.midi !== move.from);
  if (bass) chips.push(["", `${arrow(bass.midi - bass.from)} bass, ${intervalName(bass.midi - bass.from)}`]);
  const stays = joined.filter((move) => move.midi === move.from).length;
  if (stays) chips.push(["stay", `${countNoun(stays, "voice")} ${stays === 1 ? "stays" : "stay"}`]);
  return chips;
}

const priceChips = ({ price_items: items }) => items.map(({ name, total }) => ["stay", `${readable(name)}, costs ${total}`]);
