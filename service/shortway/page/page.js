// The page at "/": connects events with the modules that handle them.

import { clientCode, curlCommand, copyCode, saveScore } from "./downloads.js";
import { restoreChart, openChart, replaceChart, chartEdited } from "./charts.js";
import { practiseAllKeys } from "./exercise.js";
import { loadOptions, retryOptions } from "./form_options.js";
import { solveChart } from "./path.js";
import { drawPictures, stepAt } from "./pictures.js";
import { restoreNotes, fillWithPath, openPlayedFile, setRecording, reviewPlayed } from "./review.js";
import { togglePlayback, setVolume, stopPlayback } from "./playback.js";
import { el, state } from "./state.js";
import { goToStep } from "./step_table.js";
import { listVoicings, lockVoicing, unlockAllVoicings } from "./voicings.js";

const isMidi = (file) => /\.midi?$/i.test(file.name);
const taken = (file) => (isMidi(file) ? openPlayedFile(file) : openChart(file));
const isWritten = (target) => target.closest("textarea, input, select");

function takesDrops(id, does) {
  for (const kind of ["dragover", "dragleave", "drop"]) {
    el(id).addEventListener(kind, (event) => {
      event.preventDefault();
      el(id).classList.toggle("over", kind === "dragover");
      if (kind === "drop") does(event.dataTransfer);
    });
  }
}

// Reset, so that the same file can be chosen again.
function takesFiles(id, does) {
  el(id).addEventListener("change", ({ target }) => {
    if (target.files.length) does(target.files[0]);
    target.value = "";
  });
}

const CLICKS = {
  "chart-back": restoreChart,
  practise: practiseAllKeys,
  "exercise-back": solveChart,
  play: togglePlayback,
  before: () => goToStep(state.at - 1),
  after: () => goToStep(state.at + 1),
  lock: () => lockVoicing(),
  others: () => listVoicings(),
  "unlock-all": unlockAllVoicings,
  "copy-curl": () => copyCode(curlCommand, "curl"),
  "copy-client": () => copyCode(clientCode, "client code"),
  "save-musicxml": () => saveScore("application/vnd.recordare.musicxml+xml", "voicings.musicxml"),
  "save-midi": () => saveScore("audio/midi", "voicings.mid"),
  "judge-this": fillWithPath,
  "played-fill": fillWithPath,
  "played-back": restoreNotes,
  "recording-drop": () => setRecording(null),
};
for (const [id, does] of Object.entries(CLICKS)) el(id).addEventListener("click", does);

function find() {
  retryOptions();
  solveChart();
}

for (const [id, does] of [["ask", find], ["judge", reviewPlayed]]) {
  el(id).addEventListener("submit", (event) => { event.preventDefault(); does(); });
}

el("chart").addEventListener("input", chartEdited);
takesFiles("file", taken);
takesDrops("chart", (dropped) => (dropped.files.length ? taken(dropped.files[0]) : replaceChart(dropped.getData("text"))));
el("example").addEventListener("change", ({ target }) => {
  if (target.value) replaceChart(target.value);
  target.value = "";
});

el("found-only").addEventListener("change", ({ target }) => el("judged").classList.toggle("found-only", target.checked));
el("played").addEventListener("input", () => setRecording(null));
takesFiles("played-file", openPlayedFile);
takesDrops("played", (dropped) => dropped.files.length && openPlayedFile(dropped.files[0]));

el("volume").addEventListener("input", setVolume);
el("rhythm").addEventListener("change", () => {
  stopPlayback();
  if (state.request) drawPictures(state.asked, state.request);
});
el("pictures").addEventListener("click", ({ target }) => {
  const step = stepAt(target);
  if (step !== undefined) goToStep(step, false);
});
document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || isWritten(event.target)) return;
  const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (by && state.path) { event.preventDefault(); goToStep(state.at + by); }
});

loadOptions();
find();
