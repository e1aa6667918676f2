// The page at "/": asks this service what anyone may ask it, and shows and plays the answer.
// This module says what happens on which event; each of the others does one thing.

import { asClient, asCurl, copy, save } from "./taking.js";
import { back, open, replace, typed } from "./charts.js";
import { ownChart, practise } from "./exercise.js";
import { furnish, refurnish } from "./lists.js";
import { pictures, stepAt } from "./pictures.js";
import { backToNotes, fillWithPath, openPlayed, record, review } from "./review.js";
import { play, setVolume, stop } from "./sound.js";
import { el, state } from "./state.js";
import { goTo } from "./steps.js";
import { choices, lock, unlockAll } from "./voicings.js";

const isMidi = (file) => /\.midi?$/i.test(file.name);
const taken = (file) => (isMidi(file) ? openPlayed(file) : open(file));
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

// A file may be chosen again after it was changed on the disk.
function takesFiles(id, does) {
  el(id).addEventListener("change", ({ target }) => {
    if (target.files.length) does(target.files[0]);
    target.value = "";
  });
}

const CLICKS = {
  "chart-back": back,
  practise,
  "exercise-back": ownChart,
  play,
  before: () => goTo(state.at - 1),
  after: () => goTo(state.at + 1),
  lock: () => lock(),
  others: () => choices(),
  "unlock-all": unlockAll,
  "copy-curl": () => copy(asCurl, "curl"),
  "copy-client": () => copy(asClient, "client code"),
  "save-musicxml": () => save("application/vnd.recordare.musicxml+xml", "voicings.musicxml"),
  "save-midi": () => save("audio/midi", "voicings.mid"),
  "judge-this": fillWithPath,
  "played-fill": fillWithPath,
  "played-back": backToNotes,
  "recording-drop": () => record(null),
};
for (const [id, does] of Object.entries(CLICKS)) el(id).addEventListener("click", does);

function find() {
  refurnish();
  ownChart();
}

for (const [id, does] of [["ask", find], ["judge", review]]) {
  el(id).addEventListener("submit", (event) => { event.preventDefault(); does(); });
}

el("chart").addEventListener("input", typed);
takesFiles("file", taken);
takesDrops("chart", (dropped) => (dropped.files.length ? taken(dropped.files[0]) : replace(dropped.getData("text"))));
el("example").addEventListener("change", ({ target }) => {
  if (target.value) replace(target.value);
  target.value = "";
});

el("found-only").addEventListener("change", ({ target }) => el("judged").classList.toggle("found-only", target.checked));
el("played").addEventListener("input", () => record(null));
takesFiles("played-file", openPlayed);
takesDrops("played", (dropped) => dropped.files.length && openPlayed(dropped.files[0]));

el("volume").addEventListener("input", setVolume);
el("rhythm").addEventListener("change", () => {
  stop();
  if (state.request) pictures(state.asked, state.request);
});
el("pictures").addEventListener("click", ({ target }) => {
  const step = stepAt(target);
  if (step !== undefined) goTo(step, false);
});
document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || isWritten(event.target)) return;
  const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (by && state.path) { event.preventDefault(); goTo(state.at + by); }
});

furnish();
find();
