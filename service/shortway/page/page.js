// The page at "/": asks this service what anyone may ask it, and shows and plays the answer.
// State is one object; questions, pictures and lists of voicings are numbered, and late ones dropped.

const el = (id) => document.getElementById(id);
const state = { sheet: null, pins: new Map(), path: null, at: 0, asked: 0, drawn: 0, turned: 0, request: null };

// --- asking ---------------------------------------------------------------------------------

async function call(path, body, accept = "application/json") {
  const answer = await fetch(path, {
    method: body === undefined ? "GET" : "POST",
    headers: body === undefined ? { Accept: accept } : { "Content-Type": "application/json", Accept: accept },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  if (!answer.ok) {
    const problem = await answer.json().catch(() => ({ detail: `the service answered ${answer.status}`, errors: [] }));
    throw Object.assign(new Error(problem.detail), { problem });
  }
  return accept === "application/json" ? answer.json() : answer.blob();
}

function setting() {
  const found = {};
  for (const input of document.querySelectorAll("[data-field]")) {
    const text = input.value.trim();
    if (!text) continue;
    const kind = input.dataset.kind;
    const whole = /^\d+$/.test(text) ? Number(text) : text;
    found[input.dataset.field] = kind === "flag" ? text === "true" : kind === "list" ? text.split(/[\s,]+/) : kind === "notes" ? whole : text;
  }
  return found;
}

function chart() {
  if (state.sheet) return state.sheet.value;
  const text = el("chart").value;
  if (!text.trim().startsWith("{")) return text;
  try { return JSON.parse(text); } catch { return text; }
}

function request() {
  const pins = [...state.pins].sort((a, b) => a[0] - b[0]).map(([step, midi]) => ({ step, midi }));
  return { chart: chart(), setting: setting(), loop: el("loop").checked, ...(pins.length ? { pins } : {}) };
}

const scoreOf = (asked, more = {}) => ({ ...asked, tempo: tempo(), ...(el("rhythm").value ? { rhythm: el("rhythm").value } : {}), ...more });
const tempo = () => Math.min(400, Math.max(20, Number(el("tempo").value) || 120));

async function solve() {
  const number = ++state.asked;
  const asked = request();
  stop();
  clearProblems();
  say("Looking for the path…");
  try {
    const path = await call("/v1/paths", asked);
    if (number !== state.asked) return;
    Object.assign(state, { path, request: asked, at: Math.min(state.at, path.steps.length - 1) });
    show();
    say(`Total motion ${path.motion.total} semitones over ${path.steps.length} steps, the least of all paths through ${path.size.candidates} voicings.`);
    await pictures(number, asked);
  } catch (error) {
    if (number === state.asked) refused(error);
  }
}

// --- problems -------------------------------------------------------------------------------

function clearProblems() {
  for (const place of document.querySelectorAll(".problem")) { place.hidden = true; place.textContent = ""; }
  for (const field of document.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
}

function refused(error) {
  const problem = error.problem ?? { detail: `The service cannot be reached: ${error.message}`, errors: [] };
  const errors = problem.errors.length ? problem.errors : [{ pointer: "", detail: problem.detail }];
  for (const fault of errors) {
    const field = [...document.querySelectorAll("[data-pointer]")].find((f) => (fault.pointer + "/").startsWith(f.dataset.pointer + "/"));
    const place = field ? field.querySelector(".problem") : el("other-problem");
    const lines = [fault.detail, fault.expected ? `Expected: ${fault.expected}` : ""];
    place.textContent = (place.textContent ? place.textContent + "\n" : "") + lines.filter(Boolean).join("\n");
    if (fault.position !== undefined && fault.pointer === "/chart") place.append(marked(fault.position));
    place.hidden = false;
    const input = field?.querySelector("textarea, input, select");
    input?.setAttribute("aria-invalid", "true");
  }
  if (errors.some((e) => e.pointer.startsWith("/pins"))) el("unlock-all").hidden = false;
  say(`Refused: ${problem.detail}`);
}

function marked(position) {
  const text = el("chart").value;
  const begin = text.lastIndexOf("\n", position - 1) + 1;
  const end = text.indexOf("\n", position) < 0 ? text.length : text.indexOf("\n", position);
  const code = document.createElement("code");
  code.textContent = `${text.slice(begin, end)}\n${" ".repeat(position - begin)}^`;
  return code;
}

const say = (words) => { el("status").textContent = words; };

// --- showing --------------------------------------------------------------------------------

const named = (notes) => notes.map((n) => `${n.note}\u00a0(${n.degree})`).join("  ");

function show() {
  el("answer").hidden = false;
  el("unlock-all").hidden = state.pins.size === 0;
  const body = document.querySelector("#steps tbody");
  body.replaceChildren(...state.path.steps.map((step, index) => {
    const row = document.createElement("tr");
    const cells = [
      "", "", step.voicing ? named(step.voicing.left) : "", step.voicing ? named(step.voicing.right) : "",
      step.motion === null ? "" : String(step.motion), step.remark,
    ].map((text) => Object.assign(document.createElement("td"), { textContent: text }));
    const go = Object.assign(document.createElement("button"), { type: "button", textContent: `${step.measure}.${step.beat}` });
    go.setAttribute("aria-label", `Go to step ${index + 1}, measure ${step.measure}, beat ${step.beat}`);
    go.addEventListener("click", () => goTo(index));
    cells[0].append(go);
    const small = Object.assign(document.createElement("small"), { textContent: step.context ? step.context.function : "" });
    cells[1].append(step.symbol, state.pins.has(index) ? " (locked)" : "", document.createElement("br"), small);
    row.append(...cells);
    return row;
  }));
  goTo(state.at, false);
}

function goTo(index, scroll = true) {
  const steps = state.path?.steps ?? [];
  if (!steps.length) return;
  state.at = (index + steps.length) % steps.length;
  const rows = document.querySelectorAll("#steps tbody tr");
  rows.forEach((row, k) => (k === state.at ? row.setAttribute("aria-current", "step") : row.removeAttribute("aria-current")));
  if (scroll) rows[state.at].scrollIntoView({ block: "nearest" });
  const step = steps[state.at];
  const words = step.voicing ? `left ${named(step.voicing.left) || "rests"}; right ${named(step.voicing.right) || "rests"}` : "silent";
  const why = step.context ? ` ${step.context.function} towards ${step.context.goal}: ${step.context.why}.` : "";
  el("now").textContent = `Step ${state.at + 1} of ${steps.length}, ${step.symbol}: ${words}. ${step.remark}.${why}`;
  el("lock").textContent = state.pins.has(state.at) ? "Unlock this voicing" : "Lock this voicing";
  el("lock").disabled = el("others").disabled = !step.voicing;
  el("choices").hidden = true;
}

const PICTURES = { staff: "Grand staff", keyboards: "A keyboard for each step", lines: "The voices as lines through pitch over time" };

async function pictures(number, asked) {
  const drawn = ++state.drawn;
  const isLate = () => number !== state.asked || drawn !== state.drawn;
  const width = Math.max(300, Math.min(1080, el("answer").clientWidth - 40));
  for (const [picture, title] of Object.entries(PICTURES)) {
    let blob;
    try {
      blob = await call("/v1/scores", scoreOf(asked, { show: { picture, width } }), "image/svg+xml");
    } catch (error) {
      if (!isLate()) say(`No picture (${title}): ${error.message}`);
      continue;
    }
    if (isLate()) return;
    const id = `picture-${picture}`;
    const figure = el(id) ?? el("pictures").appendChild(Object.assign(document.createElement("figure"), { id }));
    const old = figure.querySelector("img");
    if (old) URL.revokeObjectURL(old.src);
    const image = Object.assign(document.createElement("img"), { src: URL.createObjectURL(blob), alt: `${title}; the table of steps says the same in words` });
    figure.replaceChildren(Object.assign(document.createElement("figcaption"), { textContent: title }), image);
  }
}

// --- locking --------------------------------------------------------------------------------

function lock(midi) {
  if (midi === undefined && state.pins.has(state.at)) state.pins.delete(state.at);
  else state.pins.set(state.at, midi ?? state.path.steps[state.at].voicing.midi);
  solve();
}

const PAGE = 20;

async function choices(offset = 0) {
  const { path, at, asked } = state;
  const turned = ++state.turned;
  const isLate = () => asked !== state.asked || at !== state.at || turned !== state.turned;
  const step = path.steps[at];
  const before = at > 0 ? path.steps[at - 1].voicing : null;
  const body = { symbol: step.symbol, setting: path.setting, limit: PAGE, offset };
  for (const name of ["melody", "ceiling", "top"]) if (step[name] !== undefined) body[name] = step[name];
  if (step.context) body.colours = step.context.colours;
  else if (step.colours !== undefined) body.colours = step.colours;
  if (before) body.after = before.midi;
  try {
    const found = await call("/v1/voicings", body);
    if (isLate()) return;
    const list = document.createElement("ul");
    for (const voicing of found.voicings) {
      const pick = Object.assign(document.createElement("button"), { type: "button" });
      const motion = voicing.motion === undefined ? "" : `, ${voicing.motion} semitones`;
      pick.textContent = `${[named(voicing.left), named(voicing.right)].filter(Boolean).join(" | ")}; ${voicing.family}${motion}`;
      pick.addEventListener("click", () => lock(voicing.midi));
      list.append(document.createElement("li"));
      list.lastChild.append(pick);
    }
    const pages = document.createElement("p");
    pages.textContent = `${offset + 1} to ${offset + found.voicings.length} of ${found.total} voicings of ${step.symbol} `;
    for (const [words, to] of [["Before", offset - PAGE], ["More", offset + PAGE]]) {
      if (to < 0 || to >= found.total) continue;
      const turn = Object.assign(document.createElement("button"), { type: "button", textContent: words });
      turn.addEventListener("click", () => choices(to));
      pages.append(turn);
    }
    el("choices").replaceChildren(pages, list);
    el("choices").hidden = false;
  } catch (error) { if (!isLate()) refused(error); }
}

// --- sound ----------------------------------------------------------------------------------

let sound = null;
let playing = null;

function output() {
  if (sound) return sound;
  const context = new AudioContext();
  const limit = new DynamicsCompressorNode(context, { threshold: -18, ratio: 12, attack: 0.003, release: 0.2 });
  const volume = new GainNode(context, { gain: 0 });
  volume.connect(limit).connect(context.destination);
  sound = { context, volume };
  return sound;
}

function strike(midi, when, length) {
  const { context, volume } = output();
  const pitch = 440 * 2 ** ((midi - 69) / 12);
  const soft = new BiquadFilterNode(context, { type: "lowpass", frequency: Math.min(4 * pitch, 5000), Q: 0.4 });
  const shape = new GainNode(context, { gain: 0 });
  shape.gain.setValueAtTime(0, when);
  shape.gain.linearRampToValueAtTime(0.16, when + 0.012);
  shape.gain.exponentialRampToValueAtTime(0.05, when + Math.min(0.5, length * 0.6));
  shape.gain.setTargetAtTime(0, when + Math.max(0.05, length - 0.06), 0.03);
  const tone = new OscillatorNode(context, { type: "triangle", frequency: pitch });
  tone.connect(soft).connect(shape).connect(volume);
  tone.start(when);
  tone.stop(when + length + 0.3);
  return tone;
}

async function play() {
  if (playing) return stop();
  const { context, volume } = output();
  const mine = { tones: [], timer: 0 };
  playing = mine;
  await context.resume();
  if (playing !== mine) return;
  volume.gain.value = Number(el("volume").value) / 100;
  const steps = state.path.steps;
  el("play").textContent = "Stop";
  el("play").setAttribute("aria-pressed", "true");
  const unit = 4 / beatUnit();
  const next = (index, when) => {
    if (playing !== mine) return;
    if (index >= steps.length) {
      if (!el("loop").checked) { mine.timer = setTimeout(stop, Math.max(0, (when - context.currentTime) * 1000)); return; }
      index = 0;
    }
    const step = steps[index];
    const length = (step.beats * unit * 60) / tempo();
    mine.tones = (step.voicing?.midi ?? []).map((midi) => strike(midi, when, length * 0.96));
    goTo(index);
    mine.timer = setTimeout(() => next(index + 1, when + length), Math.max(0, (when + length - context.currentTime - 0.05) * 1000));
  };
  next(state.at, context.currentTime + 0.08);
}

function beatUnit() {
  const value = state.request?.chart;
  const text = typeof value === "string" ? /meter:\s*\d+\s*\/\s*(\d+)/.exec(value)?.[1] : value?.meter?.split?.("/")[1];
  return Number(text) || 4;
}

function stop() {
  if (!playing) return;
  clearTimeout(playing.timer);
  for (const tone of playing.tones) tone.stop();
  playing = null;
  el("play").textContent = "Play";
  el("play").setAttribute("aria-pressed", "false");
}

// --- taking away ----------------------------------------------------------------------------

async function save(accept, name) {
  try {
    const blob = await call("/v1/scores", scoreOf(state.request), accept);
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(blob), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    say(`${name} is downloaded.`);
  } catch (error) { refused(error); }
}

async function copy(text, what) {
  try {
    await navigator.clipboard.writeText(text);
    say(`Copied as ${what}.`);
  } catch {
    say(text);
  }
}

const quoted = (text) => `'${text.replaceAll("'", "'\\''")}'`;
const asCurl = () => `curl -s ${location.origin}/v1/paths -H 'Content-Type: application/json' -d ${quoted(JSON.stringify(request()))}`;

function asPython(value) {
  if (value === true) return "True";
  if (value === false) return "False";
  if (value === null) return "None";
  if (Array.isArray(value)) return `[${value.map(asPython).join(", ")}]`;
  if (typeof value === "object") return `{${Object.entries(value).map(([k, v]) => `${JSON.stringify(k)}: ${asPython(v)}`).join(", ")}}`;
  return JSON.stringify(value);
}

function asClient() {
  const { chart: value, ...more } = request();
  const rest = Object.entries(more).map(([name, v]) => `, ${name}=${asPython(v)}`).join("");
  return `from shortway_client import Client\n\nwith Client(${JSON.stringify(location.origin)}) as shortway:\n    path = shortway.solve_path(${asPython(value)}${rest})\n    print(path.motion.total)\n`;
}

// --- charts from elsewhere ------------------------------------------------------------------

async function take(file) {
  const end = file.name.toLowerCase().split(".").pop();
  state.pins.clear();
  if (end === "mxl") {
    const bytes = new Uint8Array(await file.arrayBuffer());
    let text = "";
    for (const byte of bytes) text += String.fromCharCode(byte);
    state.sheet = { name: file.name, value: { mxl: btoa(text) } };
  } else if (end === "musicxml" || end === "xml") {
    state.sheet = { name: file.name, value: { musicxml: await file.text() } };
  } else {
    state.sheet = null;
    el("chart").value = await file.text();
  }
  el("sheet").hidden = !state.sheet;
  el("sheet-name").textContent = state.sheet ? `The lead sheet ${state.sheet.name} is asked about.` : "";
  solve();
}

async function furnish() {
  const [families, presets, rhythms, examples] = await Promise.all([
    call("/v1/families"), call("/v1/settings"), call("/v1/rhythms"), fetch("/page/examples.json").then((a) => a.json()),
  ]);
  el("family-names").textContent = families.families.map((f) => f.id).join(" ");
  for (const preset of presets.settings) el("preset").append(new Option(preset.id.replaceAll("-", " "), preset.id));
  for (const { id, about } of rhythms.rhythms) el("rhythm").append(new Option(`${id.replaceAll("-", " ")}: ${about}`, id));
  for (const { title, text } of examples) el("example").append(new Option(title, text));
}

// --- events ---------------------------------------------------------------------------------

el("ask").addEventListener("submit", (event) => { event.preventDefault(); solve(); });
el("chart").addEventListener("input", () => state.pins.clear());
for (const kind of ["dragover", "dragleave", "drop"]) {
  el("chart").addEventListener(kind, (event) => {
    event.preventDefault();
    el("chart").classList.toggle("over", kind === "dragover");
    if (kind === "drop" && event.dataTransfer.files.length) take(event.dataTransfer.files[0]);
    else if (kind === "drop") el("chart").value = event.dataTransfer.getData("text");
  });
}
el("file").addEventListener("change", (event) => event.target.files.length && take(event.target.files[0]));
el("sheet-drop").addEventListener("click", () => { state.sheet = null; state.pins.clear(); el("sheet").hidden = true; el("chart").focus(); });
el("example").addEventListener("change", (event) => {
  if (!event.target.value) return;
  state.sheet = null;
  state.pins.clear();
  el("sheet").hidden = true;
  el("chart").value = event.target.value;
  solve();
});
el("play").addEventListener("click", play);
el("volume").addEventListener("input", () => { if (sound) sound.volume.gain.value = Number(el("volume").value) / 100; });
el("rhythm").addEventListener("change", () => state.request && pictures(state.asked, state.request));
el("before").addEventListener("click", () => goTo(state.at - 1));
el("after").addEventListener("click", () => goTo(state.at + 1));
document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || event.target.closest("textarea, input, select")) return;
  const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (by && state.path) { event.preventDefault(); goTo(state.at + by); }
});
el("lock").addEventListener("click", () => lock());
el("others").addEventListener("click", () => choices());
el("unlock-all").addEventListener("click", () => { state.pins.clear(); solve(); });
el("copy-curl").addEventListener("click", () => copy(asCurl(), "curl"));
el("copy-client").addEventListener("click", () => copy(asClient(), "client code"));
el("save-musicxml").addEventListener("click", () => save("application/vnd.recordare.musicxml+xml", "voicings.musicxml"));
el("save-midi").addEventListener("click", () => save("audio/midi", "voicings.mid"));

furnish().catch(refused);
solve();
