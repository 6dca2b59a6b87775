// What the page shows, as page_data.py wrote it into the page; and the parts of the page itself.

/**
 * @typedef {"hands" | "frame"} Form
 * @typedef {[column: number, bead: string, count: number]} Gesture count below 0: away
 * @typedef {[slot: number, start: number, end: number]} Beat of a move, in seconds
 *
 * @typedef {object} MoveOrder a move as it is made in one order of its gestures
 * @property {Gesture[]} gestures
 * @property {Record<Form, [why: string, how: string]>} words
 *
 * @typedef {object} Step one move
 * @property {number} term its place in the sum
 * @property {number} before
 * @property {number} after
 * @property {Record<Form, string>} where
 * @property {MoveOrder[]} orders only one where the order makes no difference
 *
 * @typedef {object} Slip what may have gone wrong
 * @property {number[]} steps the cards on which it happened
 * @property {number | null} shows what would have stood then
 * @property {string} odds
 * @property {Record<Form, string>} text
 *
 * @typedef {object} Track one way of hearing a sum; times in seconds from its start
 * @property {string[]} pieces the ids of its sounds
 * @property {number} duration
 * @property {number} answer
 * @property {Beat[]} beats one a move
 * @property {[onset: number, offset: number][]} terms
 * @property {[onset: number, offset: number, text: string][]} answers
 * @property {number[][]} outlines how loud teacher and pupil are, 0 to 100
 * @property {[from: number, to: number, who: string, text: string][]} cues
 *
 * @typedef {object} SumData
 * @property {string} title
 * @property {string} pupil
 * @property {string} glyph the sign of the verdict
 * @property {string} verdict
 * @property {boolean} right
 * @property {string} heard
 * @property {number | null} said a wrong answer that the frame can show
 * @property {string} detail
 * @property {string} result
 * @property {Record<Form, string>} end
 * @property {string[]} terms as they are written
 * @property {number[]} totals
 * @property {number} answer
 * @property {Step[]} steps
 * @property {Slip[]} maybe
 * @property {string} unknown
 * @property {{ round: Track, explained?: Track }} tracks
 *
 * @typedef {"answer" | "after" | "maybe" | "play" | "pause" | "start_where" | "end_where" | "step_of"
 *   | "would" | "no_sound"} Word
 * @typedef {"start" | "ones_first" | "shows"} FormWord
 * @typedef {Record<Word, string> & Record<FormWord, Record<Form, string>>
 *   & { who: Record<string, string> }} Words
 *
 * @typedef {{ form: Form, order: number, words: Words, sums: SumData[] }} PageData
 */

/**
 * The element `id`, which the page's template has.
 * @param {string} id
 */
export function byId(id) {
  const found = document.getElementById(id);
  if (found === null) throw new Error(`the page has no #${id}`);
  return found;
}

/** @param {string} id */
export function inputById(id) {
  return /** @type {HTMLInputElement} */ (byId(id));
}

/** @param {string} id */
export function buttonById(id) {
  return /** @type {HTMLButtonElement} */ (byId(id));
}

export const player = byId("player");

/**
 * The first part of the player for `selector`.
 * @param {string} selector
 */
export function find(selector) {
  const found = /** @type {HTMLElement | null} */ (player.querySelector(selector));
  if (found === null) throw new Error(`the player has no ${selector}`);
  return found;
}

/** @type {PageData} */
export const data = JSON.parse(byId("data").textContent);
