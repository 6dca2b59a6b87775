// From time to card and back.

import { calm, inOrder, state, stepsNow, sumNow, trackNow } from "./state.js";

/** @param {number} time */
export function cardAt(time) {
  const { beats, answer } = trackNow();
  if (time >= answer) return beats.length + 1;
  let card = 0;
  while (card < beats.length && beats[card][0] <= time) card += 1;
  return card;
}

/**
 * The moment at which a card has come to rest.
 * @param {number} card
 */
export function timeOf(card) {
  const { beats, answer } = trackNow();
  if (card <= 0) return 0;
  return card <= beats.length ? beats[card - 1][2] : answer;
}

/**
 * How far each gesture of a card has come, 0 to 1.
 * @param {number} card
 * @param {number} time
 */
export function fractionsAt(card, time) {
  const [, start, end] = trackNow().beats[card - 1];
  const { gestures } = inOrder(stepsNow()[card - 1]);
  const each = (end - start) / gestures.length;
  return gestures.map((_, n) => {
    const passed = Math.min(1, Math.max(0, (time - start - n * each) / each));
    if (passed > 1 - 1e-6) return 1;
    return calm.matches ? Number(passed > 0) : passed * passed * (3 - 2 * passed);
  });
}

// The place in the sum that the card belongs to: -1 before the first term, their number after the last.
export function termNow() {
  if (state.card === 0) return -1;
  const step = stepsNow()[state.card - 1];
  return step ? step.term : sumNow().terms.length;
}
