// The cost of the path, what is proven of it, and its motion and prices said apart.

import { el, make } from "../dom.js";
import { countNoun, readable } from "../words.js";

export function drawTotal({ phase, path }, { locks }) {
  const isSure = phase === "ready" && path !== null;
  el("total-now").replaceChildren(...(isSure ? totalWords(path, locks.length) : [make("b", {}, "–"), make("span", {}, phase === "empty" ? "no chart" : "cost")]));
  el("total").toggleAttribute("inert", !isSure);
  if (!isSure) el("total").open = false;
  el("total-parts").replaceChildren(...(isSure ? totalParts(path, locks.length) : []));
}

function totalWords({ cost, motion, least_motion: least }, locks) {
  const possible = least === null ? "" : `, least ${least}`;
  return [
    make("b", {}, String(cost)), make("span", {}, "cost", make("span", {}, locks ? ", with locks" : ", proven least")),
    make("small", {}, "motion ", make("em", {}, String(motion)), possible),
  ];
}

function totalParts({ cost, motion, bass_motion: bass, least_motion: least, largest_leap: leap, price_items: items, size }, locks) {
  const proven = locks ? `No path with ${countNoun(locks, "locked voicing")} has a lower cost.` : "No path has a lower cost.";
  const rows = [
    ["Motion, in semitones", motion], ...items.map(({ name, count, total }) => [`${readable(name)}${count > 1 ? `, ${count} times` : ""}`, total]),
  ];
  return [
    make("p", {}, `${proven} All ${size.candidates.toLocaleString("en")} voicings were compared; what is proven is the cost.`),
    make("table", {}, make("caption", { className: "hide" }, "Parts of the cost"),
      make("tbody", {}, ...rows.map(([name, value]) => row(name, value))), make("tfoot", {}, row("Cost", cost))),
    make("p", { className: "soft" }, [
      least === null ? "" : `The least motion of any path is ${least}; prices make the rest worth it.`,
      `Largest leap of a voice: ${leap}.`, bass ? `The bass moves ${bass}, which is not counted.` : "",
    ].filter(Boolean).join(" ")),
  ];
}

const row = (name, value) => make("tr", {}, make("th", { scope: "row" }, name), make("td", {}, String(value)));
