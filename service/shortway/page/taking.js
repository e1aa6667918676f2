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

// `made` may find that the form says nothing that can be asked.
export async function copy(made, what) {
  let text = "";
  try {
    text = made(request());
  } catch (error) { return refused(error); }
  try {
    await navigator.clipboard.writeText(text);
    say(`Copied as ${what}.`);
  } catch {
    say(text);
  }
}

const quoted = (text) => `'${text.replaceAll("'", "'\\''")}'`;

export const asCurl = (asked) => `curl -s ${location.origin}/v1/paths -H 'Content-Type: application/json' -d ${quoted(JSON.stringify(asked))}`;

export function asClient({ chart, ...more }) {
  const rest = Object.entries(more).map(([name, value]) => `, ${name}=${asPython(value)}`).join("");
  return `from shortway_client import Client\n\nwith Client(${JSON.stringify(location.origin)}) as shortway:\n    path = shortway.solve_path(${asPython(chart)}${rest})\n    print(path.motion.total)\n`;
}

function asPython(value) {
  if (value === true) return "True";
  if (value === false) return "False";
  if (value === null) return "None";
  if (Array.isArray(value)) return `[${value.map(asPython).join(", ")}]`;
  if (typeof value === "object") return `{${Object.entries(value).map(([k, v]) => `${JSON.stringify(k)}: ${asPython(v)}`).join(", ")}}`;
  return JSON.stringify(value);
}
