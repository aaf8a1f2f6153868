/** A voice memo: RIFF WAVE, PCM, one channel of 16 bits at 8 kHz (Microsoft, RIFF file reference). */

/** Two bird-like whistles, repeated. @param seconds length of the memo. */
export function voiceMemo(seconds: number, pitch: number): Buffer {
  const rate = 8000;
  const samples = Math.round(seconds * rate);
  const out = Buffer.alloc(44 + samples * 2);
  out.write("RIFF", 0, "latin1");
  out.writeUInt32LE(out.length - 8, 4);
  out.write("WAVEfmt ", 8, "latin1");
  out.writeUInt32LE(16, 16);
  out.writeUInt16LE(1, 20);
  out.writeUInt16LE(1, 22);
  out.writeUInt32LE(rate, 24);
  out.writeUInt32LE(rate * 2, 28);
  out.writeUInt16LE(2, 32);
  out.writeUInt16LE(16, 34);
  out.write("data", 36, "latin1");
  out.writeUInt32LE(samples * 2, 40);
  for (let n = 0; n < samples; n += 1) {
    const at = (n / rate) % 1;
    const loud = Math.max(0, Math.sin(at * Math.PI * 2)) * 9000;
    out.writeInt16LE(Math.round(loud * Math.sin((n / rate) * Math.PI * 2 * (pitch + at * 300))), 44 + n * 2);
  }
  return out;
}
