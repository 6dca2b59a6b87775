// From the scores of several hypotheses to calibrated probabilities of numbers (listen/posterior.py).

/** @import { Hypothesis } from "./decoder.js" */

import { digitByDigit, hasNumber, numberIn } from "./numbers.js";

const BENEFIT = 2;

/**
 * @typedef {{ scale: number, other: number, doubt: number, apart: number }} Calibration
 * @typedef {{ value: number, words: string, confidence: number }} Candidate
 */

/**
 * The numbers of the range among the hypotheses, likeliest first; none where none is likely.
 * @param {Hypothesis[]} hypotheses
 * @param {number} lowest
 * @param {number} highest
 * @param {Calibration} calibration
 * @returns {Candidate[]}
 */
export function candidatesOf(hypotheses, lowest, highest, calibration) {
  const mass = massesOf(hypotheses, calibration);
  /** @type {Map<number, string>} */
  const words = new Map();
  for (const { text } of hypotheses) {
    const value = numberIn(text);
    if (value !== null && !words.has(value)) words.set(value, text);
  }
  const massOf = (/** @type {number | null} */ value) => mass.get(value) ?? 0;
  const ranked = [...words.keys()].sort((a, b) => massOf(b) - massOf(a) || a - b);
  if (!ranked.length || ranked[0] < lowest || ranked[0] > highest) return [];
  if (massOf(ranked[0]) * Math.exp(BENEFIT) <= massOf(null)) return [];
  const sure = (1 - calibration.doubt) / sumOf(mass.values());
  return ranked.filter((value) => lowest <= value && value <= highest).map((value) => ({
    value, words: words.get(value) ?? "", confidence: massOf(value) * sure,
  }));
}

/**
 * How much speaks for each number, and (null) for no single number.
 * @param {Hypothesis[]} hypotheses
 * @param {Calibration} calibration
 */
function massesOf(hypotheses, calibration) {
  /** @type {Map<number | null, number>} */
  const mass = new Map();
  for (const [text, log] of logs(hypotheses, calibration)) {
    const value = numberIn(text);
    const apart = value !== null && value >= 10 && digitByDigit(text) ? calibration.apart : 0;
    mass.set(value, (mass.get(value) ?? 0) + Math.exp(log + apart));
  }
  return mass;
}

/**
 * The probability that a word that counts was said.
 * @param {Hypothesis[]} hypotheses
 * @param {Calibration} calibration
 */
export function numberProbability(hypotheses, calibration) {
  const mass = [0, 0];
  for (const [text, log] of logs(hypotheses, calibration)) {
    mass[Number(hasNumber(text))] += Math.exp(log);
  }
  return hypotheses.length ? mass[1] / (mass[0] + mass[1]) : 0;
}

/**
 * Each hypothesis's words and its calibrated log-likelihood, the best score counted as 0.
 * @param {Hypothesis[]} hypotheses
 * @param {Calibration} calibration
 * @returns {[string, number][]}
 */
function logs(hypotheses, calibration) {
  const best = Math.max(...hypotheses.map((one) => one.score));
  return hypotheses.map(({ text, score }) => {
    const raised = hasNumber(text) ? 0 : calibration.other;
    return [text, calibration.scale * (score - best) + raised];
  });
}

/** @param {Iterable<number>} values */
export function sumOf(values) {
  let sum = 0;
  for (const value of values) sum += value;
  return sum;
}
