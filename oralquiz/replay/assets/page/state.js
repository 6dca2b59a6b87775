// What is shown: which sum, which track of it, where on it, and how.

/** @import { Step } from "./data.js" */

import { data } from "./data.js";

export const calm = window.matchMedia("(prefers-reduced-motion: reduce)");

export const state = {
  sum: 0,
  /** @type {"round" | "explained"} */
  track: "round",
  time: 0, // seconds
  playing: false,
  speed: 1,
  form: data.form,
  order: data.order,
  card: -1, // 0: the start, n: the n-th move, the last: the answer; -1: to be shown anew
};

export function sumNow() {
  return data.sums[state.sum];
}

export function trackNow() {
  const { tracks } = sumNow();
  return tracks[state.track] ?? tracks.round;
}

export function stepsNow() {
  return sumNow().steps;
}

/**
 * The move in the order of gestures that was chosen.
 * @param {Step} step
 */
export function inOrder(step) {
  return step.orders[state.order] ?? step.orders[0];
}
