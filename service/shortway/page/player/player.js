// The player at the bottom edge: steps, sound, loop, tempo, rhythm, swing, roots, volume, share, export, total.

import { callApi, loadList } from "../api.js";
import { el, icon, make } from "../dom.js";
import { label } from "../words.js";
import { foundRequest } from "../state/question.js";
import { isSame, playedAs } from "../state/store.js";
import { placeOf, stepsOf } from "../views/steps.js";
import { listenToExports } from "./exports.js";
import { createPlayback, stepTimes } from "./playback.js";
import { listenToPrint } from "./print.js";
import { setVolume, soundTime } from "./sound.js";
import { drawTotal } from "./total.js";

const CAUTION = "Sound starts quiet. Raise the volume slowly, above all with headphones: loud sound harms hearing.";
const SILENT = "No sound: the browser opens no sound device. Check the system's sound output.";
// The longer eighth note over the shorter.
const TRIPLET_SWING = 2;
// Milliseconds in which a browser opens it.
const SOUND_OPENS = 1500;

export function create(element, actions) {
  const player = { actions, heard: null, isCautioned: false, turn: 0 };
  player.playback = createPlayback({
    onStep: (step) => actions.goTo(step),
    onEnd: () => stop(player),
  });
  listen(player);
  listenToExports(actions);
  listenToPrint(actions);
  loadRhythms(actions);
  return { draw: (shown) => draw(player, shown), destroy: () => stop(player) };
}

function listen(player) {
  const { actions } = player;
  const clicks = {
    before: () => actions.goTo(actions.getState().place - 1),
    after: () => actions.goTo(actions.getState().place + 1),
    play: () => (player.heard ? stop(player) : play(player)),
    loop: () => actions.set({ loop: !actions.getState().loop }),
    more: () => el("more").setAttribute("aria-expanded", String(el("extras").classList.toggle("shown"))),
  };
  for (const [id, does] of Object.entries(clicks)) el(id).addEventListener("click", does);
  el("tempo").addEventListener("change", ({ target }) => {
    const tempo = Math.min(400, Math.max(20, Math.round(Number(target.value)) || 120));
    target.value = tempo;
    actions.set({ tempo });
  });
  el("rhythm").addEventListener("change", ({ target }) => actions.set({ rhythm: target.value }));
  el("swing").addEventListener("click", () => actions.set({ swing: actions.getState().swing > 1 ? 1 : TRIPLET_SWING }));
  el("roots").addEventListener("click", () => actions.set({ roots: areHeard(actions.getState()) ? "muted" : "audible" }));
  el("volume").addEventListener("input", ({ target }) => actions.set({ volume: Number(target.value) }));
}

const areHeard = ({ roots }) => roots === "audible";

function loadRhythms(actions) {
  loadList("/v1/rhythms", ({ rhythms }) => {
    el("rhythm").replaceChildren(...rhythms.map(({ id, about }) => make("option", { value: id, title: about }, label(id))));
    el("rhythm").value = actions.getState().rhythm;
  });
}

// --- what is drawn --------------------------------------------------------------------------------

function draw(player, { answer, state }) {
  const steps = answer.path ? stepsOf(answer.path) : [];
  const step = steps[state.place];
  const isUsable = Boolean(step) && answer.phase !== "error" && answer.phase !== "empty";
  for (const id of ["play", "before", "after"]) el(id).disabled = !isUsable;
  el("position").replaceChildren(...(step ? [make("span", {}, `Bar ${placeOf(step)}`), make("small", {}, `chord ${step.index + 1} of ${steps.length}`)] : []));
  el("loop").setAttribute("aria-pressed", String(state.loop));
  if (document.activeElement !== el("tempo")) el("tempo").value = state.tempo;
  el("rhythm").value = state.rhythm;
  el("swing").setAttribute("aria-pressed", String(state.swing > 1));
  el("roots").setAttribute("aria-pressed", String(areHeard(state)));
  el("volume").value = state.volume;
  setVolume(state.volume);
  drawTotal(answer, state);
  keepUp(player, answer, state);
}

// What sounds follows the page: another path or none ends it, another tempo, rhythm, swing or step begins there anew.
function keepUp(player, answer, state) {
  const { heard, playback } = player;
  if (!heard) return;
  if (heard.path !== answer.path || answer.phase !== "ready") return stop(player);
  if (!isSame(heard.playedAs, playedAs(state))) return play(player);
  if (heard.music && playback.isPlaying() && playback.step() !== state.place) sound(player);
}

function drawPlaying(isPlaying) {
  el("play").replaceChildren(icon(isPlaying ? "stop" : "play"), make("span", {}, isPlaying ? "Stop" : "Play"));
  el("play").setAttribute("aria-label", isPlaying ? "Stop" : "Play");
}

// --- sound ----------------------------------------------------------------------------------------

async function play(player) {
  const { actions } = player;
  const { path } = actions.getAnswer();
  const options = playedAs(actions.getState());
  const turn = ++player.turn;
  player.playback.stop();
  player.heard = { path, playedAs: options, music: null };
  drawPlaying(true);
  if (!player.isCautioned) actions.announce(CAUTION);
  player.isCautioned = true;
  try {
    const music = await callApi("/v1/performances", { ...foundRequest(actions.getAnswer()), ...options });
    if (turn !== player.turn || !player.heard) return;
    player.heard.music = music;
    sound(player);
  } catch (error) {
    if (turn !== player.turn) return;
    stop(player);
    actions.announce(`Cannot play: ${error.message}`);
  }
}

function sound(player) {
  const { heard: { music, path }, playback, actions } = player;
  const { place, loop, volume } = actions.getState();
  const events = [...music.events, ...(music.roots ?? [])].sort((a, b) => a.time - b.time);
  playback.play({ events, duration: music.duration }, { onsets: stepTimes(path.steps, music.duration), from: place, loop });
  setVolume(volume);
  tellIfSilent(player);
}

// Without a sound device some browsers say nothing: their clock of the sound stands still.
function tellIfSilent(player) {
  const { turn } = player;
  const time = soundTime();
  setTimeout(() => { if (turn === player.turn && soundTime() === time) player.actions.announce(SILENT); }, SOUND_OPENS);
}

function stop(player) {
  player.turn += 1;
  player.playback.stop();
  player.heard = null;
  drawPlaying(false);
}
