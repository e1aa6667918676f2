// The page at "/": makes the store, the answer and the parts, and draws what changed once a frame.
//
// Each view is a module with `create(element, actions)`, which returns `{draw({answer, state, preview}), destroy?}`.
// A view draws the state and calls actions; this module alone listens to lock, alternatives, tabs, undo and theme.

import { createAlternatives } from "./alternatives.js";
import { createEditor } from "./chart/editor.js";
import { createFiles } from "./chart/files.js";
import { el, once } from "./dom.js";
import { createActions } from "./actions.js";
import { createFrame } from "./frame.js";
import { createDetails } from "./setting/details.js";
import { createExercise } from "./setting/exercise.js";
import { createPresets } from "./setting/presets.js";
import { listenToKeys } from "./shortcuts.js";
import { createSolving } from "./solving.js";
import { keepInStorage, restored, UNREADABLE } from "./state/storage.js";
import { createStore } from "./state/store.js";

// What is always drawn: its element and its module.
const PARTS = [["now", "./views/stage.js"], ["keys", "./views/keyboard.js"], ["player", "./player/player.js"]];

const VIEWS = {
  lines: "./views/lines.js", staff: "./views/staff.js", keyboards: "./views/keyboards.js",
  table: "./views/table.js", review: "./views/review.js",
};

const start = await restored();
const store = createStore(start.state);
let preview = null;
const draw = once(() => {
  const now = { answer: solving.get(), state: store.get(), preview };
  for (const part of parts) part.draw(now);
});
const solving = createSolving(store, (text) => actions.announce(text));
const actions = createActions(store, solving, (voicing) => { preview = voicing; draw(); });

const parts = [
  createFrame(store, solving, actions), createEditor(store, solving, actions), createFiles(store, actions),
  createPresets(store), createDetails(store), createExercise(store, actions), createAlternatives(store, solving, actions),
];
listenToKeys(store, actions);
keepInStorage(store, actions.announce);
store.subscribe((state, before) => {
  if (state.place !== before.place) preview = null;
  draw();
});
solving.subscribe(draw);
document.addEventListener("loaded", draw); // a list of the service has come

async function loaded(path) {
  try {
    return await import(path);
  } catch (error) {
    actions.announce(`Cannot load a part of the page: ${error.message}`);
    return null;
  }
}

for (const [id, path] of PARTS) {
  loaded(path).then((module) => {
    if (!module) return;
    parts.push(module.create(el(id), actions));
    draw();
  });
}

// The view that is open; the others are not drawn.
const opened = { name: null, view: null };
async function openView({ view: name }) {
  if (opened.name === name) return;
  opened.view?.destroy?.();
  Object.assign(opened, { name, view: null });
  el("view").replaceChildren();
  const module = await loaded(VIEWS[name]);
  if (!module || opened.name !== name) return;
  opened.view = module.create(el("view"), actions);
  draw();
}
store.subscribe(openView);
openView(store.get());
parts.push({ draw: (now) => { if (now.answer.path || opened.name === "review") opened.view?.draw(now); } });

solving.ask();
if (start.isUnreadable) actions.announce(UNREADABLE);
