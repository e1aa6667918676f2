// Single keys outside text fields, undo and redo, and Escape. Their list for readers is in index.html.

import { el } from "./dom.js";
import { VIEWS } from "./frame.js";

const CLICKED = { ",": "before", ".": "after", p: "play", o: "loop", l: "lock", a: "swap", g: "ghosts" };

export function listenToKeys(store, actions) {
  el("single-keys").checked = store.get().singleKeys;
  el("single-keys").addEventListener("change", ({ target }) => store.set({ singleKeys: target.checked }));
  document.addEventListener("keydown", (event) => {
    if (event.defaultPrevented) return;
    if (event.key === "Escape") return leave(event);
    if (event.target.closest("textarea, input:not([type=radio], [type=checkbox]), select")) return;
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
      event.preventDefault();
      return event.shiftKey ? store.redo() : store.undo();
    }
    const isPlain = !event.ctrlKey && !event.metaKey && !event.altKey;
    if (isPlain && store.get().singleKeys && !el("help").open) press(event, actions);
  });
}

function press(event, actions) {
  const key = event.key.toLowerCase();
  if (key === "?") return el("help").showModal();
  if (key === "e") {
    event.preventDefault();
    return el("chart").focus();
  }
  if (VIEWS[key - 1]) return actions.setView(VIEWS[key - 1]);
  const button = el(CLICKED[key] ?? "");
  if (button && !button.disabled) button.click();
}

// Closes what is open: a menu, the alternatives; leaves the chart.
function leave(event) {
  const menu = document.querySelector(".menu[open]");
  if (menu) {
    menu.open = false;
    return menu.querySelector("summary").focus();
  }
  if (!el("sheet").hidden) return el("sheet-close").click();
  if (event.target === el("chart")) el("stage").focus();
}
