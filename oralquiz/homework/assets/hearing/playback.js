// What is played in a round, on its clock (rounds/playback.py, sound/mixing.py).

/**
 * @typedef {object} AudioOut
 * @property {(samples: Float32Array, at: number) => number} play has `samples` start at `at`, or as soon
 *   as possible after it: where
 * @property {() => void} stop
 *
 * @typedef {object} EchoFilter
 * @property {(samples: Float32Array, at: number) => void} played
 * @property {(at: number) => void} stopped
 * @property {(start: number, heard: Float32Array) => Float32Array} clean
 */

export class Playback {
  /**
   * @param {AudioOut} out
   * @param {EchoFilter | null} filter
   */
  constructor(out, filter) {
    this.out = out;
    this.filter = filter;
    /** @type {{ at: number, samples: Float32Array }[]} */
    this.sounds = [];
  }

  /**
   * @param {Float32Array} samples
   * @param {number} at
   */
  play(samples, at) {
    const start = this.out.play(samples, at);
    this.sounds.push({ at: start, samples });
    this.filter?.played(samples, start);
    return start;
  }

  /**
   * Nothing sounds from `at` on.
   * @param {number} at
   */
  stop(at) {
    this.out.stop();
    this.filter?.stopped(at);
    this.sounds = this.sounds.map((one) => ({
      at: one.at, samples: one.samples.subarray(0, Math.max(0, at - one.at)),
    }));
  }

  /**
   * What sounds in the `count` samples from `start` on; asked for in order.
   * @param {number} start
   * @param {number} count
   */
  mixed(start, count) {
    const said = new Float32Array(count), end = start + count;
    for (const { at, samples } of this.sounds) {
      const last = Math.min(end, at + samples.length);
      for (let n = Math.max(start, at); n < last; n++) said[n - start] += samples[n - at];
    }
    this.sounds = this.sounds.filter(({ at, samples }) => at + samples.length > end);
    return said;
  }

  /**
   * A block of the microphone without what was played.
   * @param {number} start
   * @param {Float32Array} heard
   */
  cleaned(start, heard) {
    return this.filter === null ? heard : this.filter.clean(start, heard);
  }
}
