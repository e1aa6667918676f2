// Charts from files, examples and dropped text, and the previous chart.

import { solvePath } from "./path.js";
import { base64, el, state } from "./state.js";

const before = [];

// Formats of a chart's text by the ends of file names; any other text is a grid.
const TEXT_FORMATS = {
  cho: "chordpro", crd: "chordpro", chopro: "chordpro", chordpro: "chordpro", pro: "chordpro",
  lab: "lab", abc: "abc", rntxt: "romantext", romantext: "romantext",
};

export async function openChart(file) {
  const end = file.name.toLowerCase().split(".").pop();
  if (end === "mxl") replaceChart("", { name: file.name, value: { mxl: base64(new Uint8Array(await file.arrayBuffer())) } });
  else if (end === "musicxml" || end === "xml") replaceChart("", { name: file.name, value: { musicxml: await file.text() } });
  else if (TEXT_FORMATS[end]) replaceChart("", { name: file.name, value: { text: await file.text(), text_format: TEXT_FORMATS[end] } });
  else replaceChart(await file.text());
}

// A lead sheet keeps the typed text.
export function replaceChart(text, source = null) {
  before.push(currentChart());
  setChart({ text: source ? el("chart").value : text, source, pins: [], edited: null });
}

export function restoreChart() {
  if (before.length) setChart(before.pop());
  el("chart").focus();
}

// Editing the text makes it the chart to solve.
export function chartEdited() {
  if (state.exercise) state.pins.clear();
  if (state.pins.size) state.edited ??= state.path.steps;
  if (state.source) before.push(currentChart());
  Object.assign(state, { source: null, exercise: null });
  showSource();
}

const currentChart = () => ({ text: el("chart").value, source: state.source, pins: [...state.pins], edited: state.edited });

function setChart({ text, source, pins, edited }) {
  Object.assign(state, { source, exercise: null, pins: new Map(pins), edited });
  el("chart").value = text;
  showSource();
  solvePath();
}

function showSource() {
  el("sheet").hidden = !state.source;
  el("sheet").textContent = state.source ? `The chart is the lead sheet ${state.source.name}; edit the text to use it instead.` : "";
  const last = before.at(-1);
  el("chart-back").hidden = !last;
  if (last) el("chart-back").textContent = `Back to ${last.source?.name ?? titleOf(last.text)}`;
}

function titleOf(text) {
  const title = /^\s*title:\s*(.+)$/m.exec(text)?.[1] ?? /"title"\s*:\s*"([^"]+)"/.exec(text)?.[1];
  const first = text.trim().split("\n")[0];
  return title?.trim() ?? (first.length > 30 ? `${first.slice(0, 30)}…` : first || "the empty chart");
}
