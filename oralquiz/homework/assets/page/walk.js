// The slow walk through what went wrong: the replay's own page, in a frame, with the sums of this round.

/** @import { Judged } from "../hearing/events.js" */

import { byId } from "./dom.js";
import { data, textOf } from "./data.js";

/** @typedef {{ turn: number, judged: Judged | null }} Outcome of a sum; null: it has no verdict */

/**
 * Show what was not right; false when everything was.
 * @param {Outcome[]} outcomes
 */
export async function showWalk(outcomes) {
  const wrong = outcomes.filter(({ judged }) => judged?.verdict !== "right");
  if (!wrong.length) return false;
  const [head, shown, tail] = JSON.parse(await textOf("walk-page")); // the page around its data
  shown.sums = wrong.map(({ turn, judged }) => ({ ...shown.sums[turn], ...wordsOf(judged) }));
  const json = JSON.stringify(shown).replaceAll("<", "\\u003c");
  const frame = byId("walk-frame", HTMLIFrameElement);
  frame.addEventListener("load", () => fit(frame));
  frame.srcdoc = `${head}${json}${tail}`;
  byId("walk").hidden = false;
  return true;
}

/** @param {HTMLIFrameElement} frame */
function fit(frame) {
  const inner = frame.contentDocument?.documentElement;
  if (!inner) return;
  const size = () => {
    frame.style.height = `${inner.scrollHeight}px`;
  };
  new ResizeObserver(size).observe(inner);
  size();
}

/**
 * @param {Judged | null} judged
 */
function wordsOf(judged) {
  const { words } = data, verdict = judged?.verdict ?? "none", value = judged?.value ?? null;
  const heard = value === null ? words.heard_nothing
    : (judged?.typed ? words.typed : words.heard).replace("{value}", String(value));
  const wrong = verdict === "wrong" && value !== null && value <= data.highest;
  return {
    glyph: words.signs[verdict], verdict: words.verdicts[verdict], right: false, heard,
    said: wrong ? value : null, detail: words.verdicts[verdict],
  };
}
