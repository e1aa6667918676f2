// What is taken away: files from the service, paper, code, a link.

import { callApi, hasToken } from "../api.js";
import { el } from "../dom.js";
import { writeFragment } from "../state/fragment.js";
import { foundRequest } from "../state/question.js";
import { playedAs } from "../state/store.js";
import { chartHead } from "../views/steps.js";
import { SNIPPETS } from "./snippets.js";

// Media type and end of the name of each file.
const FILES = {
  MusicXML: ["application/vnd.recordare.musicxml+xml", "musicxml"], MIDI: ["audio/midi", "mid"], SVG: ["image/svg+xml", "svg"],
  PDF: ["application/pdf", "pdf"],
};

export function listenToExports(actions) {
  el("export").addEventListener("click", ({ target }) => {
    const kind = target.closest("[data-export]")?.dataset.export;
    if (kind) take(kind, actions);
  });
  el("share").addEventListener("click", async () => {
    copy(`${location.origin}${location.pathname}${await writeFragment(actions.getState())}`, "Link copied", actions);
  });
}

function take(kind, actions) {
  const { request } = actions.getAnswer();
  if (!request) return actions.announce("There is no path yet: write a chart first.");
  if (kind === "print") return print();
  if (FILES[kind]) return save(kind, foundRequest(actions.getAnswer()), actions);
  return copy(SNIPPETS[kind](location.origin, request, hasToken()), `Copied as ${kind}`, actions);
}

async function save(kind, request, actions) {
  const [accept, end] = FILES[kind];
  const name = `${fileName(request.chart)}.${end}`;
  try {
    const blob = await callApi("/v1/scores", { ...request, ...playedAs(actions.getState()) }, { accept });
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(blob), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    actions.announce(`Downloaded ${name}`);
  } catch (error) {
    actions.announce(`Cannot export ${kind}: ${error.message}`);
  }
}

const fileName = (chart) => chartHead(chart).title.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "") || "voicings";

async function copy(text, done, actions) {
  try {
    await navigator.clipboard.writeText(text);
    actions.announce(done);
  } catch {
    actions.announce(`This browser does not let the page copy. ${text}`);
  }
}
