// Tones of a keyboard in WebAudio: quiet at first, limited, and never heard before something is played.

// Seconds from a strike to its loudest, and from the end of a note to silence.
const [ATTACK, RELEASE] = [0.012, 0.3];
// How loud one note is at full volume; the limiter keeps many of them below the end of the scale.
const LOUDEST = 0.16;

let sound = null;

function output() {
  if (sound) return sound;
  const context = new AudioContext();
  const limiter = new DynamicsCompressorNode(context, { threshold: -18, ratio: 12, attack: 0.003, release: 0.2 });
  const volume = new GainNode(context, { gain: 0 });
  volume.connect(limiter).connect(context.destination);
  sound = { context, volume };
  return sound;
}

/** Opens the sound, as browsers allow after a key or a click only. */
export const openSound = () => output().context.resume();

/** The clock of the sound, in seconds. */
export const soundTime = () => output().context.currentTime;

/** `percent` from 0 to 100; its square is what is heard as even steps. */
export function setVolume(percent) {
  if (sound) sound.volume.gain.setTargetAtTime((percent / 100) ** 2, sound.context.currentTime, 0.02);
}

/** Plays a note at a time of the clock, and returns its tone, which can be stopped. */
export function playTone({ midi, velocity, when, length }) {
  const { context, volume } = output();
  const pitch = 440 * 2 ** ((midi - 69) / 12);
  const loud = (LOUDEST * velocity) / 64;
  const soft = new BiquadFilterNode(context, { type: "lowpass", frequency: Math.min(4 * pitch, 5000), Q: 0.4 });
  const shape = new GainNode(context, { gain: 0 });
  shape.gain.setValueAtTime(0, when);
  shape.gain.linearRampToValueAtTime(loud, when + ATTACK);
  shape.gain.exponentialRampToValueAtTime(loud / 3, when + Math.max(2 * ATTACK, Math.min(0.5, length * 0.6)));
  shape.gain.setTargetAtTime(0, when + Math.max(0.05, length - 0.06), 0.03);
  const tone = new OscillatorNode(context, { type: "triangle", frequency: pitch });
  tone.connect(soft).connect(shape).connect(volume);
  tone.start(when);
  tone.stop(when + length + RELEASE);
  return tone;
}
