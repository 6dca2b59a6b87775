// After some minutes of practice a break is suggested. Looking at a replay does not count as one.

import { button, byId } from "./dom.js";

const card = byId("rest");
const stage = byId("stage");
let practised = Number(sessionStorage.getItem("practised") ?? 0); // ms since the last break

/** @param {number} more ms of a practice round that has ended */
export function practisedFor(more) {
  practised += more;
  propose();
}

export function resting() {
  return !card.hidden;
}

/** @param {() => void} then */
export function whenRested(then) {
  button("rested").addEventListener("click", () => {
    practised = 0;
    propose();
    then();
  });
}

export function propose() {
  sessionStorage.setItem("practised", String(practised));
  card.hidden = practised <= Number(stage.dataset.break) * 60_000;
}
