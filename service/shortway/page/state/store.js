// The page's state: one frozen value, and a history of what makes the answer. Knows no document and no service.

/** What makes the answer; undo and redo bring it back, with place and view. */
export const QUESTION = ["chart", "preset", "details", "loop", "locks", "keep", "exercise"];

// Changes of one kind that follow within this time are undone together.
const MERGED_WITHIN = 1500;

/**
 * `chart`: `text`, with its `format` where it is no text of bar lines, and `measureEach` (symbol or line) where it
 * has none; or `file` (name, and the chart's body).
 * `locks`: `{step, midiNotes, symbol}`; they count the steps of the last path or, where the chart was edited
 * since, the steps in `keep`. `exercise`: null, or `key_order` or `keys`. `place`: a step from 0.
 */
const INITIAL = {
  chart: { text: "" }, preset: "with-bass-two-hands", details: {}, loop: true, locks: [], keep: null, exercise: null,
  place: 0, view: "lines", tempo: 120, rhythm: "held", swing: 1, roots: "muted", volume: 30, showPrevious: true, theme: "", singleKeys: true,
};

/** What the player and the exports ask for beside the question: options of `/v1/performances` and `/v1/scores`. */
export const playedAs = ({ tempo, rhythm, swing, roots }) => ({ tempo, rhythm, swing, roots });

export function createStore(initial = {}) {
  let state = freeze({ ...INITIAL, ...initial });
  const listeners = new Set();
  const past = [];
  const future = [];
  let last = { kind: null, at: 0 };

  function change(next, options) {
    const before = state;
    state = freeze(next);
    for (const tell of listeners) tell(state, before, options);
  }

  function remember(kind) {
    const now = Date.now();
    const isMerged = typeof kind === "string" && kind === last.kind && now - last.at < MERGED_WITHIN;
    last = { kind, at: now };
    if (!isMerged) past.push(remembered(state));
    future.length = 0;
  }

  function travel(from, to) {
    if (!from.length) return;
    to.push(remembered(state));
    last = { kind: null, at: 0 };
    change({ ...state, ...from.pop() }, { isPlaced: true });
  }

  return {
    get: () => state,
    /**
     * `undoable`: true, or a word; changes of one word that follow closely are undone together. `isPlaced`: the
     * place is meant, and does not follow its chord.
     */
    set(patch, { undoable = false, isPlaced = false } = {}) {
      const changed = Object.keys(patch).filter((name) => !isSame(patch[name], state[name]));
      if (!changed.length) return;
      if (undoable) remember(undoable);
      change({ ...state, ...patch }, { undoable, isPlaced });
    },
    /** `tell(state, before, options)` after each change; returns what ends it. */
    subscribe(tell) {
      listeners.add(tell);
      return () => listeners.delete(tell);
    },
    undo: () => travel(past, future),
    redo: () => travel(future, past),
    canUndo: () => past.length > 0,
    canRedo: () => future.length > 0,
  };
}

export const isSame = (a, b) => a === b || JSON.stringify(a) === JSON.stringify(b);

const remembered = (state) => Object.fromEntries([...QUESTION, "place", "view"].map((name) => [name, state[name]]));

function freeze(value) {
  if (value && typeof value === "object" && !Object.isFrozen(value)) {
    Object.freeze(value);
    Object.values(value).forEach(freeze);
  }
  return value;
}
