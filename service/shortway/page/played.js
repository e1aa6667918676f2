// What was played, as text: a step a line or between bars, its notes by name or MIDI number, "-" where
// nothing sounds, "%" for the step before again. What stands before a colon is for the eye only.

export function played(text) {
  const steps = [];
  for (const { notes } of cells(text)) {
    const words = notes.map(([word]) => word);
    if (words.length === 1 && words[0] === "%" && steps.length) steps.push(steps.at(-1));
    else if (!words.length || (words.length === 1 && words[0] === "-")) steps.push(null);
    else steps.push(words.map((word) => (/^\d+$/.test(word) ? Number(word) : word)));
  }
  return steps;
}

// Where in the text a step or one of its notes stands; null where the text has none.
export function placeOf(text, step, note = 0) {
  const cell = cells(text)[step];
  return cell ? cell.notes[note]?.[1] ?? cell.at : null;
}

export function written(steps) {
  return steps.map((step, k) => `${k + 1} ${step.symbol}: ${notesOf(step)}`).join("\n");
}

function notesOf({ voicing }) {
  return voicing ? [...voicing.left, ...voicing.right].map((note) => note.note).join(" ") : "-";
}

function cells(text) {
  const found = [];
  let at = 0;
  for (const line of text.split("\n")) {
    if (line.trim()) found.push(...between(line, at));
    at += line.length + 1;
  }
  return found;
}

// The cells of a line, each after its label; bars at the ends of the line bound it.
function between(line, from) {
  const parts = line.split("|");
  let at = from;
  const all = parts.map((part) => {
    const label = part.lastIndexOf(":") + 1;
    const begin = at + label;
    at += part.length + 1;
    return { at: begin, notes: [...part.slice(label).matchAll(/[^\s,]+/g)].map((m) => [m[0], begin + m.index]) };
  });
  const first = parts.length > 1 && !parts[0].trim() ? 1 : 0;
  const last = parts.length > 1 && !parts.at(-1).trim() ? -1 : undefined;
  return all.slice(first, last);
}
