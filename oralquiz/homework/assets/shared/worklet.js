// The microphone as 16 kHz packets: runs in the audio thread, one call for 128 frames.
//
// Output sample n lies at the input frame  first + n * ratio ; it is a weighted sum of the frames
// around that place (a windowed sinc that lets through what 16 kHz can hold), so its place in time
// is exact whatever rate the sound card has. Frames that never came count as silence: the number
// of a block of 20 ms is its place on the clock. A packet holds three, or twelve as long as no
// answer can come: each costs the server the same, whatever it holds.

const RATE = 16000, BLOCK = 320, CROSSINGS = 16, STEPS = 512;
const SHORT = 3, LONG = 12; // blocks in a packet

class Microphone extends AudioWorkletProcessor {
  constructor() {
    super();
    this.ratio = sampleRate / RATE;
    const scale = Math.max(1, this.ratio) * 1.06; // a little room for the filter's slope
    this.half = Math.ceil(CROSSINGS * scale);
    this.kernel = new Float32Array(this.half * STEPS + 2);
    for (let i = 0; i < this.kernel.length; i++) {
      const x = i / STEPS / scale;
      const sinc = x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x);
      const window = x < CROSSINGS ? 0.5 + 0.5 * Math.cos((Math.PI * x) / CROSSINGS) : 0;
      this.kernel[i] = (sinc * window) / scale;
    }
    this.size = 8192;
    this.ring = new Float32Array(this.size);
    this.on = false;
    this.first = 0;
    this.made = 0; // samples
    this.unhurried = 0; // the sample before which nobody waits for the sound
    this.end = 0; // the frame after the last one in the ring
    this.out = new DataView(new ArrayBuffer(4 + 2 * LONG * BLOCK));
    this.filled = 0;
    this.port.onmessage = (event) => {
      const { start, unhurried } = event.data;
      if (unhurried !== undefined) this.unhurried = unhurried;
      else if (start !== undefined) this.start(start);
      else this.on = false;
    };
  }

  /** @param {number} block */
  start(block) {
    // the first sample of this block is made now; those before it are another page's
    this.on = true;
    this.first = currentFrame - block * BLOCK * this.ratio;
    this.made = block * BLOCK;
    this.unhurried = 0;
    this.end = currentFrame;
    this.ring.fill(0);
    this.filled = 0;
    this.port.postMessage({ first: this.first, ratio: this.ratio });
  }

  /** @param {Float32Array[][]} inputs each a list of channels of 128 frames */
  process(inputs) {
    if (!this.on) return true;
    const channels = inputs[0] ?? [];
    for (; this.end < currentFrame; this.end++) this.ring[this.end % this.size] = 0;
    for (let i = 0; i < 128; i++) {
      let value = 0;
      for (const channel of channels) value += channel[i] / channels.length;
      this.ring[(currentFrame + i) % this.size] = value;
    }
    this.end = currentFrame + 128;
    this.make();
    return true;
  }

  make() {
    for (;;) {
      const at = this.first + this.made * this.ratio;
      const middle = Math.floor(at);
      if (middle + this.half >= this.end) return;
      let sum = 0;
      for (let k = middle - this.half + 1; k <= middle + this.half; k++) {
        const x = Math.abs(k - at) * STEPS, i = Math.floor(x);
        if (i + 1 >= this.kernel.length) continue;
        const weight = this.kernel[i] + (this.kernel[i + 1] - this.kernel[i]) * (x - i);
        sum += weight * this.ring[((k % this.size) + this.size) % this.size];
      }
      const value = Math.max(-32768, Math.min(32767, Math.round(sum * 32768)));
      this.out.setInt16(4 + 2 * this.filled, value, true);
      this.made++;
      this.filled++;
      if (this.complete) this.send();
    }
  }

  // A long packet ends before the first sound that is waited for.
  get complete() {
    if (this.filled % BLOCK !== 0 || this.filled < SHORT * BLOCK) return false;
    return this.filled === LONG * BLOCK || this.made + BLOCK > this.unhurried;
  }

  send() {
    const number = (this.made - this.filled) / BLOCK;
    this.out.setUint32(0, number, true);
    const packet = this.out.buffer.slice(0, 4 + 2 * this.filled);
    this.port.postMessage({ number, packet }, [packet]);
    this.filled = 0;
  }
}

registerProcessor("microphone", Microphone);
