// Other voicings of a step, and locking one.

import { call } from "./asking.js";
import { button, el, make, state, voiced } from "./state.js";
import { refused } from "./problems.js";
import { solve } from "./solving.js";

const PAGE = 20;

export function lock(midi) {
  if (midi === undefined && state.pins.has(state.at)) state.pins.delete(state.at);
  else state.pins.set(state.at, midi ?? state.path.steps[state.at].voicing.midi);
  solve();
}

export function unlockAll() {
  state.pins.clear();
  solve();
}

export async function choices(offset = 0) {
  const { path, at, asked } = state;
  const turned = ++state.turned;
  const isLate = () => asked !== state.asked || at !== state.at || turned !== state.turned;
  try {
    const found = await call("/v1/voicings", { ...question(path, at), limit: PAGE, offset });
    if (isLate()) return;
    const list = make("ul");
    list.append(...found.voicings.map(choice));
    el("choices").replaceChildren(turning(found, offset, path.steps[at].symbol), list);
    el("choices").hidden = false;
  } catch (error) { if (!isLate()) refused(error, "answer-problem"); }
}

function question({ steps, setting }, at) {
  const step = steps[at];
  const body = { symbol: step.symbol, setting };
  for (const name of ["melody", "ceiling", "top"]) if (step[name] !== undefined) body[name] = step[name];
  const colours = step.context?.colours ?? step.colours;
  if (colours !== undefined) body.colours = colours;
  const before = at > 0 ? steps[at - 1].voicing : null;
  if (before) body.after = before.midi;
  return body;
}

function choice(voicing) {
  const motion = voicing.motion === undefined ? "" : `, ${voicing.motion} semitones`;
  const item = make("li");
  item.append(button(`${voiced(voicing)}; ${voicing.family}${motion}`, () => lock(voicing.midi)));
  return item;
}

function turning(found, offset, symbol) {
  const pages = make("p", `${offset + 1} to ${offset + found.voicings.length} of ${found.total} voicings of ${symbol} `);
  for (const [words, to] of [["Before", offset - PAGE], ["More", offset + PAGE]]) {
    if (to >= 0 && to < found.total) pages.append(button(words, () => choices(to)));
  }
  return pages;
}
