// This browser as a device of a round: it streams, plays what it is told, and comes back.

/** @import { Begin, CommandName, Play, Reading, ServerMessage, Show, Welcome } from "./protocol.js" */

import { Link } from "./link.js";
import { Sound } from "./sound.js";

/**
 * @typedef {object} DeviceHooks
 * @property {(message: Show) => void} [onShow]
 * @property {(message: Reading) => void} [onReading]
 * @property {(connected: boolean) => void} onState
 * @property {(why: string) => void} onRefused
 * @property {(streaming: boolean) => void} [onStream]
 * @property {(message: Welcome) => void} [onWelcome]
 * @property {(message: Begin) => void} [onBegin]
 * @property {(hadTheSound: boolean) => void} [onAside]
 * @property {(message: ServerMessage) => void} onMessage all that is not about being a device
 */

export class Device {
  /**
   * @param {string} path
   * @param {DeviceHooks} hooks
   */
  constructor(path, hooks) {
    this.hooks = hooks;
    this.run = "";
    this.play = 0;
    this.ready = false;
    this.sound = new Sound({
      onPacket: (packet) => {
        if (this.linked) this.link.sendSound(packet);
      },
      onDelay: (out_s, in_s, measured) => this.link.send({ t: "delay", out_s, in_s, measured }),
    });
    // a tablet that was put away for a moment gives back neither its screen nor its sound by itself
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden && this.ready) this.wake();
    });
    this.linked = false; // welcomed: the server knows where the stream is
    this.link = new Link(path, {
      onOpen: () => this.hello(),
      onMessage: (message) => this.take(message),
      onLost: () => {
        this.linked = false;
        hooks.onState(false);
      },
      onRefused: (why) => {
        this.sound.stop();
        hooks.onRefused(why);
      },
    });
  }

  hello() {
    const { mic, oldest } = this.sound;
    this.link.send({ t: "hello", mic, run: this.run, first: oldest, play: this.play });
  }

  tellReady() {
    this.link.send({ t: "ready", mic: this.sound.mic });
  }

  /**
   * From a tap: sound on, the microphone too if it is wanted and given.
   * @param {boolean} wantMic
   */
  async open(wantMic) {
    await this.sound.open(wantMic);
    this.ready = true;
    this.tellReady();
    this.sound.watchDelay();
    await this.wake();
  }

  closeMicrophone() {
    this.sound.closeMicrophone();
    this.tellReady();
  }

  async wake() {
    this.sound.resume();
    if (navigator.wakeLock) {
      try {
        await navigator.wakeLock.request("screen");
      } catch {
        // a low battery forbids it; the screen then dims as it usually does
      }
    }
  }

  /** @param {ServerMessage} message */
  async take(message) {
    const ours = "run" in message && message.run === this.run;
    switch (message.t) {
      case "welcome":
        this.welcome(message);
        break;
      case "aside":
        this.standAside();
        break;
      case "begin":
        await this.begin(message);
        break;
      case "end":
        this.end();
        break;
      case "receipt":
        if (ours) this.sound.receipt(message.next);
        break;
      case "resend":
        if (ours) this.goOn(message.next);
        break;
      case "clip":
        if (ours) this.fetch(message.clip).catch(() => {}); // played later: it is fetched again
        break;
      case "play":
        if (ours) await this.sounds(message);
        break;
      case "hush":
        if (ours) this.hush();
        break;
      case "reading":
        if (ours) this.reading(message);
        break;
      case "ping":
        this.link.send({ t: "pong", n: message.n });
        break;
      case "show":
        this.hooks.onShow?.(message);
        break;
      default:
        this.hooks.onMessage(message);
    }
  }

  /** @param {Welcome} message */
  welcome(message) {
    if (message.run && message.run === this.run) this.goOn(message.next);
    else if (this.run) this.end();
    this.connected();
    this.hooks.onWelcome?.(message); // before "ready": from then on a round may be begun
    if (this.ready && !message.run) this.tellReady();
    if (this.ready) this.sound.watchDelay();
  }

  // Another page has this device: this one only watches.
  standAside() {
    const had = this.ready;
    this.connected();
    this.ready = false;
    if (this.run) this.end();
    this.sound.closeMicrophone();
    this.hooks.onAside?.(had);
  }

  // The server's first word came: it knows where the stream is.
  connected() {
    this.linked = true;
    this.hooks.onState(true);
  }

  /** @param {number} next */
  goOn(next) {
    this.sound.receipt(next);
    for (const packet of this.sound.from(next)) this.link.sendSound(packet);
  }

  /** @param {Begin} message */
  async begin(message) {
    if (!this.ready) return; // the page was opened anew: its "ready" brings this message again
    this.run = message.run;
    this.play = 0;
    this.hooks.onBegin?.(message);
    if (message.clip) await this.fetch(message.clip).catch(() => {});
    if (this.run !== message.run) return; // it ended while the sound was on its way
    this.sound.start(message.next);
    this.hooks.onStream?.(true);
  }

  end() {
    this.run = "";
    this.sound.stop();
    this.hooks.onStream?.(false);
  }

  hush() {
    this.sound.hush();
    this.sound.unhurriedUntil(0);
  }

  // No answer can come before the last term begins to sound.
  /** @param {Reading} message */
  reading(message) {
    this.sound.unhurriedUntil(message.terms.at(-1)?.[0] ?? 0);
    this.hooks.onReading?.(message);
  }

  /** @param {string} clip */
  fetch(clip) {
    return this.sound.load(clip, `/clip/${this.run}/${clip}`);
  }

  /** @param {Play} message */
  async sounds(message) {
    let buffer = null;
    try {
      buffer = await this.fetch(message.clip);
    } catch {
      // the connection broke meanwhile: the same as too late
    }
    if (message.run !== this.run) return;
    if (buffer !== null && this.sound.play(buffer, message.at, !message.exact)) {
      this.play = message.play;
    } else if (message.exact) { // without a connection "hello" says it: this sound was never played
      this.link.send({ t: "late", run: this.run, play: message.play });
    }
  }

  /**
   * Not before the sound that came before it: its time would be wrong.
   * @param {number} value
   */
  typed(value) {
    if (this.linked) this.link.send({ t: "typed", run: this.run, value });
  }

  /** @param {CommandName} name */
  command(name) {
    this.link.send({ t: "command", run: this.run, name });
  }
}
