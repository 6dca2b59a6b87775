// The page as the loudspeaker of a round: when it can have a sound going (web/page_speaker.py).

/** @import { Play } from "./messages.js" */
/** @import { AudioOut } from "./playback.js" */

import { RATE, roundEven } from "./rounding.js";

const MARGIN_S = 0.15; // that a page has to get a sound going, on top of its delay
const MARGIN_MOST_S = 2;
const REMEMBERED = 50; // packets by which the clock is known: three seconds

/** @implements {AudioOut} */
export class PageSpeaker {
  /**
   * @param {(message: Play | { t: "hush" }) => void} tell
   * @param {() => number} now in seconds
   */
  constructor(tell, now) {
    this.tell = tell;
    this.now = now;
    this.delay = 0; // seconds
    this.extra = 0;
    this.plays = 0;
    /** @type {number | null} what is asked for next: a sum; null: the phrase */
    this.next = null;
    this.dictation = -1; // the number of the sound that is the present sum
    /** @type {number[]} how late each of the last packets came, on a clock of its own */
    this.lags = [];
  }

  /**
   * The stream's sound up to sample `end` has arrived.
   * @param {number} end
   * @param {number} delay
   */
  arrived(end, delay) {
    this.delay = delay;
    this.lags.push(this.now() - end / RATE);
    if (this.lags.length > REMEMBERED) this.lags.shift();
  }

  /**
   * @param {Float32Array} _
   * @param {number} at
   */
  play(_, at) {
    const margin = this.delay + MARGIN_S + this.extra;
    const present = (this.now() - Math.min(...this.lags)) * RATE;
    const start = Math.max(at, roundEven(present + margin * RATE));
    this.plays++;
    if (this.next !== null) this.dictation = this.plays;
    this.tell({ t: "play", play: this.plays, sum: this.next, at: start });
    return start;
  }

  stop() {
    this.tell({ t: "hush" });
  }

  // The page was too late: it gets more time from now on.
  allowMore() {
    this.extra = Math.min(MARGIN_MOST_S, 2 * this.extra + 0.25);
  }
}
