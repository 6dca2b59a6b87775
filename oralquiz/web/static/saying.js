// What a pupil's page says at each moment: something large, and a line below it.

/** @import { Counts, Show, ShowAnswer } from "./protocol.js" */
/** @import { Pair, PupilWords } from "./words.js" */

import { fill } from "./words.js";

/**
 * @param {Show} shown
 * @param {PupilWords} words
 * @param {{ home: boolean, mic: boolean }} here
 * @returns {Pair}
 */
export function saying(shown, words, { home, mic }) {
  const { phase } = words;
  switch (shown.phase) {
    case "waiting": return home ? phase.waiting_home : phase.waiting;
    case "speak": return mic ? phase.speak : phase.speak_typing;
    case "again": return shown.heard ? filled(phase.again, shown) : phase.again_unheard;
    case "answer": return answer(shown, words);
    case "over": return over(shown.counts, words);
    default: return phase[shown.phase];
  }
}

/**
 * @param {Pair} pair
 * @param {{ heard?: string, value?: number | null }} values
 * @returns {Pair}
 */
function filled([large, small], { heard = "", value = null }) {
  return [fill(large, { heard, value }), small];
}

/**
 * @param {ShowAnswer} shown
 * @param {PupilWords} words
 */
function answer(shown, words) {
  const typed = shown.verdict === "wrong" && shown.typed;
  return filled(words.answer[typed ? "wrong_typed" : shown.verdict], shown);
}

/**
 * @param {Counts} counts
 * @param {PupilWords} words
 * @returns {Pair}
 */
function over(counts, words) {
  const { right, wrong, unclear, silent } = counts;
  const all = right + wrong + unclear + silent;
  if (!all) return words.over.no_answers;
  const parts = [];
  if (unclear < all) parts.push(fill(right ? words.over.right : words.over.none_right, { right, all }));
  if (unclear) parts.push(fill(words.over.unclear, { unclear }));
  return [words.over.title, parts.join(" ")];
}
