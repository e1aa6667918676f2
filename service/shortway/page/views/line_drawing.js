// The voice lines as drawing: columns by beats, one path for each kind of line, so that elements do not grow with the chart.

import { makeSvg } from "../dom.js";
import { degreeName, sum, symbolNodes } from "../words.js";
import { round } from "./keys.js";
import { pitchRange } from "./steps.js";

export const HEAD = 46;
export const FOOT = 26;
export const LOOP_WIDTH = 76;
const CURVE = 20;

/**
 * Columns `{x, w, step}` of steps. By beats where every chord's name has room; else as wide as the name, and what is
 * left by beats; else `fits` is false and the columns are wider than the width.
 */
export function columnsOf(steps, { width, hasTail, locked }) {
  const room = width - (hasTail ? LOOP_WIDTH : 0) - 8;
  const named = (least, letter) => steps.map((step) => Math.max(least, 14 + step.symbol.length * letter + (locked.has(step.index) ? 13 : 0)));
  const close = named(48, 8);
  const fits = sum(close) <= room;
  const beats = sum(steps.map((step) => step.beats));
  const even = steps.map((step) => (room * step.beats) / beats);
  const free = (room - sum(close)) / beats;
  const filled = even.every((wide, k) => wide >= close[k]) ? even : close.map((wide, k) => wide + free * steps[k].beats);
  const widths = fits ? filled : named(60, 9);
  let x = 4;
  const columns = steps.map((step, k) => {
    const made = { x, w: widths[k], step };
    x += made.w;
    return made;
  });
  return { columns, fits, end: x };
}

const KINDS = ["still-left", "still-right", "still-bass", "move-1", "move-2", "move-3", "box-left", "box-right", "box-left locked", "box-right locked"];
const stillKind = (move) => `still-${move.is_bass ? "bass" : move.hand}`;
const moveKind = (move) => (move.is_bass ? stillKind(move) : `move-${Math.min(3, Math.abs(move.midi - move.from))}`);

/** All of the lines: paths by kind in `kinds`, words of the boxes in `labels`, named pitches in `marks`, and `y` of a pitch. */
export function drawLines({ columns, end }, { height, locked }) {
  const [lowest, highest] = pitchRange(columns.map(({ step }) => step));
  const [low, high] = [lowest - 1, highest + 1];
  const unit = (height - HEAD - FOOT) / (high - low);
  const y = (midi) => HEAD + (high - midi) * unit;
  const kinds = Object.fromEntries(KINDS.map((kind) => [kind, ""]));
  const labels = [];
  for (const column of columns) {
    drawVoices(kinds, column, y, column !== columns[0]);
    drawBoxes(kinds, labels, column, y, locked.has(column.step.index) ? " locked" : "");
  }
  return { columns, end, height, kinds, labels, marks: marksOf(low, high, y), y };
}

// From the pitch before to this one in a short curve, then level to the end of the column.
const curve = (x, from, to) => `M${round(x)} ${round(from)}c${CURVE / 2} 0 ${CURVE / 2} ${round(to - from)} ${CURVE} ${round(to - from)}`;

function drawVoices(kinds, { x, w, step }, y, isJoined) {
  for (const move of step.joined) {
    const isMoved = isJoined && step.before && move.midi !== move.from;
    if (isMoved) kinds[moveKind(move)] += curve(x, y(move.from), y(move.midi));
    const begins = isMoved || !isJoined || !step.before ? x + CURVE : x;
    kinds[stillKind(move)] += `M${round(begins)} ${round(y(move.midi))}H${round(x + w)}`;
  }
}

// A box that would cover the one below it stands to its right, where there is room.
function drawBoxes(kinds, labels, { x, w, step }, y, locked) {
  let last = null;
  for (const { midi, hand, degree } of step.notes) {
    const text = degreeName(degree);
    const size = 10 + text.length * 5;
    const beside = last && y(last.midi) - y(midi) < 15 ? last.shift + last.size + 2 : 0;
    const shift = beside > w - CURVE - size ? 0 : beside;
    last = { midi, shift, size };
    const left = x + CURVE + 1 + shift;
    const top = round(y(midi) - 7);
    kinds[`box-${hand}${locked}`] += hand === "left"
      ? `M${round(left)} ${top}h${size}v14h${-size}z`
      : `M${round(left + 5)} ${top}h${size - 10}a7 7 0 0 1 0 14h${10 - size}a7 7 0 0 1 0 -14z`;
    labels.push({ step: step.index, x: left + size / 2, y: y(midi) + 4, text, kind: `degree ${hand}${locked}` });
  }
}

