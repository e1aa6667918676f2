// Pictures of the path, drawn by the service and inlined, so that the current step can be framed: keyboards
// and voice lines have a group for each step, the staff has one for each measure.

import { callApi, scoreRequest } from "./api.js";
import { el, createElement, state } from "./state.js";

const PICTURES = { staff: "Grand staff", keyboards: "A keyboard for each step", lines: "The voices as lines through pitch over time" };
const SVG = "http://www.w3.org/2000/svg";
const ROOM = 3;

export async function drawPictures(number, asked) {
  const drawn = ++state.drawn;
  const isLate = () => number !== state.asked || drawn !== state.drawn;
  const width = Math.max(300, Math.min(1080, el("answer").clientWidth - 40));
  const drawings = Object.keys(PICTURES).map(async (picture) => {
    const shown = await fetchPicture(picture, scoreRequest(asked, { show: { picture, width } }));
    if (!isLate()) showPicture(picture, shown);
  });
  await Promise.all(drawings);
}

async function fetchPicture(picture, asked) {
  try {
    const blob = await callApi("/v1/scores", asked, "image/svg+xml");
    return await inlineSvg(blob);
  } catch (error) {
    const expected = error.problem?.errors[0]?.expected;
    return createElement("p", `Cannot draw this picture: ${error.message}${expected ? `; ${expected}` : ""}.`);
  }
}

function showPicture(picture, shown) {
  const figure = el(`picture-${picture}`);
  figure.replaceChildren(createElement("figcaption", PICTURES[picture]), shown);
  highlightStep(state.at);
}

async function inlineSvg(blob) {
  const text = await blob.text();
  const faces = [...text.matchAll(/@font-face\s*{([^}]*)}/g)].map(([, face]) => face);
  await Promise.all(faces.map(loadFont));
  const bare = text.replace(/<style>[^<]*<\/style>/g, "");
  return document.importNode(new DOMParser().parseFromString(bare, "image/svg+xml").documentElement, true);
}

const loadedFonts = new Set();

// The content security policy allows no inline style sheet, so fonts are loaded by script.
async function loadFont(face) {
  const said = (name) => new RegExp(`${name}:\\s*['"]?([^;'"]+)`).exec(face)?.[1].trim();
  const [family, weight = "normal", style = "normal"] = ["font-family", "font-weight", "font-style"].map(said);
  const data = /base64,([^)'"]+)/.exec(face)?.[1];
  const name = `${family} ${weight} ${style}`;
  if (!data || loadedFonts.has(name)) return;
  loadedFonts.add(name);
  const bytes = Uint8Array.from(atob(data), (sign) => sign.charCodeAt(0));
  document.fonts.add(await new FontFace(family, bytes, { weight, style }).load());
}

// --- the current step ---------------------------------------------------------------------------

export function highlightStep(index) {
  for (const old of document.querySelectorAll("#pictures .here")) old.remove();
  for (const step of document.querySelectorAll(`#pictures [data-step="${index}"]`)) step.prepend(frameOf(step));
  const measure = staffMeasures()?.[measureStarts().findLastIndex((step) => step <= index)];
  measure?.prepend(frameOf(measure));
}

// The step at an element of a picture.
export function stepAt(target) {
  const step = target.closest("[data-step]");
  if (step) return Number(step.dataset.step);
  const measure = staffMeasures()?.indexOf(target.closest("[data-measure]")) ?? -1;
  return measure < 0 ? undefined : measureStarts()[measure];
}

// Steps at which measures begin, in playing order.
const measureStarts = () => state.path.steps.flatMap(({ beat }, index) => (beat === 1 || index === 0 ? [index] : []));

// The staff's measures, if they are in playing order; a lead sheet may keep its repeats.
function staffMeasures() {
  const found = [...document.querySelectorAll("#picture-staff [data-measure]")];
  return found.length === measureStarts().length ? found : null;
}

function frameOf(group) {
  const room = ROOM / group.getCTM().a;
  const [left, top, right, bottom] = bounds(group);
  const made = document.createElementNS(SVG, "rect");
  const sizes = { x: left - room, y: top - room, width: right - left + 2 * room, height: bottom - top + 2 * room, class: "here" };
  for (const [name, value] of Object.entries(sizes)) made.setAttribute(name, value);
  return made;
}

// The bounding box of a step; of a measure that of its staves, since text and ties extend beyond it.
function bounds(group) {
  const staves = group.dataset.measure === undefined ? [] : [...group.children].filter(isStaff);
  const boxes = (staves.length ? staves : [group]).map((part) => part.getBBox());
  return [
    Math.min(...boxes.map((box) => box.x)), Math.min(...boxes.map((box) => box.y)),
    Math.max(...boxes.map((box) => box.x + box.width)), Math.max(...boxes.map((box) => box.y + box.height)),
  ];
}

const isStaff = (part) => part.querySelector("g") && !part.querySelector("text");
