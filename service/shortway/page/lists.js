// What the form offers, from the service; a list that fails leaves the others as they are.

import { call } from "./asking.js";
import { el, make } from "./state.js";

const spaced = (id) => id.replaceAll("-", " ");
const offer = (id, items, option) => el(id).append(...items.map((item) => new Option(...option(item))));

const LISTS = [
  ["families", "/v1/families", ({ families }) => { el("family-names").textContent = families.map((f) => f.id).join(" "); }],
  ["preset", "/v1/settings", ({ settings }) => offer("preset", settings, ({ id }) => [spaced(id), id])],
  ["rhythm", "/v1/rhythms", ({ rhythms }) => offer("rhythm", rhythms, ({ id, about }) => [`${spaced(id)}: ${about}`, id])],
  ["example", "/page/examples.json", (examples) => offer("example", examples, ({ title, text }) => [title, text])],
];

export const furnish = () => Promise.all(LISTS.map(([id, path, fill]) => furnished(id, path, fill)));

async function furnished(id, path, fill) {
  try {
    fill(await call(path));
  } catch (error) {
    el(id).parentElement.append(missing(id, path, fill, error));
  }
}

function missing(id, path, fill, error) {
  const line = make("p", `This list cannot be read: ${error.message} `, { className: "missing" });
  const again = make("button", "Try again", { type: "button" });
  again.addEventListener("click", () => { line.remove(); furnished(id, path, fill); });
  line.append(again);
  return line;
}
