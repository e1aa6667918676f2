// Downloads of the score, and the request as code.

import { callApi, pathRequest, scoreRequest } from "./api.js";
import { clearProblems, showProblem } from "./problems.js";
import { el, setStatus, state } from "./state.js";

export async function saveScore(accept, name) {
  const { asked } = state;
  clearProblems(el("answer"));
  try {
    const blob = await callApi("/v1/scores", scoreRequest(state.request), accept);
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(blob), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    setStatus(`Downloaded ${name}.`);
  } catch (error) { if (asked === state.asked) showProblem(error, "answer-problem"); }
}

// Copies `made(path, body)` of the current request to the clipboard.
export async function copyCode(made, what) {
  let text = "";
  try {
    text = made(...currentRequest());
  } catch (error) { return showProblem(error); }
  try {
    await navigator.clipboard.writeText(text);
    setStatus(`Copied as ${what}.`);
  } catch {
    setStatus(text);
  }
}

// An exercise is requested again, unless a voicing in it is locked.
function currentRequest() {
  if (state.exercise && !state.pins.size) return ["/v1/exercises", state.exercise.asked];
  return ["/v1/paths", pathRequest()];
}

const shellQuote = (text) => `'${text.replaceAll("'", "'\\''")}'`;

const hasToken = () => el("token").value.trim() !== "";

export function curlCommand(path, asked) {
  const token = hasToken() ? " -H 'Authorization: Bearer TOKEN'" : "";
  return `curl -s ${location.origin}${path}${token} -H 'Content-Type: application/json' -d ${shellQuote(JSON.stringify(asked))}`;
}

const METHODS = { "/v1/paths": ["path", "find_path", "path"], "/v1/exercises": ["exercise", "write_exercise", "exercise.path"] };

export function clientCode(path, { chart, ...more }) {
  const [name, method, answer] = METHODS[path];
  const service = JSON.stringify(location.origin) + (hasToken() ? ', token="TOKEN"' : "");
  const rest = Object.entries(more).map(([name, value]) => `, ${name}=${pythonLiteral(value)}`).join("");
  return `from shortway_client import Client\n\nwith Client(${service}) as shortway:\n    ${name} = shortway.${method}(${pythonLiteral(chart)}${rest})\n    print(${answer}.motion)\n`;
}

function pythonLiteral(value) {
  if (value === true) return "True";
  if (value === false) return "False";
  if (value === null) return "None";
  if (Array.isArray(value)) return `[${value.map(pythonLiteral).join(", ")}]`;
  if (typeof value === "object") return `{${Object.entries(value).map(([k, v]) => `${JSON.stringify(k)}: ${pythonLiteral(v)}`).join(", ")}}`;
  return JSON.stringify(value);
}
