// What the page and its worker say to each other: types only, for the checker. Nothing loads this file.

/**
 * @import { Options } from "./answering.js"
 * @import { CommandName, RoundEvent } from "./events.js"
 * @import { Hearing } from "./hearing.js"
 * @import { Calibration } from "./posterior.js"
 * @import { Dictation, Turn } from "./runner.js"
 */

// --- to the worker ---

/**
 * @typedef {object} Load the decoder
 * @property {"load"} t
 * @property {Uint8Array<ArrayBuffer>} wasm packed by gzip, as are the files
 * @property {Record<string, Uint8Array<ArrayBuffer>>} files of the model
 * @property {Calibration} calibration
 * @property {string[]} unknown
 * @property {number} highest number that is heard
 *
 * @typedef {object} Begin the round
 * @property {"begin"} t
 * @property {{ round: { name: string, turns: Turn[] } }} head of the session
 * @property {Options} options
 * @property {number} highest number that the frame shows
 * @property {boolean} hears whether a microphone is on
 * @property {boolean} keeps whether the sound may be kept
 * @property {Dictation[]} sums
 * @property {Float32Array} phrase by which an answer is asked for again
 *
 * @typedef {{ t: "packet", packet: ArrayBuffer, delay: number }} Packet delay: seconds to the ear and back
 * @typedef {{ t: "command", name: CommandName, value?: number }} Ordered
 * @typedef {{ t: "late", play: number }} Late
 * @typedef {{ t: "hear", samples: Float32Array }} Hear a whole recording
 * @typedef {Load | Hear | Begin | Packet | Ordered | Late} ToWorker
 */

// --- to the page ---

/**
 * @typedef {{ t: "loaded" }} Loaded
 * @typedef {{ t: "heard", hearing: Hearing }} HeardAll
 * @typedef {{ t: "play", play: number, sum: number | null, at: number }} Play sum null: the phrase
 * @typedef {{ t: "hush" }} Hush
 * @typedef {{ t: "event", at: number, event: RoundEvent }} Told
 * @typedef {{ t: "file", file: Blob }} File
 * @typedef {{ t: "broken", why: string }} Broken
 * @typedef {Loaded | HeardAll | Play | Hush | Told | File | Broken} ToPage
 */

export {};
