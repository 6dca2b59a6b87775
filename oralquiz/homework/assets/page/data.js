// What the program wrote into the page: the round, its words, and the parts that are packed.

/**
 * @import { Options } from "../hearing/answering.js"
 * @import { Calibration } from "../hearing/posterior.js"
 * @import { SpokenTerm, Turn } from "../hearing/runner.js"
 *
 * @typedef {[big: string, small: string]} Said
 * @typedef {"listen" | "speak" | "again" | "again_unheard" | "paused" | "right" | "wrong" | "wrong_typed"
 *   | "unclear" | "silent" | "skipped" | "over"} Phrase
 *
 * @typedef {object} Words
 * @property {Record<Phrase, Said>} phrases
 * @property {string} place
 * @property {string} right_of
 * @property {string} waiting
 * @property {string} no_microphone
 * @property {string} no_hearing
 * @property {string} no_sound
 * @property {string} broken
 * @property {Record<string, string>} verdicts
 * @property {Record<string, string>} signs
 * @property {string} heard
 * @property {string} typed
 * @property {string} heard_nothing
 *
 * @typedef {object} WalkSum what the slow walk says of a sum
 * @property {string} glyph
 * @property {string} verdict
 * @property {boolean} right
 * @property {string} heard
 * @property {number | null} said
 * @property {string} detail
 *
 * @typedef {object} PageData
 * @property {string} file the name by which the session is saved
 * @property {{ round: { name: string, turns: Turn[] } }} head
 * @property {Options} options
 * @property {number} highest number that the frame shows
 * @property {Calibration} calibration
 * @property {string[]} unknown
 * @property {number} test the number that is said in the test clip
 * @property {{ pace_s: number, terms: SpokenTerm[] }[]} sums
 * @property {number} breakAfter minutes
 * @property {Words} words
 */

import { byId } from "./dom.js";

/** @type {PageData} */
export const data = JSON.parse(byId("homework").textContent);

/**
 * The bytes of the part `id`.
 * @param {string} id
 */
export function bytesOf(id) {
  return bytesIn(byId(id));
}

/** The files of the model, by name, as they are packed. */
export function modelFiles() {
  /** @type {Record<string, Uint8Array<ArrayBuffer>>} */
  const files = {};
  for (const part of document.querySelectorAll("script[data-file]")) {
    if (part instanceof HTMLElement) files[part.dataset.file ?? ""] = bytesIn(part);
  }
  return files;
}

/** @param {HTMLElement} part */
function bytesIn(part) {
  const letters = atob(part.textContent.trim()), bytes = new Uint8Array(letters.length);
  for (let n = 0; n < letters.length; n++) bytes[n] = letters.charCodeAt(n);
  return bytes;
}

/**
 * The text of the part `id`, which is packed by gzip.
 * @param {string} id
 */
export async function textOf(id) {
  const packed = new Blob([bytesOf(id)]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(packed).text();
}
