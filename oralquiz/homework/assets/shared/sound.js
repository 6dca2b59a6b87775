// The page's loudspeaker and microphone on one clock, the AudioContext's.
//
// A stream is the microphone as blocks of 20 ms at 16 kHz, sent in packets that carry the number of
// their first block; sample n of the stream is
// made at context time  (first + n * ratio) / sampleRate . A sound that is to be heard at sample n
// starts earlier by the time that sound takes to the ear and back into the stream.

import { BLOCK, Packets, blocksIn } from "./packets.js";

const RATE = 16000;
const SOON = 0.005; // seconds below which a start counts as too late
const CLIPS = 4; // sounds kept for playing

/**
 * @typedef {object} Graph what sounds and listens once the page's sound is on
 * @property {AudioContext} context
 * @property {AudioWorkletNode} node makes the stream of whatever is connected to it
 * @property {GainNode} gain everything that is played goes through it
 *
 * @typedef {object} Microphone
 * @property {MediaStream} stream
 * @property {MediaStreamAudioSourceNode} source
 *
 * @typedef {object} SoundHooks
 * @property {(packet: ArrayBuffer) => void} onPacket
 * @property {(out_s: number, in_s: number, measured: boolean) => void} onDelay
 * @property {string} [worklet] the address of what runs in the audio thread
 *
 * @typedef {{ first: number, ratio: number } | { number: number, packet: ArrayBuffer }} FromWorklet
 */

export class Sound {
  /** @param {SoundHooks} hooks */
  constructor({ onPacket, onDelay, worklet = "/static/worklet.js" }) {
    this.worklet = worklet;
    this.onPacket = onPacket;
    this.onDelay = onDelay;
    /** @type {Graph | null} */
    this.made = null;
    /** @type {Microphone | null} */
    this.microphone = null;
    /** @type {number | null} seconds to the ear and back, if a chirp has found it */
    this.measured = null;
    this.streaming = false;
    /** @type {number | null} the context's frame at which sample 0 of the stream lies */
    this.first = null;
    this.ratio = 1; // frames of the context for a sample of the stream
    this.packets = new Packets();
    /** @type {Map<string, Promise<AudioBuffer>>} */
    this.clips = new Map();
    /** @type {Set<AudioBufferSourceNode>} */
    this.playing = new Set();
    /** @type {Promise<void> | null} */
    this.opening = null;
    /** @type {number | undefined} */
    this.delayTimer = undefined;
  }

  get graph() {
    if (this.made === null) throw new Error("the sound is not on yet");
    return this.made;
  }

  get mic() {
    return this.microphone !== null;
  }

  /**
   * Must be called from a tap or a key: browsers allow sound only then. A second tap meanwhile
   * waits for the first.
   * @param {boolean} wantMic
   */
  open(wantMic) {
    const now = () => this.openNow(wantMic);
    this.opening = this.opening ? this.opening.catch(() => {}).then(now) : now();
    return this.opening;
  }

  /** @param {boolean} wantMic */
  async openNow(wantMic) {
    this.made ??= await make(this.worklet, (data) => this.fromWorklet(data));
    await this.graph.context.resume();
    if (wantMic && !this.mic) await this.openMicrophone();
    this.watchDelay();
  }

  // Go on after the system has stopped the sound (another app, a call).
  resume() {
    this.made?.context.resume().catch(() => {}); // not yet: the next tap or look tries again
  }

  async openMicrophone() {
    const stream = await navigator.mediaDevices.getUserMedia({
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
    });
    const source = this.graph.context.createMediaStreamSource(stream);
    this.microphone = { stream, source };
    source.connect(this.graph.node);
    stream.getAudioTracks()[0]?.addEventListener("ended", () => this.closeMicrophone());
  }

  closeMicrophone() {
    if (this.microphone === null) return;
    this.microphone.source.disconnect();
    for (const track of this.microphone.stream.getTracks()) track.stop();
    this.microphone = null;
  }

  /** @param {number} value 0 to 1 */
  set volume(value) {
    if (this.made) this.made.gain.gain.value = value;
  }

  // --- delays ---

  get inDelay() {
    /** @type {(MediaTrackSettings & { latency?: number }) | undefined} */
    const settings = this.microphone?.stream.getAudioTracks()[0]?.getSettings();
    return typeof settings?.latency === "number" ? settings.latency : 0;
  }

