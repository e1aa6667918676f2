// Sound: the MIDI file that the service writes of the path on screen, in the rhythm and tempo chosen.

import { call, scoreOf } from "./asking.js";
import { onsets, readMidi } from "./midi.js";
import { clearProblems, refused } from "./problems.js";
import { el, state } from "./state.js";
import { goTo, inSight } from "./steps.js";

// Seconds: tones are told to the device so far ahead, since a page in the background wakes once a second.
const AHEAD = 1.3;
// Milliseconds between looks at the clock.
const WAKES = 40;
// Quarter notes that are no time at all.
const HUSH = 0.05;

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

export function setVolume() {
  if (sound) sound.volume.gain.value = Number(el("volume").value) / 100;
}

function strike({ context, volume }, midi, when, length) {
  const pitch = 440 * 2 ** ((midi - 69) / 12);
  const soft = new BiquadFilterNode(context, { type: "lowpass", frequency: Math.min(4 * pitch, 5000), Q: 0.4 });
  const shape = new GainNode(context, { gain: 0 });
  shape.gain.setValueAtTime(0, when);
  shape.gain.linearRampToValueAtTime(0.16, when + 0.012);
  shape.gain.exponentialRampToValueAtTime(0.05, when + Math.max(0.02, Math.min(0.5, length * 0.6)));
  shape.gain.setTargetAtTime(0, when + Math.max(0.05, length - 0.06), 0.03);
  const tone = new OscillatorNode(context, { type: "triangle", frequency: pitch });
  tone.connect(soft).connect(shape).connect(volume);
  tone.start(when);
  tone.stop(when + length + 0.3);
  return tone;
}

export async function play() {
  if (playing) return stop();
  const mine = { tones: new Set(), timer: 0, loop: state.request.loop };
  playing = mine;
  press(true);
  clearProblems(el("answer"));
  try {
    const { context } = output();
    await context.resume();
    const file = await call("/v1/scores", scoreOf(state.request), "audio/midi");
    const music = readMidi(await file.arrayBuffer());
    if (playing !== mine) return;
    setVolume();
    begin(mine, music, context.currentTime + 0.08);
  } catch (error) {
    if (playing !== mine) return;
    stop();
    refused(error, "answer-problem");
  }
}

// From the step that is looked at; what sounds on into it is struck there.
function begin(mine, { notes, meters, tempo, end }, now) {
  const begins = onsets(state.path.steps, meters);
  const from = begins[state.at];
  const seconds = (quarters) => (quarters * 60) / tempo;
  Object.assign(mine, { notes, begins, seconds, end, from: now, rounds: [now - seconds(from)] });
  for (const note of notes) {
    if (note.begin < from - HUSH && note.end > from + HUSH) sounded(mine, { ...note, begin: from });
  }
  mine.next = notes.findIndex((note) => note.begin >= from - HUSH);
  if (mine.next < 0) mine.next = notes.length;
  run(mine);
}

// Tell the device what comes next, round after round, and look at the step that sounds now.
function run(mine) {
  if (playing !== mine) return;
  const now = sound.context.currentTime;
  follow(mine, now);
  for (;;) {
    const isOver = mine.next >= mine.notes.length;
    const when = mine.rounds.at(-1) + mine.seconds(isOver ? mine.end : mine.notes[mine.next].begin);
    if (isOver && !mine.loop && now >= when) return stop();
    if ((isOver && !mine.loop) || when > now + AHEAD) break;
    if (!isOver) sounded(mine, mine.notes[mine.next++]);
    else {
      mine.rounds.push(when);
      mine.next = 0;
    }
  }
  mine.timer = setTimeout(run, WAKES, mine);
}

function sounded(mine, { midi, begin, end }) {
  const when = Math.max(mine.rounds.at(-1) + mine.seconds(begin), mine.from);
  const tone = strike(sound, midi, when, mine.seconds(end - begin) * 0.96);
  mine.tones.add(tone);
  tone.addEventListener("ended", () => mine.tones.delete(tone));
}

function follow(mine, now) {
  const time = Math.max(now, mine.from);
  while (mine.rounds[1] <= time) mine.rounds.shift();
  const step = mine.begins.findLastIndex((begins) => mine.rounds[0] + mine.seconds(begins) <= time + 1e-3);
  if (step !== state.at) goTo(step, inSight());
}

export function stop() {
  if (!playing) return;
  clearTimeout(playing.timer);
  for (const tone of playing.tones) tone.stop();
  playing = null;
  press(false);
}

// While it plays, steps are not announced: a screen reader would talk over the music.
function press(isPlaying) {
  el("play").textContent = isPlaying ? "Stop" : "Play";
  el("play").setAttribute("aria-pressed", String(isPlaying));
  el("now").setAttribute("aria-live", isPlaying ? "off" : "polite");
}
