// Where the number that counts begins, in a sound that may hold other speech before it (listen/onset.py).

/** @import { Hypothesis } from "./decoder.js" */
/** @import { Segment } from "./voice.js" */

import { RATE } from "./rounding.js";

const WORD_SLACK_S = 0.1, RUN_ON_S = 0.25;

/**
 * Where the last number of `hypothesis` begins, in seconds of the stream.
 * @param {Hypothesis} hypothesis
 * @param {number} startS where the sound that was decoded begins
 * @param {Segment[]} segments
 * @param {Set<string>} unknown the words that stand for other speech
 */
export function numberOnsetS(hypothesis, startS, segments, unknown) {
  const first = firstWord(hypothesis, unknown);
  const wordS = startS + hypothesis.words[first].startS;
  const late = segments.find(({ offset }) => offset === null || offset / RATE > wordS + WORD_SLACK_S);
  const onsetS = (late ?? segments[segments.length - 1]).onset / RATE;
  return first > 0 && wordS - onsetS > RUN_ON_S ? wordS : onsetS;
}

/**
 * The place of the first word of the last number.
 * @param {Hypothesis} hypothesis
 * @param {Set<string>} unknown
 */
function firstWord({ words }, unknown) {
  let place = words.length;
  while (place > 0 && unknown.has(words[place - 1].text)) place--;
  while (place > 0 && !unknown.has(words[place - 1].text)) place--;
  return place;
}
