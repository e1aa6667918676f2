// The frame around the question and the answer: what is solved, stale or wrong, undo and redo, tabs, theme, token.

import { setToken } from "./api.js";
import { el, make } from "./dom.js";

const NOTES = { stale: "The chart has changed", loading: "Looking for the path" };
const NEEDS_PATH = ["play", "before", "after", "lock", "swap"];
export const VIEWS = ["lines", "staff", "keyboards", "table", "review"];

export function createFrame(store, solving, actions) {
  listen(store, solving, actions);
  let said = "";

  return {
    draw({ answer, state }) {
      drawPhase(answer);
      drawTabs(state.view);
      el("undo").disabled = !store.canUndo();
      el("redo").disabled = !store.canRedo();
      if (el("theme").value !== state.theme) el("theme").value = state.theme;
      drawTheme(state.theme);
      const words = spoken(answer);
      if (words !== said && words) el("spoken").textContent = words;
      said = words;
    },
  };
}

// What a screen reader hears once a path is found.
function spoken({ phase, path }) {
  return phase === "ready" ? `Path found: ${path.steps.length} chords, cost ${path.cost}, motion ${path.motion} semitones` : "";
}

function drawPhase({ phase, path, problem }) {
  el("stage").dataset.phase = phase;
  el("stage").setAttribute("aria-busy", String(phase === "loading" || phase === "stale"));
  el("empty").hidden = phase !== "empty" && (phase !== "error" || path !== null);
  el("empty-title").textContent = phase === "error" ? "No answer yet" : "No chart yet";
  const words = phase === "error" && path ? "This is the answer to the chart before" : NOTES[phase] ?? "";
  el("note").replaceChildren(...(phase === "loading" ? [make("span", { className: "spinner" })] : []), words);
  el("note").hidden = !words;
  el("art").inert = phase !== "ready" && !el("art").contains(document.activeElement);
  el("art").hidden = !path;
  for (const id of NEEDS_PATH) el(id).disabled = !path || phase === "error";
  const isDenied = problem?.status === 401;
  if (isDenied) el("token-field").hidden = false;
  el("token-problem").textContent = isDenied ? problem.detail : "";
}

function drawTabs(view) {
  for (const name of VIEWS) {
    el(`tab-${name}`).setAttribute("aria-selected", String(name === view));
    el(`tab-${name}`).tabIndex = name === view ? 0 : -1;
  }
  el("view").setAttribute("aria-labelledby", `tab-${view}`);
}

function drawTheme(theme) {
  const root = document.documentElement;
  root.dataset.theme = theme;
  const isDark = theme === "dark" || (theme !== "light" && matchMedia("(prefers-color-scheme: dark)").matches);
  root.toggleAttribute("data-dark", isDark);
}

function listen(store, solving, actions) {
  const clicks = {
    lock: () => actions.toggleLock(store.get().place),
    swap: () => document.dispatchEvent(new CustomEvent("alternatives")),
    "unlock-all": actions.unlockAll,
    undo: store.undo,
    redo: store.redo,
    "keys-help": () => el("help").showModal(),
  };
  for (const [id, does] of Object.entries(clicks)) el(id).addEventListener("click", does);
  el("theme").addEventListener("change", ({ target }) => store.set({ theme: target.value }));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => drawTheme(store.get().theme));
  el("ask").addEventListener("submit", (event) => event.preventDefault());
  el("token").addEventListener("change", ({ target }) => {
    setToken(target.value);
    solving.ask();
  });
  listenToTabs(store);
  listenToMenus();
}

function listenToTabs(store) {
  const tabs = document.querySelector("[role=tablist]");
  tabs.addEventListener("click", ({ target }) => { if (target.id.startsWith("tab-")) store.set({ view: target.id.slice(4) }); });
  tabs.addEventListener("keydown", (event) => {
    const at = VIEWS.indexOf(store.get().view);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1 + VIEWS.length, Home: 0, End: VIEWS.length - 1 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    store.set({ view: VIEWS[to % VIEWS.length] });
    el(`tab-${store.get().view}`).focus();
  });
}

// A menu closes when something in it is chosen, or something else clicked.
function listenToMenus() {
  document.addEventListener("click", ({ target }) => {
    for (const menu of document.querySelectorAll(".menu[open]")) {
      if (!menu.contains(target) || target.closest(".menu-list button")) menu.open = false;
    }
  });
}
