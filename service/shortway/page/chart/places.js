// Places in a text chart: the service counts lines and columns from 1 and positions from 0, in code points, while
// the text field counts UTF-16 units.

const unitsOf = (points) => points.join("").length;

/** The offset of the code point at `position`. */
export const offsetAt = (text, position) => unitsOf([...text].slice(0, position));

/** Where each step's symbol stands: `{from, to}`, or null where the chart has no text. */
export function stepPlaces(text, steps) {
  const lines = [];
  let start = 0;
  for (const line of text.split("\n")) {
    lines.push({ start, points: [...line] });
    start += line.length + 1;
  }
  return steps.map(({ line, column, length }) => {
    const at = lines[line - 1];
    if (!at) return null;
    const from = at.start + unitsOf(at.points.slice(0, column - 1));
    return { from, to: from + unitsOf(at.points.slice(column - 1, column - 1 + length)) };
  });
}

/** The step at an offset; where a repeat plays it more than once, the next one after `current`. */
export function stepAt(places, offset, current) {
  const found = places.flatMap((place, step) => (place && place.from <= offset && offset <= place.to ? [step] : []));
  return found.find((step) => step > current) ?? found[0];
}