function marksOf(low, high, y) {
  const pitches = Array.from({ length: high - low + 1 }, (_, k) => low + k);
  return pitches.filter((midi) => midi % 12 === 0 || midi % 12 === 5)
    .map((midi) => ({ y: y(midi), isOctave: midi % 12 === 0, name: `${midi % 12 ? "F" : "C"}${Math.floor(midi / 12) - 1}` }));
}

// --- elements -----------------------------------------------------------------------------------

/** What lies under the lines: pitches, bar lines, the foot. */
export function gridOf({ columns, end, height, marks }) {
  const level = (isOctave) => marks.filter((mark) => mark.isOctave === isOctave).map((mark) => `M0 ${round(mark.y)}H${round(end)}`).join("");
  const xs = [...columns.filter(({ step }) => step.startsBar).map(({ x }) => x), end];
  const bars = (from, to) => xs.map((x) => `M${round(x)} ${from}V${to}`).join("");
  return [
    makeSvg("path", { class: "grid-c", d: level(true) }), makeSvg("path", { class: "grid-f", d: level(false) }),
    makeSvg("path", { class: "bar-line", d: bars(HEAD - 6, height - FOOT) }), makeSvg("path", { class: "bar-tick", d: bars(HEAD - 32, HEAD - 8) }),
    makeSvg("path", { class: "foot-line", d: `M0 ${height - FOOT}H${round(end)}` }),
  ];
}

/** The paths of the lines; `thin` leaves the boxes out. */
export const pathsOf = ({ kinds }, { thin = false } = {}) => Object.entries(kinds)
  .filter(([kind, d]) => d && !(thin && kind.startsWith("box"))).map(([kind, d]) => makeSvg("path", { class: kind, d }));

/** From the last column back to the first, where the form is played round and round. */
export function tailOf({ columns, end, height, y }) {
  const [{ step }] = columns;
  const lines = step.joined.flatMap((move) => [
    makeSvg("path", { class: move.midi === move.from ? stillKind(move) : moveKind(move), d: curve(end, y(move.from), y(move.midi)) }),
    makeSvg("path", { class: stillKind(move), "stroke-dasharray": "2 4", d: `M${round(end + CURVE)} ${round(y(move.midi))}h${LOOP_WIDTH - CURVE - 8}` }),
  ]);
  return [
    makeSvg("g", { class: "tail-part" }, ...lines),
    makeSvg("text", { class: "chord", x: round(end + CURVE), y: 33 }, "↺ ", ...symbolNodes(step.symbol, true)),
    step.motion === null ? null : motionText(end, step, height),
  ];
}

const motionText = (x, { motion }, height) => makeSvg("text", { class: `step-motion${motion ? "" : " none"}`, x: round(x + CURVE / 2), y: height - 9 }, String(motion));
const lockMark = (x, y, on) => makeSvg("path", { class: `lock-icon${on}`, d: `M${x} ${y}h8v6h-8zM${x + 1.2} ${y}v-2a2.8 2.8 0 0 1 5.6 0v2h-1.4v-2a1.4 1.4 0 0 0 -2.8 0v2z` });

/** Bar number, symbol, lock and motion of a column; `isHere` for the inverted tab. */
export function columnWords({ x, step }, { height, locked, isHere = false }) {
  const on = isHere ? " on" : "";
  return [
    step.startsBar ? makeSvg("text", { class: "bar-text", x: round(x + 4), y: 12 }, String(step.measure)) : null,
    makeSvg("text", { class: `chord${on}`, x: round(x + 6), y: 33 }, ...symbolNodes(step.symbol, true)),
    locked.has(step.index) ? lockMark(Math.round(x + 12 + step.symbol.length * 8), 27, on) : null,
    step.motion === null ? null : motionText(x, step, height),
  ];
}

export const labelText = ({ x, y, text, kind }) => makeSvg("text", { class: kind, x: round(x), y: round(y) }, text);

/** The names of pitches at the left edge. */
export const axisOf = ({ marks, height }, edge) => marks.filter(({ y }) => y < height - FOOT - 8)
  .map(({ y, name }) => makeSvg("text", { class: "axis-text", x: edge, y: round(y + 4) }, name));
