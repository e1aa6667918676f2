// Pictures of the path, drawn by the service and put into the page, so that the step that is looked at can
// be framed in them: keyboards and voice lines have it as a group, the staff has its measure.

import { call, scoreOf } from "./asking.js";
import { el, make, state } from "./state.js";

const PICTURES = { staff: "Grand staff", keyboards: "A keyboard for each step", lines: "The voices as lines through pitch over time" };
const SVG = "http://www.w3.org/2000/svg";
const ROOM = 3;

export async function pictures(number, asked) {
  const drawn = ++state.drawn;
  const isLate = () => number !== state.asked || drawn !== state.drawn;
  const width = Math.max(300, Math.min(1080, el("answer").clientWidth - 40));
  const drawings = Object.keys(PICTURES).map(async (picture) => {
    const shown = await drawing(picture, scoreOf(asked, { show: { picture, width } }));
    if (!isLate()) put(picture, shown);
  });
  await Promise.all(drawings);
}

async function drawing(picture, asked) {
  try {
    const blob = await call("/v1/scores", asked, "image/svg+xml");
    return await inline(blob);
  } catch (error) {
    const expected = error.problem?.errors[0]?.expected;
    return make("p", `No picture: ${error.message}${expected ? `; ${expected}` : ""}.`);
  }
}

function put(picture, shown) {
  const figure = el(`picture-${picture}`);
  figure.replaceChildren(make("figcaption", PICTURES[picture]), shown);
  highlight(state.at);
}

async function inline(blob) {
  const text = await blob.text();
  const faces = [...text.matchAll(/@font-face\s*{([^}]*)}/g)].map(([, face]) => face);
  await Promise.all(faces.map(learn));
  const bare = text.replace(/<style>[^<]*<\/style>/g, "");
  return document.importNode(new DOMParser().parseFromString(bare, "image/svg+xml").documentElement, true);
}

const learnt = new Set();

// The policy of the page takes no style sheet from a picture, so that its fonts are told to the page.
async function learn(face) {
  const said = (name) => new RegExp(`${name}:\\s*['"]?([^;'"]+)`).exec(face)?.[1].trim();
  const [family, weight = "normal", style = "normal"] = ["font-family", "font-weight", "font-style"].map(said);
  const data = /base64,([^)'"]+)/.exec(face)?.[1];
  const name = `${family} ${weight} ${style}`;
  if (!data || learnt.has(name)) return;
  learnt.add(name);
  const bytes = Uint8Array.from(atob(data), (sign) => sign.charCodeAt(0));
  document.fonts.add(await new FontFace(family, bytes, { weight, style }).load());
}

// --- the step that is looked at -----------------------------------------------------------------

export function highlight(index) {
  for (const old of document.querySelectorAll("#pictures .here")) old.remove();
  for (const step of document.querySelectorAll(`#pictures [data-step="${index}"]`)) step.prepend(frame(step));
  const measure = measures()?.[begun().findLastIndex((step) => step <= index)];
  measure?.prepend(frame(measure));
}

// The step that a place in a picture belongs to.
export function stepAt(target) {
  const step = target.closest("[data-step]");
  if (step) return Number(step.dataset.step);
  const measure = measures()?.indexOf(target.closest("[data-measure]")) ?? -1;
  return measure < 0 ? undefined : begun()[measure];
}

// Steps with which measures begin, in the order played.
const begun = () => state.path.steps.flatMap(({ beat }, index) => (beat === 1 || index === 0 ? [index] : []));

// The staff's measures, if they are those played: a lead sheet keeps its repeats where it can.
function measures() {
  const found = [...document.querySelectorAll("#picture-staff [data-measure]")];
  return found.length === begun().length ? found : null;
}

function frame(group) {
  const room = ROOM / group.getCTM().a;
  const [left, top, right, bottom] = bounds(group);
  const made = document.createElementNS(SVG, "rect");
  const sizes = { x: left - room, y: top - room, width: right - left + 2 * room, height: bottom - top + 2 * room, class: "here" };
  for (const [name, value] of Object.entries(sizes)) made.setAttribute(name, value);
  return made;
}

// The box of what a step has; a measure's is that of its staves, since words and ties reach beyond it.
function bounds(group) {
  const staves = group.dataset.measure === undefined ? [] : [...group.children].filter(isStaff);
  const boxes = (staves.length ? staves : [group]).map((part) => part.getBBox());
  return [
    Math.min(...boxes.map((box) => box.x)), Math.min(...boxes.map((box) => box.y)),
    Math.max(...boxes.map((box) => box.x + box.width)), Math.max(...boxes.map((box) => box.y + box.height)),
  ];
}

const isStaff = (part) => part.querySelector("g") && !part.querySelector("text");
