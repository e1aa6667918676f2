// The path on paper: systems of four bars, then every note in words. Drawn only while the page prints.

import { el, make, makeSvg } from "../dom.js";
import { presetTitle } from "../setting/presets.js";
import { countNoun, noteName } from "../words.js";
import { axisOf, columnsOf, columnWords, drawLines, gridOf, labelText, pathsOf } from "../views/line_drawing.js";
import { chartHead, stepsOf } from "../views/steps.js";
import { tableHead, tableRow } from "../views/table.js";

// Bars of a system, its width and height in px; beyond so many steps paper has the table alone.
const [BARS, WIDTH, HEIGHT, MOST] = [4, 700, 210, 120];
const LEGEND = ["Square: left hand", "Round: right hand", "Thicker line: wider movement", "Number under a chord: semitones moved"];

export function listenToPrint(actions) {
  addEventListener("beforeprint", () => drawPrint(actions.getAnswer(), actions.getState()));
  addEventListener("afterprint", () => el("print").replaceChildren());
}

function drawPrint({ path, request }, state) {
  if (!path) return;
  const steps = stepsOf(path);
  const locked = new Set(state.locks.map(({ step }) => step));
  const drawn = steps.length <= MOST ? systemsOf(steps).map((system) => systemPicture(system, locked)) : [];
  el("print").replaceChildren(
    printHead(path, steps, request, state), ...drawn, ...(drawn.length ? [make("p", { className: "legend" }, ...LEGEND.map((words) => make("span", {}, words)))] : []),
    make("table", { className: "steps" }, tableHead(), make("tbody", {}, ...steps.map((step) => tableRow(step, { isLocked: locked.has(step.index) })))),
  );
}

function printHead(path, steps, { chart }, { preset, tempo, loop, locks }) {
  const { title, key } = chartHead(chart);
  const bars = steps.filter((step) => step.startsBar).length;
  const about = [presetTitle(preset), key && noteName(key), countNoun(bars, "bar"), `${tempo} BPM`].filter(Boolean).join(" · ");
  const total = `Cost ${path.cost}, ${locks.length ? "with locks" : "proven least"}; motion ${countNoun(path.motion, "semitone")}${loop ? ", looped" : ""}`;
  return make("header", {}, make("div", {}, make("h1", {}, title || "Chart"), about), make("div", {}, total));
}

function systemsOf(steps) {
  const systems = [];
  let bars = 0;
  for (const step of steps) {
    if (step.startsBar && bars++ % BARS === 0) systems.push([]);
    systems.at(-1).push(step);
  }
  return systems;
}

function systemPicture(steps, locked) {
  const laid = columnsOf(steps, { width: WIDTH, hasTail: false, locked });
  const picture = drawLines(laid, { height: HEIGHT, locked });
  const words = laid.columns.flatMap((column) => columnWords(column, { height: HEIGHT, locked })).filter(Boolean);
  return make("div", { className: "system" }, makeSvg("svg", { viewBox: `-26 0 ${Math.max(730, Math.ceil(laid.end) + 30)} ${HEIGHT}`, "aria-hidden": "true" },
    ...axisOf(picture, -5), ...gridOf(picture), ...pathsOf(picture), ...words, ...picture.labels.map(labelText)));
}
