// The page's loudspeaker and microphone on one clock, the AudioContext's.
//
// A stream is the microphone as blocks of 20 ms at 16 kHz, sent in packets that carry the number of
// their first block; sample n of the stream is
// made at context time  (first + n * ratio) / sampleRate . A sound that is to be heard at sample n
// starts earlier by the time that sound takes to the ear and back into the stream.

export const RATE = 16000;
export const BLOCK = 320;
const PACKET = 3; // blocks in a packet
const KEEP = 1000; // packets kept until the server has them: a minute
const SOON = 0.005; // seconds below which a start counts as too late

export class Sound {
  constructor({ onPacket, onDelay }) {
    this.onPacket = onPacket;
    this.onDelay = onDelay;
    this.context = null;
    this.microphone = null;
    this.measured = null; // seconds to the ear and back, if a chirp has found it
    this.streaming = false;
    this.kept = new Map();
    this.next = 0;
    this.clips = new Map();
    this.playing = new Set();
  }

  get on() {
    return this.context !== null && this.context.state === "running";
  }

  get mic() {
    return this.microphone !== null;
  }

  // Must be called from a tap or a key: browsers allow sound only then. A second tap meanwhile
  // waits for the first.
  open(wantMic, url) {
    const before = this.opening;
    const now = () => this.openNow(wantMic, url);
    this.opening = before ? before.catch(() => {}).then(now) : now();
    return this.opening;
  }

  async openNow(wantMic, url) {
    if (this.context === null) await this.make(url);
    await this.context.resume();
    if (wantMic && !this.mic) await this.openMicrophone();
    this.watchDelay();
  }

  // Go on after the system has stopped the sound (another app, a call).
  resume() {
    this.context?.resume().catch(() => {}); // not yet: the next tap or look tries again
  }

  async make(url) {
    const context = new AudioContext({ latencyHint: "interactive" });
    try {
      await context.audioWorklet.addModule(url);
    } catch (error) {
      await context.close();
      throw error;
    }
    this.node = new AudioWorkletNode(context, "microphone", {
      numberOfInputs: 1, numberOfOutputs: 1, channelCount: 1,
    });
    this.node.port.onmessage = (event) => this.fromWorklet(event.data);
    const mute = context.createGain();
    mute.gain.value = 0; // pulled by the clock, never heard
    this.node.connect(mute).connect(context.destination);
    this.gain = context.createGain();
    this.gain.connect(context.destination);
    this.context = context;
  }

  async openMicrophone() {
    const stream = await navigator.mediaDevices.getUserMedia({
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
    });
    this.microphone = stream;
    this.source = this.context.createMediaStreamSource(stream);
    this.source.connect(this.node);
    stream.getAudioTracks()[0].addEventListener("ended", () => this.closeMicrophone());
  }

  closeMicrophone() {
    if (!this.mic) return;
    this.source.disconnect();
    for (const track of this.microphone.getTracks()) track.stop();
    this.microphone = null;
  }

  set volume(value) {
    if (this.gain) this.gain.gain.value = value;
  }

  // --- delays ---

  get inDelay() {
    if (!this.mic) return 0;
    const { latency } = this.microphone.getAudioTracks()[0].getSettings();
    return typeof latency === "number" ? latency : 0;
  }

  get outDelay() {
    return (this.context.baseLatency || 0) + (this.context.outputLatency || 0);
  }

  get delay() {
    return this.measured ?? this.outDelay + this.inDelay;
  }

  watchDelay() {
    clearInterval(this.delayTimer);
    let told = -1;
    const look = () => {
      if (Math.abs(this.delay - told) > 0.005) {
        told = this.delay;
        this.onDelay(told - this.inDelay, this.inDelay, this.measured !== null);
      }
    };
    look();
    this.delayTimer = setInterval(look, 1000);
  }

  // --- the stream ---

  start(next) {
    this.kept.clear();
    this.next = next;
    this.first = null;
    this.streaming = true;
    this.node.port.postMessage({ start: next });
  }

