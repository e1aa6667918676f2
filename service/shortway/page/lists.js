// What the form offers, from the service; a list that fails leaves the others as they are.

import { call } from "./asking.js";
import { button, el, make } from "./state.js";

const spaced = (id) => id.replaceAll("-", " ");
const offer = (id, items, option) => el(id).append(...items.map((item) => new Option(...option(item))));

const LISTS = [
  ["families", "/v1/families", ({ families }) => { el("family-names").textContent = families.map((f) => f.id).join(" "); }],
  ["preset", "/v1/settings", ({ settings }) => offer("preset", settings, ({ id }) => [spaced(id), id])],
  ["rhythm", "/v1/rhythms", ({ rhythms }) => offer("rhythm", rhythms, ({ id, about }) => [`${spaced(id)}: ${about}`, id])],
  ["example", "/page/examples.json", (examples) => offer("example", examples, ({ title, text }) => [title, text])],
];

const failed = new Map();

export const furnish = () => LISTS.forEach(furnished);

// Lists that failed, once more.
export const refurnish = () => [...failed.keys()].forEach(furnished);

async function furnished(list) {
  const [id, path, fill] = list;
  failed.get(list)?.remove();
  failed.delete(list);
  try {
    fill(await call(path));
  } catch (error) {
    const line = make("p", `This list cannot be read: ${error.message} `, { className: "missing" });
    line.append(button("Try again", () => furnished(list)));
    el(id).parentElement.append(line);
    failed.set(list, line);
  }
}
