// The keys of a piano: where they lie, the marks of the hands on them, and small keyboards.

import { makeSvg } from "../dom.js";
import { degreeName, notesOf } from "../words.js";

const IS_BLACK = [0, 1, 0, 1, 0, 0, 1, 0, 1, 0, 1, 0];
// Centres of the keys of an octave, in widths of a white key.
const CENTRES = [0.5, 0.93, 1.5, 2.07, 2.5, 3.5, 3.9, 4.5, 5, 5.5, 6.1, 6.5];

export const isBlack = (midi) => IS_BLACK[midi % 12] === 1;
const centre = (midi) => Math.floor(midi / 12) * 7 + CENTRES[midi % 12];
const whiteDown = (midi) => (isBlack(midi) ? midi - 1 : midi);
const whiteUp = (midi) => (isBlack(midi) ? midi + 1 : midi);

export const round = (value) => Math.round(value * 10) / 10;

const square = (x, y, r) => `M${round(x - r)} ${round(y - r)}h${round(2 * r)}v${round(2 * r)}h${round(-2 * r)}z`;
const disc = (x, y, r) => `M${round(x - r)} ${round(y)}a${r} ${r} 0 1 0 ${round(2 * r)} 0a${r} ${r} 0 1 0 ${round(-2 * r)} 0z`;
/** The shape that stands for a hand: square for the left, round for the right. */
export const handMark = (hand) => (hand === "left" ? square : disc);

/** The keys from `low` to `high` with `room` half steps more at both ends, from white key to white key. */
export const keyRange = ([low, high], room = 0) => ({ low: whiteDown(low - room), high: whiteUp(high + room) });

/** The keys of a range as paths: `white`, `black`, the width `unit` of a white key, and `x` of each key's centre. */
export function drawKeys({ low, high }, width, height, top = 0) {
  const midis = Array.from({ length: high - low + 1 }, (_, k) => low + k);
  const whites = midis.filter((midi) => !isBlack(midi));
  const unit = width / whites.length;
  const x = (midi) => (centre(midi) - centre(low) + 0.5) * unit;
  const [wide, tall] = [unit * 0.6, height * 0.62];
  const lines = whites.slice(1).map((_, k) => `M${round((k + 1) * unit)} ${top}v${height}`).join("");
  const blacks = midis.filter(isBlack).map((midi) => `M${round(x(midi) - wide / 2)} ${top}h${round(wide)}v${round(tall)}h${round(-wide)}z`).join("");
  return { unit, x, whites, tall, white: `M0 ${top}h${width}v${height}h${-width}z${lines}`, black: blacks };
}

/** A small keyboard with the notes of a voicing and their degrees; the words beside it say the notes. */
export function miniKeyboard(voicing, range, width) {
  const height = Math.round(width * 0.2) + 8;
  const keys = drawKeys(range, width, height, 1);
  const r = Math.min(7, round(keys.unit * 0.42));
  const marks = { left: "", right: "" };
  const degrees = [];
  let shown = -99;
  for (const { midi, hand, degree } of notesOf(voicing)) {
    const x = keys.x(midi);
    marks[hand] += handMark(hand)(x, isBlack(midi) ? keys.tall - r - 1 : height - r - 2, r);
    shown = Math.max(x, shown + 8 + degree.length * 4);
    degrees.push(makeSvg("text", { class: "axis-text middle", x: round(shown), y: height + 14 }, degreeName(degree)));
  }
  return makeSvg("svg", { class: "mini", viewBox: `-1 0 ${width + 2} ${height + 18}`, "aria-hidden": "true" },
    makeSvg("path", { class: "white-key", d: keys.white }), makeSvg("path", { class: "black-key", d: keys.black }),
    makeSvg("path", { class: "mark-left", d: marks.left }), makeSvg("path", { class: "mark-right", d: marks.right }), ...degrees);
}

/** A preset's hands on a few keys: a bass note or none, then notes of the left and of the right hand. */
export function pictogram({ bass, left, right, small }) {
  const marks = (from, count, hand) => Array.from({ length: count }, (_, k) => handMark(hand)(4 + (from + k) * 8, 19, 3)).join("");
  const whites = Array.from({ length: 9 }, (_, k) => `M${(k + 1) * 8} 2v24`).join("");
  const blacks = [1, 2, 4, 5, 6, 8, 9].map((k) => `M${k * 8 - 2.5} 2h5v11h-5z`).join("");
  return makeSvg("svg", { viewBox: "-1 0 82 28", "aria-hidden": "true" },
    makeSvg("path", { class: "outline", d: `M0 2h80v24h-80z${whites}` }), makeSvg("path", { class: "blacks", d: blacks }),
    makeSvg("path", { class: "hand-left", d: (bass ? marks(0, 1, "left") : "") + marks(bass ? 2 : 1, left, "left") }),
    makeSvg("path", { class: "hand-right", d: marks(small ? 4 : 5, right, "right") }));
}
