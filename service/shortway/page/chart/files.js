// Charts out of files of every readable format, examples, and what is dropped on the page.

import { loadList } from "../api.js";
import { el, make } from "../dom.js";
import { countNoun } from "../words.js";

// Text formats by the ends of file names; any other text is bars between bar lines, or JSON.
const TEXT_FORMATS = {
  cho: "chordpro", crd: "chordpro", chopro: "chordpro", chordpro: "chordpro", pro: "chordpro",
  lab: "lab", abc: "abc", rntxt: "romantext", romantext: "romantext",
};
const FORMAT_NAMES = { chordpro: "ChordPro", lab: "a chord-and-time file", abc: "ABC", romantext: "RomanText" };

/** The chart in a file, as the store has it. */
async function readFile(file) {
  const end = file.name.toLowerCase().split(".").pop();
  const named = (chart) => ({ text: "", file: { name: file.name, chart } });
  if (end === "mxl") return named({ mxl: base64(new Uint8Array(await file.arrayBuffer())) });
  const text = await file.text();
  if (end === "musicxml" || end === "xml") return named({ musicxml: text });
  return { text: text.replace(/\r\n?/g, "\n"), ...(TEXT_FORMATS[end] ? { format: TEXT_FORMATS[end] } : {}) };
}

function base64(bytes) {
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text);
}

export function createFiles(store, actions) {
  const take = (chart) => store.set({ chart, exercise: null, locks: [], keep: null, place: 0 }, { undoable: true, isPlaced: true });
  const open = async (file) => {
    take(await readFile(file));
    actions.announce(`Opened ${file.name}`);
  };
  el("open").addEventListener("click", () => el("file").click());
  el("file").addEventListener("change", ({ target }) => {
    if (target.files.length) open(target.files[0]);
    target.value = "";
  });
  listenToDrops((dropped) => {
    if (dropped.files.length) open(dropped.files[0]);
    else if (dropped.getData("text")) take({ text: dropped.getData("text") });
  });
  loadExamples(take);
  let shown = null;

  return {
    draw({ state: { chart } }) {
      if (chart === shown) return;
      shown = chart;
      const words = sourceWords(chart);
      el("source").hidden = !words;
      el("source").replaceChildren(words);
      if (words) el("source").append(" ", otherReading(chart, take));
    },
  };
}

function sourceWords({ file, format }) {
  if (file) return `The chart is the lead sheet ${file.name}; type to write another.`;
  return format ? `Read as ${FORMAT_NAMES[format]}.` : "";
}

function otherReading({ text }, take) {
  const button = make("button", { type: "button" }, text ? "Read as bars between |" : "Close it");
  button.addEventListener("click", () => take({ text }));
  return button;
}

// A file dropped anywhere is taken; a browser would leave the page for it.
function listenToDrops(takeDropped) {
  const hide = () => { el("drop").hidden = true; };
  document.addEventListener("dragover", (event) => {
    if (event.target.closest?.("#view")) return; // a view may take files of its own
    event.preventDefault();
    el("drop").hidden = false;
  });
  for (const kind of ["dragleave", "dragend"]) document.addEventListener(kind, (event) => { if (!event.relatedTarget) hide(); });
  document.addEventListener("drop", (event) => {
    hide();
    if (event.defaultPrevented) return;
    event.preventDefault();
    takeDropped(event.dataTransfer);
  });
}

function loadExamples(take) {
  const button = ({ title, text }, className = "") => {
    const made = make("button", { type: "button", className }, title, make("small", {}, sizeOf(text)));
    made.addEventListener("click", () => take({ text }));
    return made;
  };
  loadList("/page/examples.json", (examples) => {
    el("examples").replaceChildren(...examples.map((example) => button(example)));
    el("first-examples").replaceChildren(...examples.map((example) => button(example, "plain")));
  });
}

// Bars as written, before repeats.
const sizeOf = (text) => countNoun((text.match(/\|(?=[^|\n]*[A-G%N])/g) ?? []).length, "bar");
