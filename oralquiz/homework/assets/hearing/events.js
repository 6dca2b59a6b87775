// What happens in a round, and how it is written: one line an event (rounds/events.py).

/** @import { Verdict } from "./verdict.js" */

import { decimalText } from "./rounding.js";

/**
 * @typedef {{ text: string, onset: number, offset: number }} TermTime in samples
 * @typedef {{ value: number, words: string, confidence: number }} Guess
 *
 * @typedef {{ type: "round_begun", name: string, turns: number }} RoundBegun
 * @typedef {{ type: "sum_begun", turn: number, pupil: string, terms: number[] }} SumBegun
 * @typedef {{ type: "dictated", turn: number, start: number, end: number, pace_s: number, terms: TermTime[] }} Dictated
 * @typedef {{ type: "heard", turn: number, attempt: number, words: string, guesses: Guess[], onset: number | null, offset: number | null, early: boolean }} Heard
 * @typedef {{ type: "judged", turn: number, attempt: number, verdict: Verdict, value: number | null, latency_s: number | null, right_probability?: number, typed?: boolean }} Judged
 * @typedef {{ type: "asked_again", turn: number, attempt: number, start: number, end: number }} AskedAgain
 * @typedef {{ type: "sum_ended", turn: number }} SumEnded
 * @typedef {"pause" | "resume" | "repeat" | "skip" | "stop" | "typed"} CommandName
 * @typedef {{ type: "commanded", name: CommandName, turn: number, value?: number, why?: string }} Commanded
 * @typedef {{ type: "round_ended", why: string, turns: number }} RoundEnded
 * @typedef {RoundBegun | SumBegun | Dictated | Heard | Judged | AskedAgain | SumEnded | Commanded
 *   | RoundEnded} RoundEvent
 * @typedef {{ seq: number, at: number, event: RoundEvent }} Entry
 */

const DECIMALS = new Set(["pace_s", "confidence", "latency_s", "right_probability"]);

/**
 * The entry as one line, without its end.
 * @param {Entry} entry
 */
export function lineOf({ seq, at, event }) {
  return written({ seq, at, ...event }, "");
}

/**
 * @param {unknown} value
 * @param {string} key that it stands under
 * @returns {string}
 */
function written(value, key) {
  if (typeof value === "number" && DECIMALS.has(key)) return decimalText(value);
  if (Array.isArray(value)) return `[${value.map((one) => written(one, "")).join(",")}]`;
  if (typeof value !== "object" || value === null) return JSON.stringify(value);
  const told = Object.entries(value).filter(([, its]) => its !== undefined);
  return `{${told.map(([its, one]) => `${JSON.stringify(its)}:${written(one, its)}`).join(",")}}`;
}
