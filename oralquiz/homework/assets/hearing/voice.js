// Where a voice begins and ends, on the stream's own clock (listen/voice_detector.py, which says
// why): the onset is a change point in six bands over the room's own levels.

import { BANDS, HOP, WIDTH, WINDOWS, levelsOf } from "./bands.js";
import {
  EVERY, MARGIN_DB, RoomNoise, ceilingOf, powersOfTenths, quietestTenths,
} from "./room.js";
import { roundEven } from "./rounding.js";

const UNDER_PEAK_DB = 46, UNDER_PEAK_TILT_DB = 2;
const ACTIVE_SPAN_DB = 4;
const LOUD_UNDER_PEAK_DB = 12, LOUD = roundEven(0.03 * WINDOWS);
const LOOK_BACK = WINDOWS / 2;
const MISTAKEN = 3 * WINDOWS, MISTAKEN_DB = 10;
const BEGIN = roundEven(0.08 * WINDOWS), BEGIN_LEAST = 0.6 * 0.08 * WINDOWS;
const END = 0.06 * WINDOWS, END_UNDER_PEAK_DB = 34;
const LONGEST_FREEZE = 4 * WINDOWS;

/**
 * @typedef {object} Segment of voice, in samples
 * @property {number} onset
 * @property {number | null} offset the sample after the last; null while it goes on
 *
 * @typedef {object} Found a voice: the windows in which it was noticed and last active
 * @property {number} noticed
 * @property {number} last
 * @property {Float32Array} ceiling the room's levels then
 */

export class VoiceDetector {
  /** @param {Float32Array | null} room levels of a room known beforehand */
  constructor(room = null) {
    this.position = 0; // samples taken
    this.rest = new Float32Array(0);
    this.levels = new Float32Array(1000 * BANDS);
    this.windows = 0; // of levels that are filled
    this.room = new RoomNoise(room);
    this.told = room !== null;
    /** @type {number[]} of each tenth of a second of the stream's beginning */
    this.powers = [];
    /** @type {number | null} the window at which the present voice was noticed */
    this.begun = null;
    this.lastActive = 0;
    this.peak = -Infinity;
    /** @type {boolean[]} whether the last windows were active */
    this.recent = [];
    /** @type {Found[]} */
    this.found = [];
  }

  get speaking() {
    return this.begun !== null;
  }

  /**
   * The position by which the next samples are wanted: nothing can have been over for `quiet`
   * samples before.
   * @param {number} quiet
   */
  wants(quiet) {
    const last = this.begun === null ? this.windows : this.lastActive + 1;
    const wanted = last * HOP + quiet;
    if (this.told || this.windows >= MISTAKEN) return wanted;
    const measured = (Math.floor(this.windows / EVERY) + 1) * EVERY;
    return Math.min(wanted, measured * HOP + WIDTH - HOP);
  }

  /** @returns {number | null} the sample after the last voice; null without one, or while it goes on */
  get quietSince() {
    const last = this.found.at(-1);
    return this.speaking || last === undefined ? null : (last.last + 1) * HOP;
  }

  /** @returns {Segment[]} */
  get segments() {
    const done = this.found.map((found) => this.segment(found));
    if (this.begun !== null) {
      const now = { noticed: this.begun, last: this.windows - 1, ceiling: this.ceiling };
      done.push({ onset: this.segment(now).onset, offset: null });
    }
    return done;
  }

  get ceiling() {
    return /** @type {Float32Array} */ (this.room.ceiling);
  }

  /** @param {Float32Array} samples the next */
  feed(samples) {
    this.position += samples.length;
    const sound = new Float32Array(this.rest.length + samples.length);
    sound.set(this.rest);
    sound.set(samples, this.rest.length);
    const levels = levelsOf(sound);
    this.rest = sound.slice((levels.length / BANDS) * HOP);
    this.take(levels);
  }

  // The stream is over: a voice that goes on ends here.
  close() {
    if (this.begun !== null) this.end(this.begun);
  }

  /** @param {Float32Array} levels */
  take(levels) {
    let first = this.windows;
    this.append(levels);
    while (first < this.windows) { // pieces in which the room counts as unchanged
      const stop = Math.min(this.windows, (Math.floor(first / EVERY) + 1) * EVERY);
      this.follow(first, stop);
      first = stop;
    }
  }

  /** @param {Float32Array} levels */
  append(levels) {
    const filled = this.windows * BANDS;
    if (filled + levels.length > this.levels.length) {
      const grown = new Float32Array(Math.max(filled + levels.length, 2 * this.levels.length));
      grown.set(this.levels);
      this.levels = grown;
    }
    this.levels.set(levels, filled);
    this.windows += levels.length / BANDS;
  }

  /**
   * @param {number} first
   * @param {number} stop
   */
  between(first, stop) {
    return this.levels.subarray(first * BANDS, stop * BANDS);
  }

