// Playback of the path on screen: the notes of its MIDI file, synthesized in the browser.

import { callApi, scoreRequest } from "./api.js";
import { stepOnsets, readMidi } from "./midi_file.js";
import { clearProblems, showProblem } from "./problems.js";
import { el, state } from "./state.js";
import { goToStep, isCurrentStepVisible } from "./step_table.js";

// Seconds that notes are scheduled ahead: timers of a background page fire once a second.
const LOOKAHEAD = 1.3;
// Milliseconds between two runs of the scheduler.
const INTERVAL = 40;
// Quarter notes below which two times are equal.
const EPSILON = 0.05;

let sound = null;
let playing = null;

function audioOutput() {
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

function playTone({ context, volume }, midi, when, length) {
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

export async function togglePlayback() {
  if (playing) return stopPlayback();
  const mine = { tones: new Set(), timer: 0, loop: state.request.loop };
  playing = mine;
  showPlaying(true);
  clearProblems(el("answer"));
  try {
    const { context } = audioOutput();
    await context.resume();
    const file = await callApi("/v1/scores", scoreRequest(state.request), "audio/midi");
    const music = readMidi(await file.arrayBuffer());
    if (playing !== mine) return;
    setVolume();
    startPlayback(mine, music, context.currentTime + 0.08);
  } catch (error) {
    if (playing !== mine) return;
    stopPlayback();
    showProblem(error, "answer-problem");
  }
}

// From the current step; notes held into it are struck there.
function startPlayback(mine, { notes, meters, tempo, end }, now) {
  const begins = stepOnsets(state.path.steps, meters);
  const from = begins[state.at];
  const seconds = (quarters) => (quarters * 60) / tempo;
  Object.assign(mine, { notes, begins, seconds, end, from: now, rounds: [now - seconds(from)] });
  for (const note of notes) {
    if (note.begin < from - EPSILON && note.end > from + EPSILON) scheduleNote(mine, { ...note, begin: from });
  }
  mine.next = notes.findIndex((note) => note.begin >= from - EPSILON);
  if (mine.next < 0) mine.next = notes.length;
  scheduleNotes(mine);
}

// Schedules the notes to come, round after round, and follows the step that sounds.
function scheduleNotes(mine) {
  if (playing !== mine) return;
  const now = sound.context.currentTime;
  followSteps(mine, now);
  for (;;) {
    const isOver = mine.next >= mine.notes.length;
    const when = mine.rounds.at(-1) + mine.seconds(isOver ? mine.end : mine.notes[mine.next].begin);
    if (isOver && !mine.loop && now >= when) return stopPlayback();
    if ((isOver && !mine.loop) || when > now + LOOKAHEAD) break;
    if (!isOver) scheduleNote(mine, mine.notes[mine.next++]);
    else {
      mine.rounds.push(when);
      mine.next = 0;
    }
  }
  mine.timer = setTimeout(scheduleNotes, INTERVAL, mine);
}

function scheduleNote(mine, { midi, begin, end }) {
  const when = Math.max(mine.rounds.at(-1) + mine.seconds(begin), mine.from);
  const tone = playTone(sound, midi, when, mine.seconds(end - begin) * 0.96);
  mine.tones.add(tone);
  tone.addEventListener("ended", () => mine.tones.delete(tone));
}

function followSteps(mine, now) {
  const time = Math.max(now, mine.from);
  while (mine.rounds[1] <= time) mine.rounds.shift();
  const step = mine.begins.findLastIndex((begins) => mine.rounds[0] + mine.seconds(begins) <= time + 1e-3);
  if (step !== state.at) goToStep(step, isCurrentStepVisible());
}

export function stopPlayback() {
  if (!playing) return;
  clearTimeout(playing.timer);
  for (const tone of playing.tones) tone.stop();
  playing = null;
  showPlaying(false);
}

// Steps are not announced during playback: a screen reader would talk over the music.
function showPlaying(isPlaying) {
  el("play").textContent = isPlaying ? "Stop" : "Play";
  el("play").setAttribute("aria-pressed", String(isPlaying));
  el("now").setAttribute("aria-live", isPlaying ? "off" : "polite");
}
