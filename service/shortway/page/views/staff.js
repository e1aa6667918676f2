// The grand staff, engraved by the service: bars in sight only, each with a box that leads to it.

import { callApi } from "../api.js";
import { make } from "../dom.js";
import { countNoun } from "../words.js";
import { keepInSight } from "./chunks.js";
import { foundRequest, stepsOf } from "./steps.js";

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

// A part has the steps at which its bars begin, and the measures as the chart is played.
function partsOf(steps, width) {
  const starts = steps.filter((step) => step.startsBar);
  return Array.from({ length: Math.ceil(starts.length / BARS) }, (_, k) => {
    const bars = starts.slice(k * BARS, (k + 1) * BARS);
    const element = make("div", { className: "sheet-music" });
    element.style.minHeight = `${GUESS}px`;
    return { element, bars, from: k * BARS + 1, to: k * BARS + bars.length, width, end: starts[(k + 1) * BARS]?.index ?? steps.length, isAsked: false };
  });
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

// Text and ties extend beyond a bar: its staves bound it, where they are groups of their own.
function staffBounds(measure) {
  const staves = [...measure.children].filter((part) => part.querySelector("g") && !part.querySelector("text"));
  const boxes = (staves.length ? staves : [measure]).map((part) => part.getBoundingClientRect());
  const [left, top] = [Math.min(...boxes.map((box) => box.left)), Math.min(...boxes.map((box) => box.top))];
  return { left, top, width: Math.max(...boxes.map((box) => box.right)) - left, height: Math.max(...boxes.map((box) => box.bottom)) - top };
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
