// captions.vtt: what is said and heard, as WebVTT cues (session/webvtt.py).

/** @import { Entry } from "./events.js" */

import { RATE } from "./rounding.js";

/** @typedef {{ who: string, text: string, onset: number, offset: number }} Cue */

/**
 * @param {Entry[]} entries
 */
export function captions(entries) {
  const lines = ["WEBVTT", ""];
  for (const { who, text, onset, offset } of cuesOf(entries)) {
    const end = Math.max(offset, onset + RATE / 1000);
    lines.push(`${timestamp(onset)} --> ${timestamp(end)}`, `<v ${who}>${escaped(text)}`, "");
  }
  return lines.join("\n");
}

/**
 * @param {Entry[]} entries
 * @returns {Cue[]}
 */
function cuesOf(entries) {
  return entries.flatMap(({ event }) => {
    if (event.type === "dictated") return event.terms.map((term) => ({ who: "teacher", ...term }));
    if (event.type !== "heard" || event.onset === null || event.offset === null) return [];
    const words = event.words.replace(/(?:[[<][\p{L}\p{N}_]+[\]>]\s*)+/gu, "… ").trim() || "(not clear)";
    return [{ who: "pupil", text: words, onset: event.onset, offset: event.offset }];
  });
}

/** @param {number} sample */
function timestamp(sample) {
  const ms = Math.floor((sample * 1000 + RATE / 2) / RATE);
  const parts = [Math.floor(ms / 3_600_000), Math.floor(ms / 60_000) % 60, Math.floor(ms / 1000) % 60];
  const clock = parts.map((part) => String(part).padStart(2, "0")).join(":");
  return `${clock}.${String(ms % 1000).padStart(3, "0")}`;
}

/** @param {string} text */
function escaped(text) {
  return text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
}
