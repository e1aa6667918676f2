// Other voicings of a step, and locking a voicing.

import { callApi } from "./api.js";
import { createButton, el, createElement, state, voicingNames } from "./state.js";
import { showProblem } from "./problems.js";
import { solvePath } from "./path.js";

const PAGE = 20;

export function lockVoicing(midi) {
  if (midi === undefined && state.pins.has(state.at)) state.pins.delete(state.at);
  else state.pins.set(state.at, midi ?? state.path.steps[state.at].voicing.midi_notes);
  solvePath();
}

export function unlockAllVoicings() {
  state.pins.clear();
  solvePath();
}

export async function listVoicings(offset = 0) {
  const { path, at, asked } = state;
  const turned = ++state.turned;
  const isLate = () => asked !== state.asked || at !== state.at || turned !== state.turned;
  try {
    const found = await callApi("/v1/voicings", { ...voicingsRequest(path, at), limit: PAGE, offset });
    if (isLate()) return;
    const list = createElement("ul");
    list.append(...found.voicings.map(voicingItem));
    el("choices").replaceChildren(pageButtons(found, offset, path.steps[at].symbol), list);
    el("choices").hidden = false;
  } catch (error) { if (!isLate()) showProblem(error, "answer-problem"); }
}

function voicingsRequest({ steps, setting }, at) {
  const step = steps[at];
  const body = { symbol: step.symbol, setting };
  for (const name of ["melody", "ceiling", "top"]) if (step[name] !== undefined) body[name] = step[name];
  const colours = step.context?.colours ?? step.colours;
  if (colours !== undefined) body.colours = colours;
  const before = at > 0 ? steps[at - 1].voicing : null;
  if (before) body.after = before.midi_notes;
  return body;
}

function voicingItem(voicing) {
  const motion = voicing.motion === undefined ? "" : `, ${voicing.motion} semitones`;
  const item = createElement("li");
  item.append(createButton(`${voicingNames(voicing)}; ${voicing.family}${motion}`, () => lockVoicing(voicing.midi_notes)));
  return item;
}

function pageButtons(found, offset, symbol) {
  const pages = createElement("p", `${offset + 1} to ${offset + found.voicings.length} of ${found.total} voicings of ${symbol} `);
  for (const [words, to] of [["Previous", offset - PAGE], ["More", offset + PAGE]]) {
    if (to >= 0 && to < found.total) pages.append(createButton(words, () => listVoicings(to)));
  }
  return pages;
}
