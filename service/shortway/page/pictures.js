// Pictures of the path, drawn by the service. Keyboards and voice lines are put into the page, so that the
// step that is looked at can be framed in them; the staff brings a font of its own and stays an image.

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
    return picture === "staff" ? image(blob, PICTURES[picture]) : await inline(blob);
  } catch (error) {
    const expected = error.problem?.errors[0]?.expected;
    return make("p", `No picture: ${error.message}${expected ? `; ${expected}` : ""}.`);
  }
}

function put(picture, shown) {
  const figure = el(`picture-${picture}`);
  const old = figure.querySelector("img");
  if (old) URL.revokeObjectURL(old.src);
  figure.replaceChildren(make("figcaption", PICTURES[picture]), shown);
  highlight(state.at);
}

const image = (blob, title) => make("img", "", { src: URL.createObjectURL(blob), alt: `${title}; the table of steps says the same in words` });

async function inline(blob) {
  const read = new DOMParser().parseFromString(await blob.text(), "image/svg+xml");
  return document.importNode(read.documentElement, true);
}

// Frame a step in every picture that has it as a group.
export function highlight(index) {
  for (const old of document.querySelectorAll("#pictures .here")) old.remove();
  for (const step of document.querySelectorAll(`#pictures [data-step="${index}"]`)) {
    const box = step.getBBox();
    const frame = document.createElementNS(SVG, "rect");
    const sizes = { x: box.x - ROOM, y: box.y - ROOM, width: box.width + 2 * ROOM, height: box.height + 2 * ROOM, rx: 4, class: "here" };
    for (const [name, value] of Object.entries(sizes)) frame.setAttribute(name, value);
    step.prepend(frame);
  }
}
