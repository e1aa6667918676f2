// Options of the form, loaded from the service; each list loads on its own.

import { callApi } from "./api.js";
import { createButton, el, createElement } from "./state.js";

const readableId = (id) => id.replaceAll("-", " ");
const addOptions = (id, items, option) => el(id).append(...items.map((item) => new Option(...option(item))));

const LISTS = [
  ["families", "/v1/families", ({ families }) => { el("family-names").textContent = families.map((f) => f.id).join(" "); }],
  ["preset", "/v1/presets", ({ presets }) => addOptions("preset", presets, ({ id }) => [readableId(id), id])],
  ["rhythm", "/v1/rhythms", ({ rhythms }) => addOptions("rhythm", rhythms, ({ id, about }) => [`${readableId(id)}: ${about}`, id])],
  ["example", "/page/examples.json", (examples) => addOptions("example", examples, ({ title, text }) => [title, text])],
];

const failed = new Map();

export const loadOptions = () => LISTS.forEach(loadList);

// Loads the failed lists again.
export const retryOptions = () => [...failed.keys()].forEach(loadList);

async function loadList(list) {
  const [id, path, fill] = list;
  failed.get(list)?.remove();
  failed.delete(list);
  try {
    fill(await callApi(path));
  } catch (error) {
    const line = createElement("p", `cannot load this list: ${error.message} `, { className: "missing" });
    line.append(createButton("Try again", () => loadList(list)));
    el(id).parentElement.append(line);
    failed.set(list, line);
  }
}
