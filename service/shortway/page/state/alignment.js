// Which steps of an edited chart are which of the chart before: the rule of the manual, under Paths, as the
// Python client has it. Pure: knows no page.

// More comparisons than this are not made between two stretches.
const MOST_PAIRS = 1_000_000;

/** Pairs of indices into `old` and `now`, steps with measure, beat and symbol, that are the same step. */
export function alignSteps(old, now) {
  const [before, after] = [measures(old), measures(now)];
  const contents = ([steps, of]) => of.map((measure) => JSON.stringify(measure.map((k) => [steps[k].beat, steps[k].symbol])));
  const same = common(contents([old, before]), contents([now, after]));
  const pairs = [];
  let [a, b] = [0, 0];
  for (const [i, j] of [...same, [before.length, after.length]]) {
    pairs.push(...edited(old, now, before.slice(a, i), after.slice(b, j)));
    if (i < before.length) before[i].forEach((k, at) => pairs.push([k, after[j][at]]));
    [a, b] = [i + 1, j + 1];
  }
  return pairs;
}

// The steps of each measure as played: one begins where the beat does not increase, too.
function measures(steps) {
  const found = [];
  steps.forEach((step, k) => {
    const last = steps[k - 1];
    if (last && step.measure === last.measure && step.beat > last.beat) found.at(-1).push(k);
    else found.push([k]);
  });
  return found;
}

// The pairs of a stretch without measures that are the same.
function edited(old, now, before, after) {
  if (before.length === after.length) {
    return after.flatMap((measure, at) => {
      const places = new Map(before[at].map((k) => [old[k].beat, k]));
      return measure.filter((k) => places.has(now[k].beat)).map((k) => [places.get(now[k].beat), k]);
    });
  }
  const [a, b] = [before.flat(), after.flat()];
  return common(a.map((k) => old[k].symbol), b.map((k) => now[k].symbol)).map(([i, j]) => [a[i], b[j]]);
}

// A longest common subsequence, as indices; of several the one that pairs the first of `a`.
function common(a, b) {
  const shorter = Math.min(a.length, b.length);
  let [head, tail] = [0, 0];
  while (head < shorter && a[head] === b[head]) head += 1;
  while (tail < shorter - head && a.at(-1 - tail) === b.at(-1 - tail)) tail += 1;
  const [n, m] = [a.length - head - tail, b.length - head - tail];
  const inner = n * m <= MOST_PAIRS ? longest(a.slice(head, head + n), b.slice(head, head + m)) : [];
  return [
    ...Array.from({ length: head }, (_, k) => [k, k]),
    ...inner.map(([i, j]) => [head + i, head + j]),
    ...Array.from({ length: tail }, (_, k) => [head + n + k, head + m + k]),
  ];
}

function longest(a, b) {
  const ahead = Array.from({ length: a.length + 1 }, () => new Uint16Array(b.length + 1)); // of a[i:] and b[j:]
  for (let i = a.length - 1; i >= 0; i -= 1) {
    for (let j = b.length - 1; j >= 0; j -= 1) {
      ahead[i][j] = a[i] === b[j] ? ahead[i + 1][j + 1] + 1 : Math.max(ahead[i + 1][j], ahead[i][j + 1]);
    }
  }
  const pairs = [];
  let [i, j] = [0, 0];
  while (i < a.length && j < b.length) {
    if (a[i] === b[j]) pairs.push([i++, j++]);
    else if (ahead[i + 1][j] > ahead[i][j + 1]) i += 1;
    else j += 1;
  }
  return pairs;
}
