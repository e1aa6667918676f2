// The voice lines: picture of the path, its timeline and its scrubber, a slider for the keyboard.

import { make, makeSvg, once, setAttributes } from "../dom.js";
import { countNoun, symbolText } from "../words.js";
import { FOOT, HEAD, LOOP_WIDTH, axisOf, columnsOf, columnWords, drawLines, gridOf, labelText, pathsOf, tailOf } from "./line_drawing.js";
import { beatOf, fourBarsFrom, stepsOf } from "./steps.js";

export function create(element, actions) {
  const view = { ...parts(), actions, state: null, steps: [], picture: null, words: [-1, -1] };
  element.replaceChildren(make("div", { className: "lines" }, view.axis, view.track, view.label, view.overview));
  listenToTrack(view);
  listenToOverview(view);
  const resized = new ResizeObserver(once(() => layOut(view)));
  resized.observe(element);
  return { draw: (shown) => draw(view, shown), destroy: () => resized.disconnect() };
}

const LAYERS = ["under", "mark", "over", "words", "top"];

function parts() {
  const layers = Object.fromEntries(LAYERS.map((name) => [name, makeSvg("g", { class: name })]));
  const picture = makeSvg("svg", { "aria-hidden": "true" }, ...Object.values(layers));
  const [form, frame] = [makeSvg("svg", { class: "form", preserveAspectRatio: "none" }), makeSvg("svg", { class: "frame", preserveAspectRatio: "none" })];
  const [window, head] = [makeSvg("rect", { class: "window" }), makeSvg("path", { class: "head" })];
  frame.append(window, head);
  return {
    layers, form, frame, window, head, svg: picture,
    axis: makeSvg("svg", { class: "axis", "aria-hidden": "true" }),
    track: make("div", { className: "track", id: "track", role: "slider", tabIndex: 0, "aria-label": "Chord", "aria-orientation": "horizontal" }, picture),
    label: make("span", { className: "overview-label" }, "Form"),
    overview: make("div", { className: "overview", id: "overview", "aria-hidden": "true" }, form, frame),
  };
}

// The lines are laid out anew for another path, other locks or another width; else the mark moves.
function draw(view, { answer, state }) {
  if (!answer?.path?.steps.length) return;
  const isSame = view.state && view.path === answer.path && view.state.locks === state.locks;
  const isStill = isSame && view.state.place === state.place;
  Object.assign(view, { path: answer.path, steps: stepsOf(answer.path), state, locked: new Set(state.locks.map((lock) => lock.step)) });
  if (!isSame) layOut(view);
  else if (!isStill) mark(view);
}

function layOut(view) {
  const { track, steps } = view;
  const width = track.clientWidth;
  if (!steps.length || !width) return;
  const hasTail = view.path.loop_motion !== null;
  const laid = columnsOf(steps, { width, hasTail, locked: view.locked });
  view.overview.hidden = view.label.hidden = laid.fits;
  const height = Math.max(190, track.parentElement.clientHeight - 16 - (laid.fits ? 0 : 62));
  view.picture = drawLines(laid, { height, locked: view.locked });
  const full = Math.ceil(laid.end + (hasTail ? LOOP_WIDTH : 4));
  setAttributes(view.svg, { width: full, height, viewBox: `0 0 ${full} ${height}` });
  view.layers.under.replaceChildren(...gridOf(view.picture));
  view.layers.over.replaceChildren(...pathsOf(view.picture), ...(hasTail ? tailOf(view.picture).filter(Boolean) : []));
  drawAxis(view, width);
  if (!laid.fits) drawForm(view);
  view.words = [-1, -1];
  mark(view);
}

function drawAxis({ axis, picture }, width) {
  const wide = axis.parentElement.clientWidth - width;
  setAttributes(axis, { width: wide, height: picture.height });
  const moves = wide > 38 ? [makeSvg("text", { class: "axis-text", x: wide - 8, y: picture.height - 9 }, "moves")] : [];
  axis.replaceChildren(...axisOf(picture, wide - 8), ...moves);
}

function drawForm({ form, frame, picture }) {
  form.replaceChildren(...pathsOf(picture, { thin: true }));
  for (const one of [form, frame]) one.setAttribute("viewBox", `0 ${HEAD - 12} ${picture.end} ${picture.height - HEAD - FOOT + 24}`);
}

// --- what changes with the step ---------------------------------------------------------------------

