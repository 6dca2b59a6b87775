// The noise of a room: how loud it is, band by band, when nobody speaks (listen/room_noise.py).

import { BANDS, LEAST_DB, WINDOWS, meanPower } from "./bands.js";

export const MARGIN_DB = 3;
const ROOM = 3 * WINDOWS; // windows from which the room is known
export const EVERY = WINDOWS / 10; // windows between two measurements
const ROOM_LEAST_DB = LEAST_DB + 6;

export class RoomNoise {
  /** @param {Float32Array | null} levels of a room known beforehand */
  constructor(levels) {
    this.ring = new Float32Array(ROOM * BANDS);
    this.filled = 0;
    this.next = 0;
    this.known = levels !== null;
    this.set(new Float32Array(BANDS).fill(LEAST_DB));
    if (levels === null) return;
    const recent = levels.subarray(Math.max(0, levels.length - ROOM * BANDS));
    this.ring.set(recent);
    this.filled = recent.length / BANDS;
    this.next = this.filled % ROOM;
    this.measure();
  }

  /**
   * Take the next windows without voice.
   * @param {Float32Array} levels
   */
  follow(levels) {
    for (let at = 0; at < levels.length; at += BANDS) {
      this.ring.set(levels.subarray(at, at + BANDS), this.next * BANDS);
      this.next = (this.next + 1) % ROOM;
    }
    this.filled = Math.min(this.filled + levels.length / BANDS, ROOM);
    this.known = true;
    this.measure();
  }

  measure() {
    this.set(ceilingOf(this.ring.subarray(0, this.filled * BANDS)));
  }

  /** @param {Float32Array} ceiling */
  set(ceiling) {
    this.ceiling = ceiling;
    this.bar = ceiling.map((level) => level + MARGIN_DB);
  }
}

/**
 * The 99th centile of a room's levels in each band, from their lower half.
 * @param {Float32Array} levels
 */
export function ceilingOf(levels) {
  const count = levels.length / BANDS, tenth = Math.floor(count / 10), half = Math.floor(count / 2);
  const ceiling = new Float32Array(BANDS), ordered = new Float32Array(count);
  for (let band = 0; band < BANDS; band++) {
    for (let n = 0; n < count; n++) ordered[n] = levels[n * BANDS + band];
    ordered.sort();
    const above = Math.fround(1.3 * Math.fround(ordered[half] - ordered[tenth]));
    ceiling[band] = Math.max(ROOM_LEAST_DB, ordered[half] + above);
  }
  return ceiling;
}

export function silentRoom() {
  return new Float32Array(BANDS).fill(LEAST_DB);
}

/**
 * The windows of the quietest fifth of all tenths of a second.
 * @param {Float32Array} levels
 */
export function quietest(levels) {
  if (levels.length < EVERY * BANDS) return levels;
  return quietestTenths(levels, powersOfTenths(levels));
}

/**
 * @param {Float32Array} levels
 * @param {number[]} powers of its whole tenths of a second
 */
export function quietestTenths(levels, powers) {
  const sorted = [...powers].sort((a, b) => a - b);
  const most = sorted[Math.floor((powers.length - 1) / 5)];
  const chosen = powers.flatMap((power, n) => (power <= most ? [n] : []));
  const size = EVERY * BANDS, windows = new Float32Array(chosen.length * size);
  chosen.forEach((tenth, n) => {
    windows.set(levels.subarray(tenth * size, (tenth + 1) * size), n * size);
  });
  return windows;
}

/** @param {Float32Array} levels */
export function powersOfTenths(levels) {
  const size = EVERY * BANDS, powers = [];
  for (let at = 0; at + size <= levels.length; at += size) {
    powers.push(Math.fround(meanPower(levels.subarray(at, at + size))));
  }
  return powers;
}
