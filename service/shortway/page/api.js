// Calls of the API, and the requests that the form makes.

import { el, state } from "./state.js";

export async function callApi(path, body, accept = "application/json") {
  const token = el("token").value.trim();
  const answer = await fetch(path, {
    method: body === undefined ? "GET" : "POST",
    headers: {
      Accept: accept,
      ...(body === undefined ? {} : { "Content-Type": "application/json" }),
      ...(token ? { Authorization: `Bearer ${token}` } : {}),
    },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  if (!answer.ok) throw await problemError(answer);
  return accept === "application/json" ? answer.json() : answer.blob();
}

// The problem details of a rejected request; 401 is shown beside the token field.
async function problemError(answer) {
  const problem = await answer.json().catch(() => null);
  const detail = problem?.detail ?? `The service responded with status ${answer.status}.`;
  const errors = answer.status === 401 ? [{ pointer: "/token", detail }] : problem?.errors ?? [];
  return requestError(detail, errors, answer.headers.get("Retry-After"));
}

export function requestError(detail, errors, wait = null) {
  const words = wait ? `${detail}; retry in ${wait} seconds` : detail;
  return Object.assign(new Error(words), { problem: { detail: words, errors } });
}

function setting() {
  const found = {};
  for (const input of document.querySelectorAll("[data-field]")) {
    const text = input.value.trim();
    if (text) found[input.dataset.field] = KINDS[input.dataset.kind ?? "text"](text);
  }
  return found;
}

const KINDS = {
  text: (text) => text,
  flag: (text) => text === "true",
  list: (text) => text.split(/[\s,]+/),
  notes: (text) => (/^\d+$/.test(text) ? Number(text) : text),
};

// The chart as typed or opened, never an exercise made of it.
export function chartInput() {
  if (state.source) return state.source.value;
  const text = el("chart").value;
  if (!text.trim().startsWith("{")) return { text };
  try {
    return JSON.parse(text);
  } catch (error) {
    throw requestError("The chart begins with { but is not valid JSON.", [{
      pointer: "/chart", position: jsonErrorPosition(text, error.message), detail: `cannot read the JSON: ${error.message}`,
      expected: "JSON such as {\"measures\": [[{\"symbol\": \"F6\"}]]}, or text such as | F6 | C7 |",
    }]);
  }
}

// Error messages of JSON.parse differ between browsers.
function jsonErrorPosition(text, words) {
  const position = /position (\d+)/.exec(words);
  if (position) return Number(position[1]);
  const place = /line (\d+) column (\d+)/.exec(words);
  if (!place) return text.length;
  const lines = text.split("\n").slice(0, Number(place[1]) - 1);
  return lines.reduce((sum, line) => sum + line.length + 1, Number(place[2]) - 1);
}

export const lockedPins = () => [...state.pins].sort((a, b) => a[0] - b[0]).map(([step, notes]) => ({ step, midi_notes: notes }));

export function pathRequest() {
  const pins = state.edited ? [] : lockedPins();
  const asked = state.exercise ? state.exercise.chart : chartInput();
  return { chart: asked, ...pathOptions(), ...(pins.length ? { pins } : {}) };
}

export const pathOptions = () => ({ setting: setting(), loop: el("loop").checked });

const tempo = () => Math.min(400, Math.max(20, Number(el("tempo").value) || 120));

export const scoreRequest = (asked, more = {}) => ({ ...asked, tempo: tempo(), ...(el("rhythm").value ? { rhythm: el("rhythm").value } : {}), ...more });
