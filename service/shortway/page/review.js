// Reviews of what was played over the chart on screen, from typed notes or a MIDI file.

import { callApi, lockedPins } from "./api.js";
import { parsePlayed, formatPlayed } from "./played_notes.js";
import { clearProblems, showProblem } from "./problems.js";
import { base64, el, createElement, countNoun, noteNames, setStatus, state, voicingNames } from "./state.js";
import { stepButtonCell } from "./step_table.js";

const before = [];

export async function reviewPlayed() {
  const number = ++state.reviewed;
  const isLate = () => number !== state.reviewed;
  if (!state.request) return setStatus("Find the path of a chart first.");
  clearProblems(el("review"));
  setStatus("Reviewing…");
  try {
    const found = await callApi("/v1/reviews", reviewRequest());
    if (isLate()) return;
    showReview(found);
    setStatus(`${excessText(found)} ${countsText(found)}`);
  } catch (error) {
    if (!isLate()) showProblem(error, "review-problem");
  }
}

function reviewRequest() {
  const { chart, setting, loop, pins } = state.request;
  const asked = { chart, setting, loop, pins: pins ?? lockedPins() };
  if (!state.recording) return { ...asked, played: parsePlayed(el("played").value) };
  const start = el("start").value.trim();
  return { ...asked, midi_file: state.recording.value, ...(start ? { align: { start: Number(start) } } : {}) };
}

// --- input --------------------------------------------------------------------------------------

export async function openPlayedFile(file) {
  if (!/\.midi?$/i.test(file.name)) return replaceNotes(await file.text());
  setRecording({ name: file.name, value: base64(new Uint8Array(await file.arrayBuffer())) });
  reviewPlayed();
}

export function setRecording(recording) {
  state.recording = recording;
  el("recording").hidden = !recording;
  el("recording-name").textContent = recording ? `MIDI file to review: ${recording.name}` : "";
  clearProblems(el("review"));
}

export const fillWithPath = () => replaceNotes(formatPlayed(state.path.steps));

function replaceNotes(text) {
  if (el("played").value.trim()) before.push(el("played").value);
  setNotes(text);
}

export const restoreNotes = () => setNotes(before.pop());

function setNotes(text) {
  setRecording(null);
  el("played").value = text;
  el("played-back").hidden = !before.length;
  el("played").focus();
  el("played").setSelectionRange(0, 0);
  el("played").scrollTop = 0;
}

// --- result -------------------------------------------------------------------------------------

export function clearReview() {
  state.reviewed += 1;
  el("reviewed").hidden = true;
}

function showReview(found) {
  el("excess").textContent = `Excess: ${countNoun(found.excess, "semitone").replace("-", "−")}`;
  el("excess-words").textContent = excessText(found);
  el("counts").textContent = countsText(found);
  document.querySelector("#reviewed tbody").replaceChildren(...found.steps.map(reviewRow));
  el("reviewed").hidden = false;
}

function excessText({ excess, totals, best_totals: best }) {
  const ways = `motion ${totals.motion}, ${best.motion} on the best path through the same steps under the same setting`;
  if (excess > 0) return `${countNoun(excess, "semitone")} of cost more than the best path: ${ways}.`;
  if (excess === 0) return `As good as the best path: ${ways}.`;
  return `${countNoun(-excess, "semitone")} of cost less than any path of listed voicings, with notes or note counts that the setting does not allow: ${ways}.`;
}

function countsText({ faults, remarks, alignment }) {
  const notes = alignment ? ` ${countNoun(alignment.taken, "note")} of the file within the chart, ${alignment.left_out} outside.` : "";
  return `${countNoun(faults, "fault")}, ${countNoun(remarks, "remark")}.${notes}`;
}

function reviewRow(step, index) {
  const line = createElement("tr");
  line.append(
    stepButtonCell(step, index), createElement("td", step.symbol), playedCell(step), motionCell(step),
    createElement("td", step.best ? voicingNames(step.best) : ""), continuationCell(step.onward),
  );
  return line;
}

const SEVERITIES = { fault: "Fault: ", remark: "Remark: ", strength: "Good: " };

function playedCell({ played: notes, findings: found, strengths }) {
  const findings = [...found, ...strengths];
  const cell = createElement("td", notes ? notes.notes.map(noteText).join("  ") : "nothing");
  if (!findings.length) return cell;
  const list = createElement("ul", "", { className: found.length ? "findings" : "findings none" });
  list.append(...findings.map(({ severity, words }) => {
    const item = createElement("li", "", { className: severity });
    item.append(createElement("strong", SEVERITIES[severity]), words);
    return item;
  }));
  cell.append(list);
  return cell;
}

const noteText = (note) => noteNames([note]) + (note.part === "foreign" ? "\u00a0foreign" : note.part === "bass" ? "\u00a0bass" : "");

function motionCell({ motion, excess }) {
  const cell = createElement("td", motion === null ? "" : String(motion));
  if (excess) cell.append(createElement("br"), createElement("small", excess > 0 ? `cost ${excess} over the best` : `cost ${-excess} below the best`));
  return cell;
}

function continuationCell(onward) {
  if (!onward) return createElement("td");
  const cell = createElement("td", onward.voicing ? voicingNames(onward.voicing) : "the end");
  cell.append(createElement("br"), createElement("small", `cost ${onward.cost} to the end`));
  return cell;
}
