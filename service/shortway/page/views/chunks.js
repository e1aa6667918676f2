// Long lists in chunks: those out of sight are empty and keep their height.

import { make } from "../dom.js";

/**
 * Fills a scrolling region with chunks of `size` steps. `each(steps)` makes the elements of a chunk, `guess(count)` its
 * height before it was seen. Returns `mark(step, follow)`, which marks the current step, and `destroy`.
 */
export function createChunks(parent, { steps, tag, className = "", size, each, guess }) {
  let current = 0;
  const markCurrent = () => {
    for (const old of parent.querySelectorAll("[data-step][aria-current]")) old.removeAttribute("aria-current");
    const now = parent.querySelector(`[data-step="${current}"]`);
    now?.setAttribute("aria-current", "true");
    return now;
  };
  const seen = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) (isIntersecting ? fill : empty)(target);
    markCurrent();
  }, { root: parent.closest(".scroll"), rootMargin: "150px" });
  const fill = (part) => {
    if (part.childElementCount) return;
    const from = Number(part.dataset.from);
    part.replaceChildren(...each(steps.slice(from, from + size)));
    part.style.height = "";
  };
  const empty = (part) => {
    if (!part.childElementCount) return;
    part.style.height = `${part.getBoundingClientRect().height}px`;
    part.replaceChildren();
  };
  const parts = Array.from({ length: Math.ceil(steps.length / size) }, (_, k) => make(tag, { className, "data-from": k * size }));
  parts.forEach((part, k) => { part.style.height = `${guess(Math.min(size, steps.length - k * size))}px`; });
  parent.append(...parts);
  for (const part of parts) seen.observe(part);
  return {
    mark(step, follow = true) {
      current = step;
      const part = parts[Math.floor(step / size)];
      if (follow && part && !part.childElementCount) fill(part);
      const now = markCurrent();
      if (follow && now) keepInSight(parent.closest(".scroll"), now);
    },
    destroy: () => seen.disconnect(),
  };
}

// Below the head of a table, which stays.
const HEAD = 40;

/** Scrolls a region, and nothing around it, until an element is in sight. */
export function keepInSight(region, element) {
  const [frame, box] = [region.getBoundingClientRect(), element.getBoundingClientRect()];
  if (box.top < frame.top + HEAD) region.scrollTop -= frame.top + HEAD - box.top;
  else if (box.bottom > frame.bottom) region.scrollTop += box.bottom - frame.bottom;
}

/** A view whose region is filled anew for each path: `fillRegion(region, shown, actions)` returns `{mark, destroy}`. */
export function createListView(element, actions, label, fillRegion) {
  let [region, filled, path, locks] = [null, null, null, null];
  const clear = () => { filled?.destroy?.(); filled = null; };
  return {
    draw(shown) {
      if (!shown.answer.path) return;
      if (path !== shown.answer.path || locks !== shown.state.locks) {
        clear();
        [path, locks] = [shown.answer.path, shown.state.locks];
        region = make("div", { className: "scroll", tabIndex: 0, role: "region", "aria-label": label });
        region.addEventListener("click", ({ target }) => {
          const step = target.closest("[data-step]");
          if (step) actions.goTo(Number(step.dataset.step));
        });
        element.replaceChildren(region);
        filled = fillRegion(region, shown, actions);
      }
      filled?.mark(shown.state.place, true);
    },
    destroy: clear,
  };
}
