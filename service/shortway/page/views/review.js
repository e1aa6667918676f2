// What was played, from typed notes or a MIDI file, against the path: excess, its profile, findings.

import { callApi } from "../api.js";
import { make, makeSvg } from "../dom.js";
import { countNoun, symbolText, withSigns } from "../words.js";
import { createChunks } from "./chunks.js";
import { formatPlayed, parsePlayed, positionOf } from "./played_notes.js";
import { placeOf, stepsOf } from "./steps.js";

const SEVERITIES = { fault: "Fault", remark: "Remark", strength: "Good" };

export function create(element, actions) {
  const view = { ...parts(), actions, shown: null, recording: null, turn: 0 };
  element.replaceChildren(make("div", { className: "scroll", tabIndex: 0, role: "region", "aria-label": "Review of what was played" }, view.frame));
  view.ask.addEventListener("click", () => review(view));
  view.fill.addEventListener("click", () => { setRecording(view, null); view.field.value = formatPlayed(view.shown.answer.path.steps); });
  view.field.addEventListener("input", () => setRecording(view, null));
  view.file.addEventListener("change", async () => {
    const [file] = view.file.files;
    view.file.value = "";
    if (file) await openPlayed(view, file);
  });
  view.open.addEventListener("click", () => view.file.click());
  view.found.addEventListener("click", ({ target }) => {
    const step = target.closest("[data-step]");
    if (step) actions.goTo(Number(step.dataset.step));
  });
  return {
    draw(shown) { draw(view, shown); },
    /** Reviews a MIDI file or a text of notes. */
    open: (file) => openPlayed(view, file),
    destroy: () => { view.turn += 1; view.chunks?.destroy(); },
  };
}

const button = (words, className, more = {}) => make("button", { type: "button", className, ...more }, words);

function parts() {
  const made = {
    field: make("textarea", { id: "played", spellcheck: false, autocapitalize: "off", "aria-describedby": "played-help played-problem" }),
    problem: make("p", { className: "problem", id: "played-problem", role: "alert", hidden: true }),
    ask: button("Review", "plain", { id: "review-ask" }), open: button("Open MIDI file", "quiet"), fill: button("Fill in the path", "quiet"),
    file: make("input", { type: "file", accept: ".mid,.midi,.txt", hidden: true }), found: make("div", { id: "reviewed" }),
  };
  const help = make("p", { className: "status", id: "played-help" }, "Notes by name or MIDI number, - for silence, % for the chord before");
  made.frame = make("div", { className: "review" }, make("div", {},
    make("label", { htmlFor: "played" }, "What you played, a chord a line"), made.field, help, made.problem,
    make("p", { className: "row" }, made.ask, made.open, made.fill), made.file), made.found);
  return made;
}

function draw(view, shown) {
  if (!shown.answer.path) return;
  if (view.shown && view.shown.answer.path !== shown.answer.path) {
    view.turn += 1;
    view.found.replaceChildren(make("p", { className: "status" }, "The path has changed: review again"));
  }
  view.shown = shown;
  view.chunks?.mark(shown.state.place, false);
}

async function openPlayed(view, file) {
  if (!/\.midi?$/i.test(file.name)) {
    view.field.value = await file.text();
    return setRecording(view, null);
  }
  const bytes = new Uint8Array(await file.arrayBuffer());
  setRecording(view, { name: file.name, value: btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join("")) });
  return review(view);
}

function setRecording(view, recording) {
  view.recording = recording;
  showProblem(view, null);
  if (recording) view.field.value = "";
  view.field.placeholder = recording ? `MIDI file: ${recording.name}` : "";
}

