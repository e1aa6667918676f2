// A review of what somebody played over the chart on screen: asked by notes or a MIDI file, shown by step.

import { call } from "./asking.js";
import { played, written } from "./played.js";
import { clearProblems, refused } from "./problems.js";
import { base64, el, make, many, named, say, state, voiced } from "./state.js";
import { goButton } from "./steps.js";

const before = [];

export async function review() {
  const number = ++state.reviewed;
  const isLate = () => number !== state.reviewed;
  if (!state.request) return say("Find the path of a chart first; then what was played over it can be reviewed.");
  clearProblems(el("review"));
  say("Looking at what was played…");
  try {
    const found = await call("/v1/reviews", question());
    if (isLate()) return;
    showReview(found);
    say(`${summed(found)} ${counted(found)}`);
  } catch (error) {
    if (!isLate()) refused(error, "review-problem");
  }
}

function question() {
  const { chart, setting, loop, pins } = state.request;
  const asked = { chart, setting, loop, ...(pins ? { pins } : {}) };
  if (!state.recording) return { ...asked, played: played(el("played").value) };
  const start = el("start").value.trim();
  return { ...asked, midi: state.recording.value, ...(start ? { align: { start: Number(start) } } : {}) };
}

// --- where the notes come from ----------------------------------------------------------------

export async function openPlayed(file) {
  if (!/\.midi?$/i.test(file.name)) return fill(await file.text());
  record({ name: file.name, value: base64(new Uint8Array(await file.arrayBuffer())) });
  review();
}

export function record(recording) {
  state.recording = recording;
  el("recording").hidden = !recording;
  el("recording-name").textContent = recording ? `The MIDI file ${recording.name} is reviewed.` : "";
  clearProblems(el("review"));
}

export const fillWithPath = () => fill(written(state.path.steps));

function fill(text) {
  if (el("played").value.trim()) before.push(el("played").value);
  put(text);
}

export const backToNotes = () => put(before.pop());

function put(text) {
  record(null);
  el("played").value = text;
  el("played-back").hidden = !before.length;
  el("played").focus();
  el("played").setSelectionRange(0, 0);
  el("played").scrollTop = 0;
}

// --- the answer ---------------------------------------------------------------------------------

export function clearReview() {
  state.reviewed += 1;
  el("reviewed").hidden = true;
}

function showReview(found) {
  el("excess").textContent = `Excess: ${many(found.excess, "semitone").replace("-", "−")}`;
  el("excess-words").textContent = summed(found);
  el("counts").textContent = counted(found);
  document.querySelector("#reviewed tbody").replaceChildren(...found.steps.map(row));
  el("reviewed").hidden = false;
}

function summed({ excess, motion, best }) {
  const ways = `${motion.total} moved, ${best.total} on the best path through the same steps under the same setting`;
  if (excess > 0) return `${many(excess, "semitone")} more than need be: ${ways}.`;
  if (excess === 0) return `A shortest way: ${ways}.`;
  return `${many(-excess, "semitone")} less than any listed voicing needs, with notes or numbers of notes that the setting has not: ${ways}.`;
}

function counted({ faults, remarks, alignment }) {
  const notes = alignment ? ` ${many(alignment.taken, "note")} of the file fell within the chart, ${alignment.left_out} before or after it.` : "";
  return `${many(faults, "fault")}, ${many(remarks, "remark")}.${notes}`;
}

function row(step, index) {
  const line = make("tr");
  line.append(
    goButton(step, index), make("td", step.symbol), playedCell(step), motionCell(step),
    make("td", step.best ? voiced(step.best) : ""), onwardCell(step.onward),
  );
  return line;
}

function playedCell({ played: notes, findings }) {
  const cell = make("td", notes ? notes.notes.map(heard).join("  ") : "nothing");
  if (!findings.length) return cell;
  const list = make("ul", "", { className: "findings" });
  list.append(...findings.map(({ severity, words }) => {
    const item = make("li", "", { className: severity });
    item.append(make("strong", severity === "fault" ? "Fault: " : "Remark: "), words);
    return item;
  }));
  cell.append(list);
  return cell;
}

const heard = (note) => named([note]) + (note.part === "foreign" ? "\u00a0foreign" : note.part === "bass" ? "\u00a0bass" : "");

function motionCell({ motion, excess }) {
  const cell = make("td", motion === null ? "" : String(motion));
  if (excess) cell.append(make("br"), make("small", excess > 0 ? `${excess} more than need be` : `${-excess} less than listed`));
  return cell;
}

function onwardCell(onward) {
  if (!onward) return make("td");
  const cell = make("td", onward.voicing ? voiced(onward.voicing) : "the end");
  cell.append(make("br"), make("small", `${many(onward.motion, "semitone")} to the end`));
  return cell;
}