function mark(view) {
  const { picture, track, state, locked } = view;
  const column = picture?.columns[state.place];
  if (!column) return;
  const { x, w } = column;
  const { height } = picture;
  view.layers.mark.replaceChildren(makeSvg("rect", { class: "here-back", x, y: 16, width: w, height: height - 16 }));
  view.layers.top.replaceChildren(
    makeSvg("rect", { class: "here-tab", x, y: 16, width: w, height: 24 }), makeSvg("rect", { class: "here-tab", x, y: height - 3, width: w, height: 3 }),
    ...columnWords(column, { height, locked, isHere: true }).filter(Boolean),
  );
  sayPlace(view, column.step);
  const isInSight = x >= track.scrollLeft + 30 && x + w <= track.scrollLeft + track.clientWidth - 60;
  if (!isInSight && !view.isHeld) track.scrollLeft = Math.max(0, x - track.clientWidth * 0.3);
  drawWords(view);
  drawWindow(view);
}

function sayPlace({ track, steps, locked }, step) {
  const moved = step.motion === null ? "" : `, ${countNoun(step.motion, "semitone")}`;
  const words = `Bar ${step.measure}, beat ${beatOf(step)}, ${symbolText(step.symbol)}${moved}${locked.has(step.index) ? ", locked" : ""}`;
  setAttributes(track, { "aria-valuemin": 1, "aria-valuemax": steps.length, "aria-valuenow": step.index + 1, "aria-valuetext": words });
}

// Words stand only in the columns in sight and a few beside them.
function drawWords(view) {
  const { picture, track, locked } = view;
  const { columns, labels, height } = picture;
  const first = Math.max(0, columns.findLastIndex(({ x }) => x <= track.scrollLeft) - 3);
  const beyond = columns.findIndex(({ x }) => x > track.scrollLeft + track.clientWidth);
  const last = beyond < 0 ? columns.length : Math.min(columns.length, beyond + 3);
  const [from, to] = view.words;
  if (from >= 0 && first >= from && last <= to && to - from < 80) return;
  const shown = [Math.max(0, first - 6), Math.min(columns.length, last + 6)];
  view.words = shown;
  view.layers.words.replaceChildren(
    ...columns.slice(...shown).flatMap((column) => columnWords(column, { height, locked })).filter(Boolean),
    ...labels.filter(({ step }) => step >= shown[0] && step < shown[1]).map(labelText),
  );
}

function drawWindow({ overview, picture, track, state, window, head }) {
  if (overview.hidden) return;
  const { end, height, columns } = picture;
  setAttributes(window, { x: track.scrollLeft, width: Math.min(end, track.clientWidth), y: HEAD - 11, height: height - HEAD - FOOT + 22 });
  const { x, w } = columns[state.place];
  head.setAttribute("d", `M${x + w / 2} ${HEAD - 12}V${height}`);
}

// --- pointer and keys -----------------------------------------------------------------------------

function columnAt({ picture }, x) {
  if (x > picture.end) return 0;
  return Math.max(0, picture.columns.findLastIndex((column) => column.x <= x));
}

// A step chosen with the pointer is in sight: the lines stay where they are under it.
function goHeld(view, step) {
  if (step === view.state.place) return;
  view.isHeld = true;
  view.actions.goTo(step);
  view.isHeld = false;
}

function listenToTrack(view) {
  const { track } = view;
  const stepOf = (event) => columnAt(view, event.clientX - view.svg.getBoundingClientRect().left);
  let isDragged = false;
  view.svg.addEventListener("pointerdown", (event) => {
    isDragged = event.pointerType === "mouse";
    if (isDragged) goHeld(view, stepOf(event));
  });
  view.svg.addEventListener("click", (event) => goHeld(view, stepOf(event)));
  view.svg.addEventListener("pointermove", (event) => { if (isDragged && event.buttons) goHeld(view, stepOf(event)); });
  track.addEventListener("scroll", once(() => { if (view.picture) { drawWords(view); drawWindow(view); } }), { passive: true });
  track.addEventListener("keydown", (event) => {
    const to = KEYS[event.key];
    if (!to || !view.steps.length || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    event.stopPropagation();
    view.actions.goTo(to(view.state.place, view.steps));
  });
}

const KEYS = {
  ArrowLeft: (at) => at - 1, ArrowRight: (at) => at + 1,
  Home: () => 0, End: (at, steps) => steps.length - 1,
  PageDown: (at, steps) => fourBarsFrom(steps, at, 1), PageUp: (at, steps) => fourBarsFrom(steps, at, -1),
};

function listenToOverview(view) {
  const { overview } = view;
  const scrub = (event) => {
    const box = overview.getBoundingClientRect();
    view.actions.goTo(columnAt(view, Math.min(view.picture.end, ((event.clientX - box.left) / box.width) * view.picture.end)));
  };
  overview.addEventListener("pointerdown", (event) => { overview.setPointerCapture(event.pointerId); scrub(event); });
  overview.addEventListener("pointermove", (event) => { if (event.buttons) scrub(event); });
}