async function review(view) {
  const turn = ++view.turn;
  showProblem(view, null);
  view.chunks?.destroy();
  view.found.replaceChildren(make("p", { className: "status", role: "status" }, "Looking at what was played…"));
  try {
    const { chart, setting, loop, pins } = view.shown.answer.request;
    const played = view.recording ? { midi_file: view.recording.value } : { played: parsePlayed(view.field.value) };
    const found = await callApi("/v1/reviews", { chart, setting, loop, ...(pins ? { pins } : {}), ...played });
    if (turn === view.turn) showFound(view, found);
  } catch (error) {
    if (turn !== view.turn) return;
    view.found.replaceChildren();
    showProblem(view, error);
  }
}

// A problem of a note stands at its line, and leads there.
function showProblem({ field, problem }, error) {
  problem.hidden = !error;
  field.setAttribute("aria-invalid", String(Boolean(error)));
  if (!error) return;
  const [first] = error.problem?.errors ?? [];
  const [, step, note] = /^\/played\/(\d+)(?:\/(\d+))?/.exec(first?.pointer ?? "") ?? [];
  const position = step === undefined ? null : positionOf(field.value, Number(step), Number(note ?? 0));
  problem.replaceChildren(withSigns(first?.detail ?? error.message), " ");
  if (position !== null) {
    const at = make("button", { type: "button" }, `line ${field.value.slice(0, position).split("\n").length}`);
    at.addEventListener("click", () => { field.focus(); field.setSelectionRange(position, position); });
    problem.append(at);
  }
  if (first?.expected) problem.append(make("small", {}, `Expected: ${first.expected}`));
}

// --- what was found -------------------------------------------------------------------------------

function showFound(view, found) {
  const steps = stepsOf(view.shown.answer.path);
  const rows = found.steps.map((step, index) => ({ ...steps[index], ...step, index })).filter((step) => step.excess || step.findings.length);
  const list = make("div", { className: "found" });
  view.found.replaceChildren(summary(found), profile(found), list);
  view.chunks = createChunks(list, { steps: rows, tag: "ul", size: 20, each: (some) => some.map(findingRow), guess: (count) => count * 56 });
  view.chunks.mark(view.shown.state.place, false);
}

function summary({ excess, faults, remarks, totals, best_totals: best }) {
  const words = excess < 0 ? "below the best path of listed voicings" : "in cost beyond the best path";
  const counts = `${countNoun(faults, "fault")}, ${countNoun(remarks, "remark")}`;
  return make("p", { className: "excess", role: "status" }, make("b", {}, excess > 0 ? `+${excess}` : String(excess).replace("-", "−")),
    make("span", {}, ` ${words}: motion ${totals.motion}, ${best.motion} on the best path; ${counts}`));
}

function profile({ steps }) {
  const most = Math.max(1, ...steps.map(({ excess }) => Math.abs(excess ?? 0)));
  const bars = steps.map(({ excess }, k) => (excess ? `M${k * 10 + 1.5} 50v${-Math.round((46 * Math.abs(excess)) / most)}h7v${Math.round((46 * Math.abs(excess)) / most)}z` : "")).join("");
  return make("div", { className: "profile" }, makeSvg("svg", { viewBox: `0 0 ${steps.length * 10} 50`, preserveAspectRatio: "none", role: "img", "aria-label": "Excess at each chord; the list below has the numbers" },
    makeSvg("path", { class: "profile-bars", d: bars })));
}

function findingRow(step) {
  const findings = [...step.findings, ...(step.strengths ?? [])];
  const excess = step.excess ? ` · ${step.excess > 0 ? "+" : "−"}${Math.abs(step.excess)}` : "";
  const at = make("button", { type: "button", "aria-label": `${placeOf(step)}, go to this chord` }, placeOf(step));
  const words = findings.length ? findings.map(findingLine) : [make("p", {}, "Moved further than it need")];
  return make("li", { "data-step": step.index },
    make("span", {}, make("b", {}, symbolText(step.symbol)), make("br"), make("small", {}, at, make("span", { className: "moved" }, excess))), make("div", {}, ...words));
}

const findingLine = ({ severity, words }) => make("p", { className: severity }, make("strong", {}, `${SEVERITIES[severity] ?? severity}:`), ` ${withSigns(words)}`);
