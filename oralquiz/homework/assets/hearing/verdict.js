// Right, wrong, unclear or silent: a child is never marked wrong because the machine misheard
// (judge/verdict.py).

/** @import { Hearing } from "./hearing.js" */

import { combineHearings } from "./attempts.js";
import { confusable, overlapping } from "./confusable.js";
import { probability } from "./hearing.js";

/**
 * @typedef {"right" | "wrong" | "unclear" | "silent"} Verdict
 * @typedef {"go_on" | "ask_again" | "teacher"} Next
 * @typedef {{ verdict: Verdict, next: Next, hearing: Hearing }} Decision
 *
 * @typedef {object} Policy as the session file has it
 * @property {number} right_from
 * @property {number} wrong_to
 * @property {number} odds
 * @property {number} number_from
 * @property {number} told_from
 * @property {number} close
 * @property {boolean} may_change
 * @property {boolean} part_waits
 */

/**
 * P(the pupil said `answer` | sound).
 * @param {Hearing} hearing
 * @param {number} answer
 * @param {Policy} policy
 * @param {number} numbers how many could have been said
 */
export function probabilityRight(hearing, answer, policy, numbers) {
  const odds = Math.min(policy.odds, Math.max(1, numbers - 1));
  const heard = probability(hearing, answer);
  return heard ? (heard * odds) / (heard * odds + 1 - heard) : 0;
}

/**
 * The verdict on one hearing.
 * @param {Hearing} hearing
 * @param {number} answer
 * @param {Policy} policy
 * @param {number} numbers
 * @returns {Verdict}
 */
export function judge(hearing, answer, policy, numbers) {
  const { candidates, onsetS } = hearing;
  if (onsetS === null) return "silent";
  if (!candidates.length || torn(hearing, answer, policy.close)) return "unclear";
  const right = probabilityRight(hearing, answer, policy, numbers);
  if (right >= policy.right_from) return "right";
  const others = candidates.filter(({ value }) => value !== answer).map((one) => one.confidence);
  const all = others.reduce((sum, one) => sum + one, 0);
  const told = Math.max(0, ...others) >= policy.told_from && all >= policy.number_from;
  return told && right <= policy.wrong_to ? "wrong" : "unclear";
}

/**
 * Whether the first two candidates sound alike, are close, and one of them is the answer.
 * @param {Hearing} hearing
 * @param {number} answer
 * @param {number} close
 */
function torn({ candidates: [first, second] }, answer, close) {
  if (second === undefined || (answer !== first.value && answer !== second.value)) return false;
  return confusable(first.value, second.value) && second.confidence >= close * first.confidence;
}

/**
 * The decision after `hearings`, one for each time the answer was asked for.
 * @param {Hearing[]} hearings
 * @param {number} answer
 * @param {Policy} policy
 * @param {number} asks how often an unclear answer is asked for again
 * @param {number} numbers
 * @returns {Decision}
 */
export function decide(hearings, answer, policy, asks, numbers) {
  const hearing = combineHearings(hearings, numbers);
  const verdict = doubted(judge(hearing, answer, policy, numbers), hearings, hearing, answer, policy);
  if (verdict === "silent" && hearings.length === 1) return { verdict, next: "go_on", hearing };
  if (verdict === "unclear" || verdict === "silent") {
    const next = hearings.length <= asks ? "ask_again" : "teacher";
    return { verdict: "unclear", next, hearing };
  }
  if (!policy.may_change && changed(hearings, hearing.candidates[0].value)) {
    return { verdict: "unclear", next: "teacher", hearing };
  }
  return { verdict, next: "go_on", hearing };
}

/**
 * A wrong number that may be part of the right one is asked about before it is marked.
 * @param {Verdict} verdict
 * @param {Hearing[]} hearings
 * @param {Hearing} hearing
 * @param {number} answer
 * @param {Policy} policy
 * @returns {Verdict}
 */
function doubted(verdict, hearings, hearing, answer, policy) {
  const once = hearings.filter((one) => one.candidates.length).length === 1;
  const waits = verdict === "wrong" && (once || policy.part_waits);
  return waits && overlapping(hearing.candidates[0].value, answer) ? "unclear" : verdict;
}

/**
 * Whether some attempt in which a number was heard rules out `value`.
 * @param {Hearing[]} hearings
 * @param {number} value
 */
function changed(hearings, value) {
  return hearings.some(({ candidates }) =>
    candidates.length && candidates.every((one) => one.value !== value));
}
