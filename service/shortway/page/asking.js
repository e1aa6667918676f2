// Asking the service: one call, and requests made of what the form says.

import { el, state } from "./state.js";

export async function call(path, body, accept = "application/json") {
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
  if (!answer.ok) throw await refusedBy(answer);
  return accept === "application/json" ? answer.json() : answer.blob();
}

// What the service says is wrong; that a token is missing is shown where one is typed.
async function refusedBy(answer) {
  const problem = await answer.json().catch(() => null);
  const detail = problem?.detail ?? `The service answered ${answer.status}.`;
  const errors = answer.status === 401 ? [{ pointer: "/token", detail }] : problem?.errors ?? [];
  return refusal(detail, errors, answer.headers.get("Retry-After"));
}

function refusal(detail, errors, wait = null) {
  const words = wait ? `${detail}; try again in ${wait} seconds` : detail;
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
export function chart() {
  if (state.source) return state.source.value;
  const text = el("chart").value;
  if (!text.trim().startsWith("{")) return text;
  try {
    return JSON.parse(text);
  } catch (error) {
    throw refusal("The chart begins with { and is no JSON.", [{
      pointer: "/chart", position: faultIn(text, error.message), detail: `This is no JSON: ${error.message}`,
      expected: "JSON such as {\"measures\": [[{\"symbol\": \"F6\"}]]}, or a text such as | F6 | C7 |",
    }]);
  }
}

// Browsers say where a text stops being JSON in words of their own.
function faultIn(text, words) {
  const position = /position (\d+)/.exec(words);
  if (position) return Number(position[1]);
  const place = /line (\d+) column (\d+)/.exec(words);
  if (!place) return text.length;
  const lines = text.split("\n").slice(0, Number(place[1]) - 1);
  return lines.reduce((sum, line) => sum + line.length + 1, Number(place[2]) - 1);
}

export function request() {
  const pins = [...state.pins].sort((a, b) => a[0] - b[0]).map(([step, midi]) => ({ step, midi }));
  const asked = state.exercise ? state.exercise.chart : chart();
  return { chart: asked, ...conditions(), ...(pins.length ? { pins } : {}) };
}

export const conditions = () => ({ setting: setting(), loop: el("loop").checked });

const tempo = () => Math.min(400, Math.max(20, Number(el("tempo").value) || 120));

export const scoreOf = (asked, more = {}) => ({ ...asked, tempo: tempo(), ...(el("rhythm").value ? { rhythm: el("rhythm").value } : {}), ...more });
