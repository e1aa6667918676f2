// The grand staff, engraved by the service: bars in sight only, each with a box that leads to it.

import { callApi } from "../api.js";
import { make } from "../dom.js";
import { countNoun } from "../words.js";
import { keepInSight } from "./chunks.js";
import { foundRequest } from "../state/question.js";
import { stepsOf } from "./steps.js";

// Bars asked for at once, and the height of such a part before it was seen, in px.
const [BARS, GUESS] = [8, 300];

export function create(element, actions) {
  let [region, shown, parts, seen] = [null, null, [], null];
  const clear = () => { seen?.disconnect(); parts = []; };
  return {
    draw(next) {
      if (!next.answer.path) return;
      const isSame = shown?.answer.path === next.answer.path && shown.state.tempo === next.state.tempo;
      shown = next;
      if (!isSame) {
        clear();
        region = make("div", { className: "scroll", tabIndex: 0, role: "region", "aria-label": "Grand staff" });
        element.replaceChildren(region);
        parts = partsOf(stepsOf(shown.answer.path), Math.min(980, region.clientWidth));
        region.append(...parts.map(({ element: one }) => one));
        seen = observer(region, parts, (part) => fillPart(part, shown, actions, () => markBar(parts, shown.state.place, false)));
      }
      markBar(parts, shown.state.place, true);
    },
    destroy: clear,
  };
}

function observer(root, parts, fill) {
  const made = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      const part = parts.find(({ element }) => element === target);
      if (isIntersecting) fill(part);
      else emptyPart(part);
    }
  }, { root });
  for (const { element } of parts) made.observe(element);
  return made;
}

// A part has the steps at which its bars begin, and its measures as the chart numbers them.
function partsOf(steps, width) {
  const cut = cutsOf(steps.filter((step) => step.startsBar));
  return cut.map((bars, k) => {
    const element = make("div", { className: "sheet-music" });
    element.style.minHeight = `${GUESS}px`;
    const numbers = bars.map(({ measure }) => measure);
    return { element, bars, from: Math.min(...numbers), to: Math.max(...numbers), width, end: cut[k + 1]?.[0].index ?? steps.length, isAsked: false };
  });
}

// Bars as they are played, cut where all measures before lie before all that follow: a repeat stays in one part.
function cutsOf(starts) {
  const lowest = starts.map(({ measure }) => measure);
  for (let k = lowest.length - 2; k >= 0; k--) lowest[k] = Math.min(lowest[k], lowest[k + 1]);
  const parts = [];
  let highest = 0;
  starts.forEach((bar, k) => {
    if (!parts.length || (parts.at(-1).length >= BARS && highest < lowest[k])) parts.push([]);
    parts.at(-1).push(bar);
    highest = Math.max(highest, bar.measure);
  });
  return parts;
}

async function fillPart(part, { answer, state }, actions, mark) {
  if (part.isAsked) return;
  part.isAsked = true;
  part.element.replaceChildren(make("p", { className: "status" }, "Engraving…"));
  try {
    const body = { ...partOfChart(foundRequest(answer), part), tempo: state.tempo, show: { picture: "staff", width: Math.round(part.width) } };
    const picture = await inlineSvg(await callApi("/v1/scores", body, { accept: "image/svg+xml" }));
    if (!part.isAsked) return;
    picture.setAttribute("aria-label", `Grand staff of ${countNoun(part.bars.length, "bar")}, from bar ${part.bars[0].measure}; the table has every note in words`);
    if (part.bars[0].index > 0) removeHead(picture);
    numberBars(part, picture);
    part.element.replaceChildren(picture);
    part.element.style.minHeight = "";
    addBoxes(part, picture, actions);
    mark();
  } catch (error) {
    part.element.replaceChildren(make("p", { className: "status" }, `Cannot draw these bars: ${error.message}`));
  }
}

// The title stands over the first bars only.
function partOfChart(request, { from, to }) {
  const { chart } = request;
  const bare = from > 1 && chart.text ? { ...chart, text: chart.text.replace(/^\s*title:.*$/m, "") } : chart;
  return { ...request, chart: bare, from_measure: from, to_measure: to };
}

function emptyPart(part) {
  if (!part.isAsked) return;
  part.element.style.minHeight = `${part.element.getBoundingClientRect().height}px`;
  part.element.replaceChildren();
  part.isAsked = false;
}

// Tempo and instrument stand over the first bars only.
function removeHead(picture) {
  for (const head of picture.querySelectorAll(":scope > g > :is(text, use), [data-text]")) if (!head.closest("[data-measure]")) head.remove();
}

// An excerpt's own numbers begin anew: each bar has its number in the chart.
function numberBars({ bars }, picture) {
  const measures = [...picture.querySelectorAll("[data-measure]")];
  if (measures.length !== bars.length) return;
  measures.forEach((measure, k) => {
    const number = [...measure.querySelectorAll("text[font-style=italic]")].find((text) => text.textContent === String(k + 1));
    if (!number) return;
    number.textContent = bars[k].measure;
    number.removeAttribute("textLength");
  });
}

function addBoxes({ element, bars }, picture, actions) {
  const measures = [...picture.querySelectorAll("[data-measure]")];
  if (measures.length !== bars.length) return;
  const outer = element.getBoundingClientRect();
  element.append(...measures.map((measure, k) => {
    const box = make("button", { type: "button", "data-step": bars[k].index, "aria-label": `Go to bar ${bars[k].measure}` });
    const { left, top, width, height } = staffBounds(measure);
    const sides = { left: (left - outer.left) / outer.width, top: (top - outer.top) / outer.height, width: width / outer.width, height: height / outer.height };
    for (const [side, part] of Object.entries(sides)) box.style[side] = `${100 * part}%`;
    box.addEventListener("click", () => actions.goTo(bars[k].index));
    return box;
  }));
}

// Ties lead beyond a bar: its width is that of a line of its staff, drawn across.
function staffBounds(measure) {
  const { top, height, ...whole } = measure.getBoundingClientRect().toJSON();
  const line = [...measure.querySelectorAll("path")].find((path) => /^M\S+ (\S+) L\S+ \1$/.test(path.getAttribute("d")));
  const { left, width } = line?.getBoundingClientRect() ?? whole;
  return { left, top, width, height };
}

function markBar(parts, place, follow) {
  const part = parts.find(({ end }) => place < end);
  if (!part) return;
  for (const { element } of parts) for (const old of element.querySelectorAll("[aria-current]")) old.removeAttribute("aria-current");
  const start = part.bars.findLast(({ index }) => index <= place)?.index;
  const box = part.element.querySelector(`[data-step="${start}"]`);
  box?.setAttribute("aria-current", "true");
  if (follow) keepInSight(part.element.parentElement, box ?? part.element);
}

// --- the picture ----------------------------------------------------------------------------------

async function inlineSvg(blob) {
  const text = await blob.text();
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  const picture = document.importNode(parsed, true);
  for (const described of picture.querySelectorAll(":scope > title, :scope > desc")) described.remove();
  picture.removeAttribute("aria-labelledby");
  for (const group of picture.querySelectorAll("[data-measure] > g g")) if (!group.attributes.length) group.replaceWith(...group.childNodes);
  return picture;
}