  stop() {
    if (!this.streaming) return;
    this.streaming = false;
    this.node.port.postMessage({});
    this.kept.clear();
    this.hush();
  }

  fromWorklet(data) {
    if (data.first !== undefined) {
      this.first = data.first;
      this.ratio = data.ratio;
    } else if (this.streaming && data.number === this.next) {
      this.next = data.number + PACKET;
      this.kept.set(data.number, data.packet);
      if (this.kept.size > KEEP) this.kept.delete(this.kept.keys().next().value);
      this.onPacket(data.packet);
    }
  }

  // Play a buffer and record: resolves with the samples heard from the moment it was told to start.
  async record(buffer, seconds) {
    if (this.streaming) throw new Error("a round is running");
    const packets = [];
    const send = this.onPacket;
    this.onPacket = (packet) => packets.push(packet);
    try {
      this.start(0);
      const lead = 0.4, count = Math.round(seconds * RATE);
      const pause = (s) => new Promise((done) => setTimeout(done, 1000 * s));
      while (this.first === null) await pause(0.02);
      const source = this.context.createBufferSource();
      source.buffer = buffer;
      source.connect(this.gain);
      source.start(this.timeOf(Math.round(lead * RATE)));
      await pause(lead + seconds + 0.3);
      const from = Math.round(lead * RATE), heard = new Int16Array(count);
      packets.forEach((packet) => {
        const view = new DataView(packet), at = view.getUint32(0, true) * BLOCK - from;
        for (let i = 0; i < PACKET * BLOCK; i++) {
          if (at + i >= 0 && at + i < count) heard[at + i] = view.getInt16(4 + 2 * i, true);
        }
      });
      return heard;
    } finally {
      this.stop();
      this.onPacket = send;
    }
  }

  receipt(next) {
    for (const number of this.kept.keys()) {
      if (number + PACKET > next) break;
      this.kept.delete(number);
    }
  }

  get oldest() {
    return this.kept.size ? this.kept.keys().next().value : this.next;
  }

  from(next) {
    return [...this.kept].filter(([number]) => number + PACKET > next).map(([, packet]) => packet);
  }

  timeOf(sample) {
    return (this.first + sample * this.ratio) / this.context.sampleRate;
  }

  // --- sounds ---

  async load(name, url) {
    if (!this.clips.has(name)) {
      const clip = (async () => {
        const response = await fetch(url);
        if (!response.ok) throw new Error(`the sound cannot be had (${response.status})`);
        const pcm = new DataView(await response.arrayBuffer());
        const buffer = this.context.createBuffer(1, Math.max(1, pcm.byteLength / 2), RATE);
        const samples = buffer.getChannelData(0);
        for (let i = 0; 2 * i < pcm.byteLength; i++) samples[i] = pcm.getInt16(2 * i, true) / 32768;
        return buffer;
      })();
      this.clips.set(name, clip);
      clip.catch(() => this.clips.delete(name)); // the same sound may be asked for again
      if (this.clips.size > 4) this.clips.delete(this.clips.keys().next().value);
    }
    return this.clips.get(name);
  }

  // Have `buffer` heard at `sample` of the stream. False when it is too late for that: then it
  // stays silent, or with `anyway` starts at once.
  play(buffer, sample, anyway) {
    if (this.first === null) return false;
    const soonest = this.context.currentTime + SOON;
    let when = this.timeOf(sample) - this.delay;
    if (when < soonest) {
      if (!anyway) return false;
      when = soonest;
    }
    const source = this.context.createBufferSource();
    source.buffer = buffer;
    source.connect(this.gain);
    source.onended = () => this.playing.delete(source);
    this.playing.add(source);
    source.start(when);
    return true;
  }

  hush() {
    for (const source of this.playing) source.stop();
    this.playing.clear();
  }

  // Seconds from now until sample n is heard (negative: it was).
  until(sample) {
    return this.timeOf(sample) - (this.measured === null ? this.inDelay : 0) - this.context.currentTime;
  }
}
