// What several attempts at one answer say together, by Bayes' rule (judge/attempts.py).

/** @import { Hearing } from "./hearing.js" */

import { sumOf } from "./posterior.js";

const REPEATED = 0.8, WEIGHT = 0.8, NO_NUMBER = 0.25, UNLISTED = 0.1, LEAST_LEFT = 1e-6;

/** @typedef {{ listed: Map<number, number>, unlisted: number, none: number }} Shares */

/**
 * All attempts, in order, as one hearing, timed by the last in which a number was heard.
 * @param {Hearing[]} hearings at least one
 * @param {number} numbers how many could have been said
 */
export function combineHearings(hearings, numbers) {
  const withNumbers = hearings.filter((one) => one.candidates.length);
  if (withNumbers.length) return withNumbers.reduce((first, second) => both(first, second, numbers));
  return hearings.findLast((one) => one.onsetS !== null) ?? hearings[hearings.length - 1];
}

/**
 * @param {Hearing} hearing
 * @param {number} numbers
 * @returns {Shares}
 */
function sharesOf({ candidates }, numbers) {
  const listed = new Map(candidates.map(({ value, confidence }) => [value, confidence]));
  const left = Math.max(LEAST_LEFT, 1 - sumOf(listed.values()));
  const others = Math.max(1, numbers - listed.size);
  return { listed, unlisted: (left * UNLISTED) / others, none: left * (1 - UNLISTED) };
}

/**
 * @param {Hearing} first
 * @param {Hearing} second
 * @param {number} numbers
 * @returns {Hearing}
 */
function both(first, second, numbers) {
  const one = sharesOf(first, numbers), two = sharesOf(second, numbers);
  const values = [...new Set([...one.listed.keys(), ...two.listed.keys()])];
  const others = Math.max(0, numbers - values.length), each = (1 - NO_NUMBER) / numbers;
  const masses = new Map(values.map((value) => [value, mass(
    one.listed.get(value) ?? one.unlisted, two.listed.get(value) ?? two.unlisted, each,
  )]));
  const rest = others * mass(one.unlisted, two.unlisted, each) + mass(one.none, two.none, NO_NUMBER);
  const whole = sumOf(masses.values()) + rest;
  const words = new Map([...first.candidates, ...second.candidates].map((its) => [its.value, its.words]));
  const candidates = [...masses]
    .sort(([a, massA], [b, massB]) => massB - massA || a - b)
    .map(([value, its]) => ({ value, words: words.get(value) ?? "", confidence: its / whole }));
  return { candidates, words: candidates[0].words, onsetS: second.onsetS, offsetS: second.offsetS };
}

/**
 * @param {number} first
 * @param {number} second
 * @param {number} before
 */
function mass(first, second, before) {
  const repeated = before * (((first / before) * second) / before) ** WEIGHT;
  return REPEATED * repeated + (1 - REPEATED) * second;
}
