// Pictures of the path, drawn by the service. Keyboards and voice lines are put into the page, so that the
// step that is looked at can be framed in them; the staff brings a font of its own and stays an image.

import { call, scoreOf } from "./asking.js";
import { el, make, say, state } from "./state.js";

const PICTURES = { staff: "Grand staff", keyboards: "A keyboard for each step", lines: "The voices as lines through pitch over time" };
const SVG = "http://www.w3.org/2000/svg";
const ROOM = 3;

export async function pictures(number, asked) {
  const drawn = ++state.drawn;
  const isLate = () => number !== state.asked || drawn !== state.drawn;
  const width = Math.max(300, Math.min(1080, el("answer").clientWidth - 40));
  for (const [picture, title] of Object.entries(PICTURES)) {
    try {
      const blob = await call("/v1/scores", scoreOf(asked, { show: { picture, width } }), "image/svg+xml");
      const shown = picture === "staff" ? image(blob, title) : await inline(blob);
      if (isLate()) return;
      put(`picture-${picture}`, title, shown);
    } catch (error) {
      if (isLate()) return;
      el(`picture-${picture}`)?.remove();
      say(`No picture (${title}): ${error.message}`);
    }
  }
  highlight(state.at);
}

function put(id, title, shown) {
  const figure = el(id) ?? el("pictures").appendChild(make("figure", "", { id }));
  const old = figure.querySelector("img");
  if (old) URL.revokeObjectURL(old.src);
  figure.replaceChildren(make("figcaption", title), shown);
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