  get outDelay() {
    const { context } = this.graph;
    return (context.baseLatency || 0) + (context.outputLatency || 0);
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

  /** @param {number} next the block that the server wants first */
  start(next) {
    this.packets.restart(next);
    this.first = null;
    this.streaming = true;
    this.graph.node.port.postMessage({ start: next });
  }

  stop() {
    if (!this.streaming) return;
    this.streaming = false;
    this.graph.node.port.postMessage({});
    this.packets.clear();
    this.hush();
  }

  /**
   * Nobody waits for what is heard before this sample: it may come in longer packets.
   * @param {number} sample
   */
  unhurriedUntil(sample) {
    this.made?.node.port.postMessage({ unhurried: sample });
  }

  /** @param {FromWorklet} data */
  fromWorklet(data) {
    if ("first" in data) {
      this.first = data.first;
      this.ratio = data.ratio;
    } else if (this.streaming && this.packets.add(data.number, data.packet)) {
      this.onPacket(data.packet);
    }
  }

  /** @param {number} next */
  receipt(next) {
    this.packets.receipt(next);
  }

  get oldest() {
    return this.packets.oldest;
  }

  /** @param {number} next */
  from(next) {
    return this.packets.from(next);
  }

  /**
   * Play a buffer and record: resolves with the samples heard from the moment it was told to start.
   * @param {AudioBuffer} buffer
   * @param {number} seconds
   */
  async record(buffer, seconds) {
    if (this.streaming) throw new Error("a round is running");
    /** @type {ArrayBuffer[]} */
    const packets = [];
    const send = this.onPacket;
    this.onPacket = (/** @type {ArrayBuffer} */ packet) => packets.push(packet);
    try {
      this.start(0);
      const lead = 0.4, count = Math.round(seconds * RATE);
      while (this.first === null) await pause(0.02);
      this.source(buffer).start(this.timeOf(Math.round(lead * RATE)));
      await pause(lead + seconds + 0.3);
      return samplesOf(packets, Math.round(lead * RATE), count);
    } finally {
      this.stop();
      this.onPacket = send;
    }
  }

  /** @param {number} sample */
  timeOf(sample) {
    return ((this.first ?? 0) + sample * this.ratio) / this.graph.context.sampleRate;
  }

  // --- sounds ---

  /**
   * The sound `name`, fetched once.
   * @param {string} name
   * @param {string} url
   * @returns {Promise<AudioBuffer>}
   */
  async load(name, url) {
    const had = this.clips.get(name);
    if (had !== undefined) return had;
    const clip = fetchClip(this.graph.context, url);
    this.clips.set(name, clip);
    clip.catch(() => this.clips.delete(name)); // the same sound may be asked for again
    const [oldest] = this.clips.keys();
    if (this.clips.size > CLIPS && oldest !== undefined) this.clips.delete(oldest);
    return clip;
  }

  /** @param {AudioBuffer} buffer */
  source(buffer) {
    const source = this.graph.context.createBufferSource();
    source.buffer = buffer;
    source.connect(this.graph.gain);
    return source;
  }

  /**
   * Have `buffer` heard at `sample` of the stream. False when it is too late for that: then it
   * stays silent, or with `anyway` starts at once.
   * @param {AudioBuffer} buffer
   * @param {number} sample
   * @param {boolean} anyway
   */
  play(buffer, sample, anyway) {
    if (this.first === null) return false;
    const soonest = this.graph.context.currentTime + SOON;
    let when = this.timeOf(sample) - this.delay;
    if (when < soonest) {
      if (!anyway) return false;
      when = soonest;
    }
    const source = this.source(buffer);
    source.onended = () => this.playing.delete(source);
    this.playing.add(source);
    source.start(when);
    return true;
  }

  hush() {
    for (const source of this.playing) source.stop();
    this.playing.clear();
  }

  /**
   * Seconds from now until sample n is heard (negative: it was).
   * @param {number} sample
   */
  until(sample) {
    const back = this.measured === null ? this.inDelay : 0;
    return this.timeOf(sample) - back - this.graph.context.currentTime;
  }
}

/**
 * The graph of a page's sound; `hear` is given what the audio thread says.
 * @param {string} worklet
 * @param {(data: FromWorklet) => void} hear
 * @returns {Promise<Graph>}
 */
async function make(worklet, hear) {
  const context = new AudioContext({ latencyHint: "interactive" });
  try {
    await context.audioWorklet.addModule(worklet);
  } catch (error) {
    await context.close();
    throw error;
  }
  const node = new AudioWorkletNode(context, "microphone", {
    numberOfInputs: 1, numberOfOutputs: 1, channelCount: 1,
  });
  node.port.onmessage = (event) => hear(event.data);
  const mute = context.createGain();
  mute.gain.value = 0; // pulled by the clock, never heard
  node.connect(mute).connect(context.destination);
  const gain = context.createGain();
  gain.connect(context.destination);
  return { context, node, gain };
}

/** @param {number} seconds */
function pause(seconds) {
  return new Promise((done) => setTimeout(done, 1000 * seconds));
}

/**
 * `count` samples of a stream from the sample `from` on; what no packet holds is 0.
 * @param {ArrayBuffer[]} packets
 * @param {number} from
 * @param {number} count
 */
function samplesOf(packets, from, count) {
  const heard = new Int16Array(count);
  for (const packet of packets) {
    const view = new DataView(packet), at = view.getUint32(0, true) * BLOCK - from;
    for (let i = 0; i < blocksIn(packet) * BLOCK; i++) {
      if (at + i >= 0 && at + i < count) heard[at + i] = view.getInt16(4 + 2 * i, true);
    }
  }
  return heard;
}

/**
 * @param {AudioContext} context
 * @param {string} url of 16-bit samples, little-endian
 */
async function fetchClip(context, url) {
  const response = await fetch(url);
  if (!response.ok) throw new Error(`the sound could not be loaded (${response.status})`);
  const pcm = new DataView(await response.arrayBuffer());
  const buffer = context.createBuffer(1, Math.max(1, pcm.byteLength / 2), RATE);
  const samples = buffer.getChannelData(0);
  for (let i = 0; 2 * i < pcm.byteLength; i++) samples[i] = pcm.getInt16(2 * i, true) / 32768;
  return buffer;
}
