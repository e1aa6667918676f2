// The chart's text field, over a painted copy of itself: the current chord, locks, and the place of a fault.

import { el, make, once } from "../dom.js";
import { edited } from "../state/question.js";
import { countNoun, noteName } from "../words.js";
import { stepAt, stepPlaces } from "./places.js";
import { createProblems, textFault } from "./problems.js";

export function createEditor(store, solving, actions) {
  const field = el("chart");
  const change = (chart, undoable) => store.set(edited(store.get(), solving.get().path, chart), { undoable });
  const problems = createProblems(field, {
    setMeasures: (measureEach) => change({ ...store.get().chart, measureEach }, true),
    again: solving.ask,
  });
  let places = [];
  let placed = null; // the path and text that `places` belong to

  function furnishPlaces({ path, stale }, { chart, exercise }) {
    if (!path || stale || exercise || chart.file) { places = []; placed = null; return; }
    if (placed?.path === path && placed.text === chart.text) return;
    placed = { path, text: chart.text };
    places = stepPlaces(chart.text, path.steps);
  }

  field.addEventListener("input", () => {
    const { file, ...chart } = store.get().chart;
    change(field.value ? { ...chart, text: field.value } : { text: "" }, "typing");
  });
  field.addEventListener("click", () => {
    if (field.selectionStart !== field.selectionEnd) return;
    const step = stepAt(places, field.selectionStart, store.get().place);
    if (step !== undefined) actions.goTo(step);
  });
  field.addEventListener("scroll", once(() => followScroll(field)));
  el("paint").addEventListener("scroll", () => followScroll(field));

  return {
    draw({ answer, state }) {
      const { text } = state.chart;
      if (field.value !== text) field.value = text;
      furnishPlaces(answer, state);
      const fault = textFault(answer.problem, text);
      paint(text, marksOf(state, places, fault));
      followScroll(field);
      problems.draw(answer, text);
      el("chart-status").replaceChildren(...statusOf(answer, state));
      el("editor").classList.toggle("unused", Boolean(state.chart.file));
    },
  };
}

// The copy ends where the field's scrollbars begin.
function followScroll(field) {
  const { clientWidth, clientHeight } = field.parentElement;
  el("paint").style.inset = `0 ${clientWidth - field.clientWidth}px ${clientHeight - field.clientHeight}px 0`;
  el("paint").scrollTop = field.scrollTop;
  el("paint").scrollLeft = field.scrollLeft;
}

function marksOf({ place, locks }, places, fault) {
  const marks = locks.map(({ step }) => ({ ...places[step], kind: "paint-locked" }));
  marks.push({ ...places[place], kind: "paint-here" });
  if (fault) marks.push({ ...fault, kind: "paint-bad" });
  return marks.filter(({ from, to }) => from < to).sort((a, b) => a.from - b.from || (a.kind === "paint-here" ? -1 : 1));
}

const PARTS = /^(?:title|key|meter|tempo):.*$|[|:]*\|[|:]*(?:\d\.)?/gm;

function paint(text, marks) {
  const nodes = [];
  let done = 0;
  for (const { from, to, kind } of marks) {
    if (from < done) continue;
    nodes.push(...plain(text.slice(done, from)), make("span", { className: kind }, text.slice(from, to)));
    done = to;
  }
  el("paint").replaceChildren(...nodes, ...plain(text.slice(done)), "\n");
}

function plain(text) {
  const nodes = [];
  let done = 0;
  for (const { 0: part, index } of text.matchAll(PARTS)) {
    nodes.push(text.slice(done, index), make("span", { className: part.includes("|") ? "paint-bar" : "paint-head" }, part));
    done = index + part.length;
  }
  return [...nodes, text.slice(done)];
}

function statusOf({ phase, path, stale }, { chart, locks }) {
  if (phase === "empty") return ["Bars between |, % repeats a bar, |: :| repeats a section"];
  if (phase === "loading") return [make("span", { className: "spinner" }), "Solving"];
  if (phase === "error") return ["Not solved"];
  if (stale || !path) return ["…"];
  const bars = path.steps.filter(({ measure, beat }, k) => k === 0 || measure !== path.steps[k - 1].measure || beat <= path.steps[k - 1].beat).length;
  const key = /^key:\s*(\S+)/m.exec(chart.text)?.[1];
  const found = locks.length ? "" : ` · best path through ${path.size.candidates.toLocaleString("en")} voicings`;
  return [`${countNoun(bars, "bar")}, ${countNoun(path.steps.length, "chord")}${key && !chart.file ? `, in ${noteName(key)}` : ""}${found}`];
}
