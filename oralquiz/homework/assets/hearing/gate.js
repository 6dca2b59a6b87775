// An echo filter that hears nothing while something is played: the room's own noise of a moment before
// stands in its place (audio/half_duplex.py).

/** @import { EchoFilter } from "./playback.js" */

import { RATE, roundEven } from "./rounding.js";

const RINGS_ON = roundEven(0.12 * RATE); // samples for which a sound goes on in the room
const KEPT = 100; // blocks in which the room's noise is looked for
const QUIETEST = 4; // one in so many is taken for the room

/** @implements {EchoFilter} */
export class HalfDuplexGate {
  constructor() {
    /** @type {[first: number, last: number][]} */
    this.spans = [];
    /** @type {{ power: number, heard: Float32Array }[]} */
    this.room = [];
    /** @type {Float32Array[]} */
    this.noise = [];
    this.turn = 0;
  }

  /**
   * @param {Float32Array} samples
   * @param {number} at
   */
  played(samples, at) {
    this.spans.push([at, at + samples.length + RINGS_ON]);
    this.noise = [];
  }

  /** @param {number} at */
  stopped(at) {
    this.spans = this.spans
      .filter(([first]) => first < at)
      .map(([first, last]) => [first, Math.min(last, at + RINGS_ON)]);
  }

  /**
   * @param {number} start
   * @param {Float32Array} heard
   */
  clean(start, heard) {
    this.spans = this.spans.filter(([, last]) => last > start);
    if (this.spans.every(([first]) => first >= start + heard.length)) {
      this.room.push({ power: heard.reduce((sum, one) => sum + one * one, 0), heard });
      if (this.room.length > KEPT) this.room.shift();
      return heard;
    }
    if (!this.noise.length) {
      const sorted = [...this.room].sort((a, b) => a.power - b.power);
      const count = Math.max(1, Math.floor(sorted.length / QUIETEST));
      this.noise = sorted.slice(0, count).map((one) => one.heard);
    }
    if (!this.noise.length) return new Float32Array(heard.length);
    this.turn = (this.turn * 1103515245 + 12345) % 2147483648; // any order that does not repeat soon
    return this.noise[Math.floor(this.turn / 65536) % this.noise.length];
  }
}
