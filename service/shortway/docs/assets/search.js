// Search over manual and reference: the index comes once, from this service. Knows no page.

const MOST = 12;
const WEIGHT = { manual: 1, call: 1, field: 0.7, decision: 0.15 };

const plain = (text) => text.toLowerCase();
const words = (text) => plain(text).match(/[\p{L}\p{N}#_.-]+/gu) ?? [];
// A plural is looked for as its singular, which it begins with.
const stem = (word) => (word.length > 3 && word.endsWith("s") && !word.endsWith("ss") ? word.slice(0, -1) : word);

function score(entry, wanted, phrase) {
  let sum = 0;
  for (const word of wanted) {
    const inHeading = entry.headingWords.some((one) => one.startsWith(word));
    const inPage = entry.pageWords.some((one) => one.startsWith(word));
    const times = entry.textWords.filter((one) => one.startsWith(word)).length;
    if (!inHeading && !inPage && !times) return 0;
    sum += (inHeading ? 8 : 0) + (inPage ? 3 : 0) + Math.min(times, 4) / 2;
  }
  const stems = (list) => ` ${list.map(stem).join(" ")} `;
  if (stems(entry.headingWords) === ` ${phrase} `) sum += 12;
  else if (stems(entry.headingWords).includes(` ${phrase} `)) sum += 6;
  if (wanted.length > 1 && stems(entry.textWords).includes(` ${phrase} `)) sum += 5;
  return sum * WEIGHT[entry.kind];
}

export function find(index, query) {
  const wanted = words(query).map(stem);
  if (!wanted.length) return [];
  return index
    .map((entry) => ({ entry, score: score(entry, wanted, wanted.join(" ")) }))
    .filter((hit) => hit.score > 0)
    .sort((a, b) => b.score - a.score)
    .slice(0, MOST)
    .map(({ entry }) => ({ ...entry, excerpt: excerpt(entry.text, wanted) }));
}

function prepared(entries) {
  return entries.map((entry) => ({
    ...entry, headingWords: words(entry.heading), pageWords: words(entry.page), textWords: words(entry.text),
  }));
}

// The words around the first that was found.
function excerpt(text, wanted) {
  const places = wanted.map((word) => plain(text).indexOf(word)).filter((place) => place >= 0);
  const start = Math.max(0, text.lastIndexOf(" ", Math.max(0, Math.min(...places, text.length) - 40)) + 1);
  return (start ? "… " : "") + text.slice(start, start + 150) + (start + 150 < text.length ? " …" : "");
}

function marked(text, wanted) {
  const whole = document.createElement("small");
  const parts = text.split(/([\p{L}\p{N}#_.-]+)/u);
  for (const part of parts) {
    const isHit = wanted.some((word) => plain(part).startsWith(word));
    whole.append(isHit ? Object.assign(document.createElement("mark"), { textContent: part }) : part);
  }
  return whole;
}

function item(hit, query) {
  const link = Object.assign(document.createElement("a"), { href: hit.at });
  const title = hit.page === hit.heading ? hit.heading : `${hit.heading} · ${hit.page}`;
  link.append(Object.assign(document.createElement("strong"), { textContent: title }));
  link.append(marked(hit.excerpt, words(query).map(stem)));
  const one = document.createElement("li");
  one.append(link);
  return one;
}

export function startSearch() {
  const box = document.getElementById("search");
  const field = document.getElementById("query");
  const list = document.getElementById("hits");
  const found = document.getElementById("found");
  let index;
  box.hidden = false;

  const load = () => (index ??= fetch(box.dataset.index).then((answer) => answer.json()).then(prepared));

  async function show() {
    const query = field.value;
    const hits = query.trim() ? find(await load(), query) : [];
    if (query !== field.value) return;
    list.replaceChildren(...hits.map((hit) => item(hit, query)));
    list.hidden = !hits.length;
    found.textContent = !query.trim() ? "" : hits.length ? `${hits.length} found` : "Nothing found";
    found.classList.toggle("hide", hits.length > 0 || !query.trim());
  }

  function close() {
    list.hidden = true;
  }

  function move(event) {
    if (event.key === "Escape") {
      close();
      field.focus();
      return;
    }
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const links = [...list.querySelectorAll("a")];
    if (event.key === "Enter" && event.target === field && links.length) links[0].click();
    if (!step || list.hidden) return;
    event.preventDefault();
    const at = links.indexOf(document.activeElement) + step;
    (links[at] ?? field).focus();
  }

  field.addEventListener("focus", load);
  field.addEventListener("input", show);
  box.addEventListener("keydown", move);
  list.addEventListener("click", close);
  box.addEventListener("focusout", ({ relatedTarget }) => { if (!box.contains(relatedTarget)) close(); });
  addEventListener("keydown", (event) => {
    const isTyping = event.target.closest?.("input, textarea, select, [contenteditable]");
    if (event.key !== "/" || isTyping || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    field.focus();
  });
}
