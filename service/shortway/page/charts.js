// Charts from elsewhere: files, examples, text that is dropped; and the way back to the chart before.

import { solve } from "./solving.js";
import { base64, el, state } from "./state.js";

const before = [];

export async function open(file) {
  const end = file.name.toLowerCase().split(".").pop();
  if (end === "mxl") replace("", { name: file.name, value: { mxl: base64(new Uint8Array(await file.arrayBuffer())) } });
  else if (end === "musicxml" || end === "xml") replace("", { name: file.name, value: { musicxml: await file.text() } });
  else replace(await file.text());
}

// A lead sheet leaves the typed text where it is.
export function replace(text, source = null) {
  before.push(now());
  put({ text: source ? el("chart").value : text, source, pins: [] });
}

export function back() {
  if (before.length) put(before.pop());
  el("chart").focus();
}

// Typing is asking about what is typed.
export function typed() {
  state.pins.clear();
  if (state.source) before.push(now());
  Object.assign(state, { source: null, exercise: null });
  label();
}

const now = () => ({ text: el("chart").value, source: state.source, pins: [...state.pins] });

function put({ text, source, pins }) {
  Object.assign(state, { source, exercise: null, pins: new Map(pins) });
  el("chart").value = text;
  label();
  solve();
}

function label() {
  el("sheet").hidden = !state.source;
  el("sheet").textContent = state.source ? `The lead sheet ${state.source.name} is asked about; typing goes back to the text.` : "";
  const last = before.at(-1);
  el("chart-back").hidden = !last;
  if (last) el("chart-back").textContent = `Back to ${last.source?.name ?? titleOf(last.text)}`;
}

function titleOf(text) {
  const title = /^\s*title:\s*(.+)$/m.exec(text)?.[1] ?? /"title"\s*:\s*"([^"]+)"/.exec(text)?.[1];
  const first = text.trim().split("\n")[0];
  return title?.trim() ?? (first.length > 30 ? `${first.slice(0, 30)}…` : first || "the empty chart");
}
