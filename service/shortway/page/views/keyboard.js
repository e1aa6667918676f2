// The stage keyboard: the voicing of the step, ghosts of the step before, arrows from there, spans of the hands.

import { el, makeSvg, once, setAttributes } from "../dom.js";
import { degreeName, noteName, notesOf } from "../words.js";
import { drawKeys, handMark, isBlack, keyRange, round } from "./keys.js";
import { movesInto, pitchRange, spokenNotes, stepsOf } from "./steps.js";

const HANDS = ["left", "right"];
// Width of a letter of a note's name, in px.
const LETTER = 7;

export function create(element, actions) {
  let last = null;
  const redraw = () => last && drawStep(element, last);
  el("ghosts").addEventListener("change", ({ target }) => actions.set({ showPrevious: target.checked }));
  const resized = new ResizeObserver(once(redraw));
  resized.observe(element);
  return {
    draw({ answer, state, preview = null }) {
      el("ghosts").checked = state.showPrevious;
      const isSame = last && last.path === answer.path && last.place === state.place && last.preview === preview && last.showPrevious === state.showPrevious;
      if (isSame) return;
      last = answer.path && { path: answer.path, place: state.place, showPrevious: state.showPrevious, preview };
      redraw();
    },
    destroy: () => resized.disconnect(),
  };
}

function drawStep(element, { path, place, showPrevious, preview }) {
  const steps = stepsOf(path);
  const step = steps[place];
  const width = Math.round(element.clientWidth);
  if (!step || !width) return;
  const notes = preview ? notesOf(preview) : step.notes;
  const moves = preview ? movesInto(step.before, preview) : step.joined;
  const frame = frameOf(width, pitchRange([...steps, ...(preview ? [preview] : [])]));
  const picture = el("keyboard");
  setAttributes(picture, { viewBox: `-1 0 ${width} ${frame.bottom + 46}`, height: frame.bottom + 46 });
  picture.querySelector("g").replaceChildren(
    makeSvg("path", { class: "white-key", d: frame.keys.white }), ...octaveNames(frame, notes, moves),
    makeSvg("path", { class: "black-key", d: frame.keys.black }),
    ...(showPrevious ? ghostMarks(frame, moves) : []), ...noteMarks(frame, notes), ...arrows(frame, moves, step.before),
    ...noteNames(frame, notes), ...spans(frame, notes, (preview ?? step.voicing)?.span_mm),
  );
  element.classList.toggle("previewed", Boolean(preview));
  el("keyboard-title").textContent = spokenNotes(step.symbol, notes);
}

function frameOf(width, pitches) {
  const isSmall = width < 640;
  const lane = isSmall ? 48 : 54;
  const height = isSmall ? 104 : Math.round(Math.min(150, Math.max(112, innerHeight * 0.15)));
  const keys = drawKeys(keyRange(pitches, isSmall ? 1 : 4), width - 2, height, lane);
  const r = Math.min(13, round(keys.unit * 0.4));
  const y = (midi) => (isBlack(midi) ? lane + keys.tall - r - 6 : lane + height - r - 8);
  return { keys, isSmall, lane, r, y, bottom: lane + height };
}

function octaveNames({ keys, isSmall, bottom }, notes, moves) {
  const isFree = (midi) => !notes.some((note) => note.midi === midi) && !moves.some((move) => move.from === midi);
  return keys.whites.filter((midi) => midi % 12 === 0 && !isSmall && isFree(midi))
    .map((midi) => makeSvg("text", { class: "key-c", x: round(keys.x(midi)), y: bottom - 8 }, `C${midi / 12 - 1}`));
}

const ghostMarks = ({ keys, y, r }, moves) => moves.filter((move) => move.from !== move.midi).map(({ from, hand }) => makeSvg("path", {
  class: `ghost-mark${isBlack(from) ? " on-black" : ""}`, d: handMark(hand)(keys.x(from), y(from), r - 1),
}));

const noteMarks = ({ keys, y, r, isSmall }, notes) => notes.flatMap(({ midi, hand, degree }) => [
  makeSvg("path", { class: `mark-${hand}`, d: handMark(hand)(keys.x(midi), y(midi), r) }),
  makeSvg("text", { class: `mark-text${isSmall ? " small" : ""}`, x: round(keys.x(midi)), y: round(y(midi) + 4.5) }, degreeName(degree)),
]);

// Arcs in the lane over the keys; those close to the one before rise above it.
function arrows({ keys, lane }, moves, before) {
  const base = lane - 4;
  let [taken, level] = [-99, 0];
  return moves.flatMap((move) => {
    const [from, to] = [keys.x(move.from), keys.x(move.midi)];
    if (from === to) return before ? [makeSvg("path", { class: "stays", d: `M${round(to - 6)} ${base - 3}h12` })] : [];
    const middle = (from + to) / 2;
    level = middle - taken < 24 ? (level + 1) % 2 : 0;
    taken = middle;
    const rise = Math.min(26, 14 + Math.abs(to - from) * 0.2) + level * 12;
    return arrow(move, { from, to, middle, rise, base });
  });
}

function arrow({ midi, from: start, is_bass: isBass }, { from, to, middle, rise, base }) {
  const kind = isBass ? " bass" : "";
  const by = midi - start;
  return [
    makeSvg("path", { class: `arc${kind}`, d: `M${round(from)} ${base - 2}Q${round(middle)} ${round(base - rise * 2)} ${round(to)} ${base - 6}` }),
    makeSvg("circle", { class: `arc-foot${kind}`, cx: round(from), cy: base - 2, r: 3 }),
    makeSvg("path", { class: `arc-head${kind}`, d: `M${round(to - 5)} ${base - 7}h10l-5 8z` }),
    makeSvg("text", { class: `arc-text${kind}`, x: round(middle), y: round(Math.max(11, base - rise - 9)) }, `${by > 0 ? "+" : "−"}${Math.abs(by)}`),
  ];
}

function noteNames({ keys, bottom }, notes) {
  let end = -99;
  return notes.map(({ midi, note }) => {
    const x = keys.x(midi);
    const half = note.length * LETTER / 2;
    const drop = x - half < end ? 11 : 0;
    end = drop ? -99 : x + half;
    return makeSvg("text", { class: "key-name", x: round(x), y: bottom + 15 + drop }, noteName(note));
  });
}

function spans({ keys, bottom, isSmall }, notes, spanMm) {
  return HANDS.flatMap((hand) => {
    const xs = notes.filter((note) => note.hand === hand).map(({ midi }) => keys.x(midi));
    if (!xs.length) return [];
    const [from, to] = [Math.min(...xs) - 8, Math.max(...xs) + 8];
    const wide = spanMm?.[hand] ? `, ${Math.round(spanMm[hand])} mm` : "";
    return [
      makeSvg("path", { class: "span", d: `M${round(from)} ${bottom + 25}v5h${round(to - from)}v-5` }),
      makeSvg("text", { class: "span-text", x: round((from + to) / 2), y: bottom + 43 }, isSmall ? `${hand}${wide}` : `${hand} hand${wide}`),
    ];
  });
}
