// What is large on the page, and the lamp that is lit when it is time to speak.

/** @import { RoundEvent } from "../hearing/events.js" */
/** @import { Phrase } from "./data.js" */

import { byId, setText } from "./dom.js";
import { data } from "./data.js";

const lamp = byId("lamp", SVGElement), say = byId("say"), more = byId("more"), place = byId("place");

/**
 * @param {Phrase} phrase
 * @param {string} [value] what was heard
 */
export function showPhrase(phrase, value = "") {
  const [big, small] = data.words.phrases[phrase];
  setText(say, big.replace("{value}", value));
  setText(more, small);
  lamp.classList.toggle("lit", phrase === "speak" || phrase.startsWith("again"));
}

/** @param {number} turn */
export function showPlace(turn) {
  const of = String(data.head.round.turns.length);
  setText(place, data.words.place.replace("{n}", String(turn + 1)).replace("{of}", of));
}

/**
 * What is shown after an event; null where nothing changes.
 * @param {RoundEvent} event
 * @param {number | null} heard the number that was heard last
 * @returns {[Phrase, string?] | null}
 */
export function phraseAfter(event, heard) {
  if (event.type === "dictated") return ["listen"];
  if (event.type === "asked_again") return heard === null ? ["again_unheard"] : ["again", String(heard)];
  if (event.type === "commanded" && event.name === "pause") return ["paused"];
  if (event.type === "commanded" && event.name === "skip") return ["skipped"];
  if (event.type !== "judged") return null;
  const { verdict, value, typed } = event;
  return [verdict === "wrong" && typed ? "wrong_typed" : verdict, String(value ?? "")];
}
