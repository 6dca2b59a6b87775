// A stone for each term of a sum: still to come, sounding, said.

import { byId } from "./dom.js";

const stones = byId("stones");

/**
 * @typedef {"" | "saying" | "said"} Stone
 * @param {readonly Stone[]} states
 */
export function drawStones(states) {
  if (stones.children.length !== states.length) {
    stones.replaceChildren(...states.map(() => document.createElement("i")));
  }
  states.forEach((state, k) => {
    const stone = stones.children[k];
    if (stone && stone.className !== state) stone.className = state;
  });
}
