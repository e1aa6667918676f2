// The comfort prices as sliders, each named and told in a line; a price is what one would move farther to avoid it.

import { loadList } from "../api.js";
import { make } from "../dom.js";
import { label } from "../words.js";

const MOST = 20; // semitones at a slider's end; a setting may ask for more

export function createPrices(store, preset, change) {
  const sliders = make("div", { className: "prices" });
  const box = make("input", { type: "checkbox", id: "pricing" });
  const element = make(
    "fieldset", { className: "wide", "data-pointer": "/setting/prices" }, make("legend", {}, "Prices, in semitones"),
    make("label", { className: "check" }, box, "Count comfort, not motion alone"), sliders,
    make("p", { className: "problem", hidden: true }),
  );
  box.addEventListener("change", () => change({ pricing: box.checked ? "comfort" : "none" }));
  sliders.addEventListener("input", ({ target }) => { target.nextElementSibling.value = target.value; });
  sliders.addEventListener("change", ({ target }) => {
    const own = preset().prices ?? {};
    const prices = { ...store.get().details.prices, [target.name]: Number(target.value) };
    const changed = Object.entries(prices).filter(([name, value]) => value !== own[name]);
    change({ prices: changed.length ? Object.fromEntries(changed) : undefined });
  });
  loadList("/v1/prices", ({ prices }) => {
    sliders.replaceChildren(...prices.map(slider));
    document.dispatchEvent(new CustomEvent("loaded"));
  });

  return {
    element,
    draw(prices, pricing) {
      box.checked = pricing !== "none";
      for (const input of sliders.querySelectorAll("input")) {
        if (input === document.activeElement) continue;
        input.value = prices[input.name] ?? 0;
        input.nextElementSibling.value = prices[input.name] ?? 0;
        input.disabled = pricing === "none";
      }
    },
  };
}

function slider({ name, counts }) {
  const input = make("input", { type: "range", name, min: 0, max: MOST, step: 1 });
  return make("label", { title: counts }, make("span", {}, label(name)), input, make("output"));
}
