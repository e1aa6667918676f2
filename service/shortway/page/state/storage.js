// What survives a reload: the fragment, in the address and in the browser's storage, and the reader's own choices in
// storage alone. A fragment in the address wins.

import { readFragment, writeFragment, writeFragmentNow } from "./fragment.js";

const QUESTION_KEY = "shortway";
const OWN_KEY = "shortway-own";
const LEFT_KEY = "shortway-left";
const OWN = ["volume", "showPrevious", "theme", "singleKeys"];
const PAUSE = 300;
export const UNREADABLE = "The chart in this link cannot be read";

const FIRST_CHART = `title: Late Checkout
key: Bb
|: Bb6 G7 | Cm7 F7 | Dm7 G7b9 |
|1. Cm7 F7 :|2. Cm7 / F7 Bb6 |`;

/** The state to begin with: of the address, of the last visit, or a first chart; and whether a link was unreadable. */
export async function restored() {
  const own = readOwn();
  takeUpLeft();
  let isUnreadable = false;
  for (const text of [location.hash, stored(QUESTION_KEY) ?? ""]) {
    const found = await readFragment(text).catch(() => { isUnreadable = true; });
    if (found) return { state: { ...own, ...found }, isUnreadable };
  }
  return { state: { ...own, chart: { text: FIRST_CHART } }, isUnreadable };
}

/** Writes what changed, a little later, and takes in a link that is opened over this page. */
export function keepInStorage(store, announce) {
  let waiting = 0;
  let written = location.hash;
  const keepAll = (state, fragment) => {
    keep(QUESTION_KEY, fragment);
    keep(OWN_KEY, JSON.stringify(Object.fromEntries(OWN.map((name) => [name, state[name]]))));
  };
  store.subscribe(() => {
    clearTimeout(waiting);
    const mine = waiting = setTimeout(async () => {
      const state = store.get();
      written = await writeFragment(state);
      keepAll(state, written);
      history.replaceState(null, "", written);
      if (waiting === mine) waiting = 0;
    }, PAUSE);
  });
  addEventListener("pagehide", () => {
    if (!waiting) return;
    const fragment = writeFragmentNow(store.get());
    keepAll(store.get(), fragment);
    keepLeft(fragment);
  });
  addEventListener("hashchange", async () => {
    if (location.hash === written) return;
    const found = await readFragment(location.hash).catch(() => announce(UNREADABLE));
    if (found) store.set({ exercise: null, keep: null, ...found }, { undoable: true, isPlaced: true });
  });
}

// A page that is left cannot change the address that a reload opens: the tab keeps both until then.
function keepLeft(fragment) {
  try { sessionStorage.setItem(LEFT_KEY, JSON.stringify([location.hash, fragment])); } catch { /* nothing to be done */ }
}
function takeUpLeft() {
  try {
    const [address, fragment] = JSON.parse(sessionStorage.getItem(LEFT_KEY) ?? "[]");
    sessionStorage.removeItem(LEFT_KEY);
    if (fragment && address === location.hash) history.replaceState(null, "", fragment);
  } catch { /* nothing was kept */ }
}

function readOwn() {
  try {
    const own = JSON.parse(stored(OWN_KEY) ?? "{}");
    return Object.fromEntries(OWN.filter((name) => name in own).map((name) => [name, own[name]]));
  } catch {
    return {};
  }
}

// A private window keeps nothing.
function stored(key) {
  try { return localStorage.getItem(key); } catch { return null; }
}
function keep(key, text) {
  try { localStorage.setItem(key, text); } catch { /* nothing to be done */ }
}
