// Playback of a performance, the service's timed events: schedules what comes, follows the step that sounds.

import { openSound, playTone, soundTime } from "./sound.js";

// Seconds that notes are scheduled ahead: timers of a page in the background fire once a second.
const LOOKAHEAD = 1.3;
// Milliseconds between two looks at the clock.
const INTERVAL = 40;
// Seconds from the order to the first note, and below which two times are equal.
const [START, EPSILON] = [0.08, 0.02];
// The part of a note's length that sounds, so that a repeated note is heard as two.
const SOUNDING = 0.96;

function schedule(mine, { time, duration, midi, velocity }, shift = 0) {
  const when = Math.max(mine.rounds.at(-1) + time + shift, mine.from);
  const tone = playTone({ midi, velocity, when, length: (duration - shift) * SOUNDING });
  mine.tones.add(tone);
  tone.addEventListener("ended", () => mine.tones.delete(tone));
}

// Whether there is more to come; in a loop there always is.
function advance(mine, now) {
  const { events, duration, loop } = mine;
  for (;;) {
    const isOver = mine.next >= events.length;
    const when = mine.rounds.at(-1) + (isOver ? duration : events[mine.next].time);
    if (isOver && !loop) return now < when;
    if (when > now + LOOKAHEAD) return true;
    if (!isOver) schedule(mine, events[mine.next++]);
    else {
      mine.rounds.push(when);
      mine.next = 0;
    }
  }
}

/** `onStep(step)` for each step that begins to sound, `onEnd()` once the last note is over. */
export function createPlayback({ onStep, onEnd }) {
  let playing = null;

  function stop() {
    if (!playing) return;
    clearTimeout(playing.timer);
    for (const tone of playing.tones) tone.stop();
    playing = null;
  }

  function tick(mine) {
    if (playing !== mine) return;
    const now = soundTime();
    follow(mine, now);
    if (playing !== mine) return;
    if (!advance(mine, now)) {
      stop();
      onEnd();
    } else mine.timer = setTimeout(tick, INTERVAL, mine);
  }

  function follow(mine, now) {
    const time = Math.max(now, mine.from);
    while (mine.rounds[1] <= time) mine.rounds.shift();
    const step = mine.onsets.findLastIndex((onset) => mine.rounds[0] + onset <= time + EPSILON);
    if (step === mine.step || step < 0) return;
    mine.step = step;
    onStep(step);
  }

  return {
    isPlaying: () => playing !== null,
    /** The step that sounds, or null. */
    step: () => playing?.step ?? null,
    stop,
    /** Plays `{events, duration}` from a step; `onsets` are the steps' times in seconds. Notes held into it are struck there. */
    play({ events, duration }, { onsets, from, loop }) {
      stop();
      const mine = { events, duration, onsets, loop, step: from, tones: new Set(), timer: 0 };
      playing = mine;
      openSound(); // its clock stands still until the device is open
      const begin = onsets[from];
      const start = soundTime() + START;
      Object.assign(mine, { from: start, rounds: [start - begin] });
      for (const event of events) {
        if (event.time < begin - EPSILON && event.time + event.duration > begin + EPSILON) schedule(mine, event, begin - event.time);
      }
      mine.next = events.findIndex((event) => event.time >= begin - EPSILON);
      if (mine.next < 0) mine.next = events.length;
      tick(mine);
    },
  };
}

/** The times of steps in a performance, in seconds: their onsets in quarter notes, stretched to its duration. */
export function stepTimes(steps, duration) {
  const last = steps.at(-1);
  const quarters = last.onset + (last.beats * 4) / Number(last.meter.split("/")[1] ?? 4);
  return steps.map(({ onset }) => (onset * duration) / quarters);
}
