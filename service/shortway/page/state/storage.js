// What survives a reload: the fragment, in the address and in the browser's storage, and the reader's own choices in
// storage alone. A fragment in the address wins.

import { readFragment, writeFragment } from "./fragment.js";

const QUESTION_KEY = "shortway";
const OWN_KEY = "shortway-own";
const OWN = ["volume", "showPrevious", "theme", "singleKeys"];
const PAUSE = 300;
export const UNREADABLE = "The chart in this link cannot be read";

export const FIRST_CHART = `title: Late Checkout
key: Bb
|: Bb6 G7 | Cm7 F7 | Dm7 G7b9 |
|1. Cm7 F7 :|2. Cm7 F7 Bb6 |`;

/** The state to begin with: of the address, of the last visit, or a first chart; and whether a link was unreadable. */
export async function restored() {
  const own = readOwn();
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
  store.subscribe(() => {
    clearTimeout(waiting);
    waiting = setTimeout(async () => {
      const state = store.get();
      written = await writeFragment(state);
      keep(QUESTION_KEY, written);
      keep(OWN_KEY, JSON.stringify(Object.fromEntries(OWN.map((name) => [name, state[name]]))));
      history.replaceState(null, "", written);
    }, PAUSE);
  });
  addEventListener("hashchange", async () => {
    if (location.hash === written) return;
    const found = await readFragment(location.hash).catch(() => announce(UNREADABLE));
    if (found) store.set({ exercise: null, keep: null, ...found }, { undoable: true, isPlaced: true });
  });
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
