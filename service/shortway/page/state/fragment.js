// The question and the place as a URL fragment, `#v=1&c=…`: names are in the manual, on the page's page. Files and
// tokens never enter it.

const OF_CHART = { format: "format", each: "measureEach" };
const PLAIN = { p: "preset", rhythm: "rhythm", roots: "roots", view: "view" };

/** The fragment of a state, with "#". */
export const writeFragment = async (state) => fragmentOf(state, await packed(state.chart.text ?? ""));

/** The same at once, with its chart as it is: for a page that is left. */
export const writeFragmentNow = (state) => fragmentOf(state, stored(state.chart.text ?? ""));

function fragmentOf(state, chart) {
  const parts = [["v", 1]];
  if (!state.chart.file) parts.push(["c", chart]);
  for (const [name, field] of Object.entries(OF_CHART)) if (state.chart[field]) parts.push([name, state.chart[field]]);
  parts.push(["p", state.preset], ...detailParts(state.details));
  parts.push(["loop", Number(state.loop)], ["bpm", state.tempo], ["rhythm", state.rhythm], ["swing", state.swing], ["roots", state.roots]);
  if (state.exercise) parts.push(["keys", state.exercise.key_order ?? state.exercise.keys.join(",")]);
  if (state.locks.length) parts.push(["lock", state.locks.map(({ step, midiNotes }) => `${step}:${midiNotes.join("-")}`).join(",")]);
  parts.push(["at", state.place + 1], ["view", state.view]);
  return `#${parts.map(([name, value]) => `${name}=${encodeURIComponent(value).replace(/%2C/g, ",").replace(/%3A/g, ":")}`).join("&")}`;
}

/** A change of state from a fragment, or null where it has no chart. Raises Error where the chart is unreadable. */
export async function readFragment(text) {
  const said = Object.fromEntries(new URLSearchParams(text.replace(/^#/, "")));
  if (!said.c) return null;
  const state = { chart: { text: await unpacked(said.c) } };
  for (const [name, field] of Object.entries(OF_CHART)) if (said[name]) state.chart[field] = said[name];
  for (const [name, field] of Object.entries(PLAIN)) if (said[name]) state[field] = said[name];
  state.details = readDetails(said);
  state.loop = said.loop !== "0";
  if (Number(said.bpm)) state.tempo = Math.min(400, Math.max(20, Number(said.bpm)));
  if (Number(said.swing)) state.swing = Math.min(4, Math.max(1, Number(said.swing)));
  if (said.keys) state.exercise = /^[a-z-]+$/.test(said.keys) ? { key_order: said.keys } : { keys: said.keys.split(",") };
  state.locks = readLocks(said.lock ?? "");
  state.place = Math.max(0, Number(said.at) - 1 || 0);
  return state;
}

// Lists are separated by blanks, prices have a name of two parts: s.prices.cluster=3.
function detailParts({ prices = {}, ...details }) {
  const parts = Object.entries(details).map(([name, value]) => [`s.${name}`, Array.isArray(value) ? value.join(" ") : value]);
  return [...parts, ...Object.entries(prices).map(([name, value]) => [`s.prices.${name}`, value])];
}

function readDetails(said) {
  const details = {};
  for (const [key, text] of Object.entries(said)) {
    if (key.startsWith("s.prices.")) details.prices = { ...details.prices, [key.slice(9)]: Number(text) };
    else if (key.startsWith("s.")) details[key.slice(2)] = valueOf(key.slice(2), text);
  }
  return details;
}

function valueOf(name, text) {
  if (name === "families" || name === "waive") return text.split(" ").filter(Boolean);
  if (text === "true" || text === "false") return text === "true";
  return /^-?\d+(\.\d+)?$/.test(text) ? Number(text) : text;
}

function readLocks(text) {
  return text.split(",").filter(Boolean).map((part) => {
    const [step, notes] = part.split(":");
    return { step: Number(step), midiNotes: notes.split("-").map(Number), symbol: "" };
  });
}

async function packed(text) {
  const bytes = await through(new TextEncoder().encode(text), new CompressionStream("deflate-raw"));
  return base64url(bytes);
}

// Blocks of RFC 1951 that are stored, not compressed (section 3.2.4), each of at most 65,535 bytes.
function stored(text) {
  const bytes = new TextEncoder().encode(text);
  const blocks = [];
  for (let from = 0; from === 0 || from < bytes.length; from += 65535) {
    const part = bytes.subarray(from, from + 65535);
    const size = [part.length & 255, part.length >> 8];
    blocks.push(Number(from + part.length >= bytes.length), ...size, ...size.map((byte) => byte ^ 255), ...part);
  }
  return base64url(blocks);
}

const base64url = (bytes) => btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join("")).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

async function unpacked(code) {
  const bytes = Uint8Array.from(atob(code.replace(/-/g, "+").replace(/_/g, "/")), (sign) => sign.charCodeAt(0));
  return new TextDecoder().decode(await through(bytes, new DecompressionStream("deflate-raw")));
}

const through = async (bytes, stream) => new Uint8Array(await new Response(new Blob([bytes]).stream().pipeThrough(stream)).arrayBuffer());