  /**
   * @param {number} first
   * @param {number} stop
   */
  follow(first, stop) {
    if (this.room.known) this.look(first, stop);
    if (stop % EVERY !== 0) return;
    const longSince = this.begun !== null && stop - this.begun > LONGEST_FREEZE;
    if (this.begun === null || longSince) this.room.follow(this.between(stop - EVERY, stop));
    if (!this.told && stop <= MISTAKEN) this.doubt(stop);
  }

  /**
   * Look for voice.
   * @param {number} first
   * @param {number} stop
   */
  look(first, stop) {
    const bar = /** @type {Float32Array} */ (this.room.bar);
    for (let window = first; window < stop; window++) {
      let active = false, loudest = -Infinity;
      for (let band = 0; band < BANDS; band++) {
        const level = this.levels[window * BANDS + band];
        active ||= level > bar[band];
        loudest = Math.max(loudest, level);
      }
      this.step(window, active, loudest);
    }
  }

  /**
   * Begin again with the quietest of what came so far, if that is a much quieter room.
   * @param {number} stop
   */
  doubt(stop) {
    this.powers.push(powersOfTenths(this.between(stop - EVERY, stop))[0]);
    const quiet = quietestTenths(this.between(0, stop), this.powers);
    const quieter = ceilingOf(quiet);
    if (Math.max(...this.ceiling.map((level, band) => level - quieter[band])) < MISTAKEN_DB) return;
    this.room = new RoomNoise(quiet);
    this.begun = null;
    this.found = [];
    this.recent = [];
    this.told = true;
    for (let first = 0; first < stop; first += EVERY) this.follow(first, first + EVERY);
    this.told = false;
  }

  /**
   * @param {number} window
   * @param {boolean} active
   * @param {number} level
   */
  step(window, active, level) {
    if (this.begun === null) {
      this.recent.push(active);
      if (this.recent.length > BEGIN) this.recent.shift();
      if (active && this.recent.filter(Boolean).length >= BEGIN_LEAST) this.begin(window);
      return;
    }
    this.peak = Math.max(this.peak, level);
    if (active && level > this.peak - END_UNDER_PEAK_DB) this.lastActive = window;
    else if (window - this.lastActive >= END) this.end(this.begun);
  }

  /** @param {number} window */
  begin(window) {
    this.begun = window;
    this.lastActive = window;
    this.peak = Math.max(...this.between(window + 1 - this.recent.length, window + 1));
  }

  /** @param {number} begun */
  end(begun) {
    this.found.push({ noticed: begun, last: this.lastActive, ceiling: this.ceiling });
    this.begun = null;
    this.recent = [];
  }

  /**
   * @param {Found} found
   * @returns {Segment}
   */
  segment(found) {
    let first = Math.max(0, found.noticed - LOOK_BACK);
    for (const other of this.found) {
      if (other.last < found.noticed) first = Math.max(first, other.last + 1);
    }
    const { total, excess } = this.measured(first, found.last + 1, found.ceiling);
    const peak = Math.max(...total);
    const loud = firstLasting(total.map((level) => level > peak - LOUD_UNDER_PEAK_DB), LOUD);
    let onset = loud, summed = 0, most = -Infinity;
    for (let window = loud; window >= Math.max(0, loud - LOOK_BACK); window--) {
      const over = excess[window];
      summed += over > 0 ? Math.min(1, over / ACTIVE_SPAN_DB) : -1;
      if (summed >= most) [most, onset] = [summed, window];
    }
    return { onset: (first + onset) * HOP, offset: (found.last + 1) * HOP };
  }

  /**
   * The level of each window, and how far it is over the room or its voice's own least.
   * @param {number} first
   * @param {number} stop
   * @param {Float32Array} ceiling
   */
  measured(first, stop, ceiling) {
    const total = [], excess = [];
    for (let window = first; window < stop; window++) {
      let power = 0;
      for (const level of this.between(window, window + 1)) power += 10 ** (level / 10);
      total.push(10 * Math.log10(power));
    }
    const peak = Math.max(...total);
    for (let window = first; window < stop; window++) {
      let most = -Infinity;
      this.between(window, window + 1).forEach((level, band) => {
        const least = peak - UNDER_PEAK_DB - UNDER_PEAK_TILT_DB * band;
        most = Math.max(most, level - Math.max(ceiling[band] + MARGIN_DB, least));
      });
      excess.push(most);
    }
    return { total, excess };
  }
}

/**
 * The segments of a whole recording with these levels, in a room that is known.
 * @param {Float32Array} levels
 * @param {Float32Array} room
 */
export function segmentsOf(levels, room) {
  const detector = new VoiceDetector(room);
  detector.take(levels);
  detector.close();
  return detector.segments;
}

/**
 * The first index that is true, as are most of the `length` from it on; else the first.
 * @param {boolean[]} flags
 * @param {number} length
 */
function firstLasting(flags, length) {
  const lasting = flags.findIndex((flag, n) =>
    flag && 2 * flags.slice(n, n + length).filter(Boolean).length > length);
  return lasting >= 0 ? lasting : Math.max(0, flags.indexOf(true));
}
