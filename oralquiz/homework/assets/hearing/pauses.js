// An answer with a pause: what comes after it may continue a number, or be all of it (listen/pauses.py).

/** @import { Candidate } from "./posterior.js" */
/** @import { Segment } from "./voice.js" */

import { sumOf } from "./posterior.js";

const MOST_ALONE = 0.9, LEAST = 0.1;

/**
 * `segments` in groups with at least `pause` samples of quiet between them.
 * @param {Segment[]} segments
 * @param {number} pause
 */
export function splitAtPauses(segments, pause) {
  /** @type {Segment[][]} */
  const parts = [];
  for (const segment of segments) {
    const before = parts.at(-1)?.at(-1)?.offset ?? null;
    if (before !== null && segment.onset - before < pause) parts[parts.length - 1].push(segment);
    else parts.push([segment]);
  }
  return parts;
}

/**
 * The candidates of the whole and of its last part, each weighted, best first. `continues` is the
 * probability that the part before the last is of a number too.
 * @param {Candidate[]} whole
 * @param {Candidate[]} last
 * @param {number} continues
 * @returns {Candidate[]}
 */
export function interpolated(whole, last, continues) {
  const alone = Math.min(MOST_ALONE, 1 - continues) * sumOf(last.map((one) => one.confidence));
  /** @type {Map<number, Candidate>} */
  const found = new Map();
  for (const [some, share] of /** @type {[Candidate[], number][]} */ ([[whole, 1 - alone], [last, alone]])) {
    for (const { value, words, confidence } of some) {
      const had = found.get(value) ?? { value, words, confidence: 0 };
      found.set(value, { ...had, confidence: had.confidence + share * confidence });
    }
  }
  const ranked = [...found.values()].sort((a, b) => b.confidence - a.confidence || a.value - b.value);
  return whole.length || (ranked[0]?.confidence ?? 0) >= LEAST ? ranked : [];
}
