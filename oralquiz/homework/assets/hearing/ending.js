// When an answer is complete: how long a quiet must last (listen/end_of_speech.py).

/** @import { Growth } from "./numbers.js" */
/** @import { Hearing } from "./hearing.js" */

const DOUBTFUL = 0.5;
export const CLOSED_S = 0.15;
const DIGITS_S = 0.22, OPEN_S = 0.5, OTHER_S = 2;

/**
 * The seconds of quiet that end the answer.
 * @param {Hearing} heard
 * @param {Growth} growth
 */
export function quietS({ candidates }, growth) {
  if (!candidates.length) return OTHER_S;
  if (candidates[0].confidence < DOUBTFUL) return OPEN_S;
  return { closed: CLOSED_S, digits: DIGITS_S, open: OPEN_S }[growth];
}
