// Taking the answer away: files of it, and the request as code.

import { call, request, scoreOf } from "./asking.js";
import { clearProblems, refused } from "./problems.js";
import { el, say, state } from "./state.js";

export async function save(accept, name) {
  const { asked } = state;
  clearProblems(el("answer"));
  try {
    const blob = await call("/v1/scores", scoreOf(state.request), accept);
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(blob), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    say(`${name} is downloaded.`);
  } catch (error) { if (asked === state.asked) refused(error, "answer-problem"); }
}

// The form may say nothing that can be asked.
export async function copy(made, what) {
  let text = "";
  try {
    text = made(...question());
  } catch (error) { return refused(error); }
  try {
    await navigator.clipboard.writeText(text);
    say(`Copied as ${what}.`);
  } catch {
    say(text);
  }
}

// An exercise is asked for anew, unless something in it is locked.
function question() {
  if (state.exercise && !state.pins.size) return ["/v1/exercises", state.exercise.asked];
  return ["/v1/paths", request()];
}

const quoted = (text) => `'${text.replaceAll("'", "'\\''")}'`;

const hasToken = () => el("token").value.trim() !== "";

export function asCurl(path, asked) {
  const token = hasToken() ? " -H 'Authorization: Bearer TOKEN'" : "";
  return `curl -s ${location.origin}${path}${token} -H 'Content-Type: application/json' -d ${quoted(JSON.stringify(asked))}`;
}

const METHODS = { "/v1/paths": ["path", "solve_path", "path"], "/v1/exercises": ["exercise", "exercise", "exercise.path"] };

export function asClient(path, { chart, ...more }) {
  const [name, method, answer] = METHODS[path];
  const service = JSON.stringify(location.origin) + (hasToken() ? ', token="TOKEN"' : "");
  const rest = Object.entries(more).map(([name, value]) => `, ${name}=${asPython(value)}`).join("");
  return `from shortway_client import Client\n\nwith Client(${service}) as shortway:\n    ${name} = shortway.${method}(${asPython(chart)}${rest})\n    print(${answer}.motion.total)\n`;
}

function asPython(value) {
  if (value === true) return "True";
  if (value === false) return "False";
  if (value === null) return "None";
  if (Array.isArray(value)) return `[${value.map(asPython).join(", ")}]`;
  if (typeof value === "object") return `{${Object.entries(value).map(([k, v]) => `${JSON.stringify(k)}: ${asPython(v)}`).join(", ")}}`;
  return JSON.stringify(value);
}
