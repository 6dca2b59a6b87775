// What the recogniser makes of a stretch of sound (listen/hearing.py).

/** @import { Candidate } from "./posterior.js" */

/**
 * @typedef {object} Hearing
 * @property {Candidate[]} candidates best first
 * @property {string} words the best transcript, numbers or not
 * @property {number | null} onsetS of the voice, in seconds of the stream; null without one
 * @property {number | null} offsetS
 */

/** @type {Hearing} */
export const NOTHING = { candidates: [], words: "", onsetS: null, offsetS: null };

/**
 * The probability that `value` was said.
 * @param {Hearing} hearing
 * @param {number} value
 */
export function probability({ candidates }, value) {
  return candidates.find((one) => one.value === value)?.confidence ?? 0;
}
