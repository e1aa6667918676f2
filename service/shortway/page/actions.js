// What views may ask for. Every change goes through the store.

import { el } from "./dom.js";
import { notesOf } from "./words.js";

const TOLD_FOR = 5000;

/** `showPreview(voicing or null)` puts a voicing on the stage in place of the step's own. */
export function createActions(store, solving, showPreview) {
  let telling = 0;
  const stepAt = (step) => solving.get().path?.steps[step];

  const actions = {
    /** Goes to a step; beyond the ends it stays there or, in a loop, goes round. */
    goTo(step) {
      const count = solving.get().path?.steps.length;
      if (!count) return;
      const { loop } = store.get();
      store.set({ place: loop ? (step + count) % count : Math.min(count - 1, Math.max(0, step)) });
    },
    /** Locks a step's voicing, or another one given. */
    lock(step, voicing = stepAt(step)?.voicing) {
      if (!voicing) return;
      const lock = { step, midiNotes: notesOf(voicing).map(({ midi }) => midi), symbol: stepAt(step).symbol };
      store.set({ locks: [...store.get().locks.filter((l) => l.step !== step), lock] }, { undoable: true });
    },
    unlock(step) {
      store.set({ locks: store.get().locks.filter((l) => l.step !== step) }, { undoable: true });
    },
    unlockAll: () => store.set({ locks: [] }, { undoable: true }),
    toggleLock(step) {
      if (store.get().locks.some((l) => l.step === step)) actions.unlock(step);
      else actions.lock(step);
    },
    openAlternatives(step) {
      actions.goTo(step);
      document.dispatchEvent(new CustomEvent("alternatives"));
    },
    preview: showPreview,
    setView: (view) => store.set({ view }),
    /** A change of the player or the display, such as tempo, rhythm or showPrevious. */
    set: (patch) => store.set(patch, { undoable: "loop" in patch }),
    /** Says something in passing, to the eye and to a screen reader. */
    announce(text) {
      clearTimeout(telling);
      el("toast").textContent = text;
      telling = setTimeout(() => { el("toast").textContent = ""; }, TOLD_FOR);
    },
    getState: store.get,
    getAnswer: solving.get,
  };
  return actions;
}
