// How quickly an answer came (judge/latency.py).

import { RATE, roundSix } from "./rounding.js";

/**
 * Seconds from the sample after the last term to the voice's; null without a voice.
 * @param {number} lastOffset
 * @param {number | null} onset
 */
export function latencyS(lastOffset, onset) {
  return onset === null ? null : roundSix((onset - lastOffset) / RATE);
}
