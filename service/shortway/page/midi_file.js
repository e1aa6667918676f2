// Reads the notes of a Standard MIDI File with one tempo, as the service writes it.

export function readMidi(buffer) {
  const view = new DataView(buffer);
  const division = view.getUint16(12);
  const music = { tempo: 120, meters: [{ at: 0, unit: 4 }], notes: [], end: 0 };
  for (let at = 14; at < view.byteLength; at += 8 + view.getUint32(at + 4)) {
    readTrack(view, at + 8, at + 8 + view.getUint32(at + 4), division, music);
  }
  music.notes.sort((a, b) => a.begin - b.begin);
  return music;
}

// Times are quarter notes from the beginning.
function readTrack(view, at, end, division, music) {
  const open = new Map();
  let ticks = 0;
  let status = 0;
  const number = () => {
    let value = 0;
    for (;;) {
      const byte = view.getUint8(at++);
      value = value * 128 + (byte & 127);
      if (byte < 128) return value;
    }
  };
  while (at < end) {
    ticks += number();
    const now = ticks / division;
    music.end = Math.max(music.end, now);
    if (view.getUint8(at) >= 128) status = view.getUint8(at++);
    if (status >= 0xf0) {
      const kind = status === 0xff ? view.getUint8(at++) : 0;
      const length = number();
      if (kind === 0x51) music.tempo = 60e6 / ((view.getUint16(at) << 8) | view.getUint8(at + 2));
      if (kind === 0x58) music.meters.push({ at: now, unit: 2 ** view.getUint8(at + 1) });
      at += length;
      continue;
    }
    const midi = view.getUint8(at);
    const isStruck = (status & 0xf0) === 0x90 && view.getUint8(at + 1) > 0;
    if ((status & 0xe0) === 0x80) {
      const note = open.get(midi);
      if (note) note.end = now;
      open.delete(midi);
      if (isStruck) music.notes.push(open.set(midi, { midi, begin: now, end: now }).get(midi));
    }
    at += (status & 0xe0) === 0xc0 ? 1 : 2;
  }
}

// Where each step begins, in quarter notes: its beats are counted in the meter that holds there.
export function stepOnsets(steps, meters) {
  let now = 0;
  let meter = 0;
  return steps.map((step) => {
    while (meters[meter + 1]?.at <= now + 1e-3) meter += 1;
    const begins = now;
    now += (step.beats * 4) / meters[meter].unit;
    return begins;
  });
}
