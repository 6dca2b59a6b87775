// The words of this page for phases and verdicts, which the server put into it (web/words.toml).

/** @import { RoundPhase, TurnPhase, Verdict } from "./protocol.js" */

/**
 * @typedef {Record<Verdict, { sign: string, word: string }>} Verdicts
 *
 * @typedef {object} TeacherWords
 * @property {Record<TurnPhase, string>} phase
 * @property {Record<RoundPhase, string>} round
 * @property {Verdicts} verdicts
 *
 * @typedef {object} ProjectorWords
 * @property {Record<TurnPhase | "own", string>} phase
 *
 * @typedef {[large: string, small: string]} Pair
 * @typedef {"waiting" | "waiting_home" | "listen" | "speak" | "speak_typing" | "again"
 *   | "again_unheard" | "paused" | "trouble"} PupilPhase
 * @typedef {object} PupilWords
 * @property {Record<PupilPhase, Pair>} phase
 * @property {Record<Verdict | "wrong_typed" | "skipped", Pair>} answer
 * @property {{ no_answers: Pair, title: string, right: string, none_right: string,
 *   unclear: string }} over
 */

// The page's words: the page says which of the types they are.
export function words() {
  return JSON.parse(document.body.dataset.words ?? "{}");
}

/**
 * A text with its {placeholders} filled in.
 * @param {string} text
 * @param {Record<string, string | number | null>} values
 */
export function fill(text, values) {
  return text.replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}
