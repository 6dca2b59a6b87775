// The hands or the frame: each part stands where the value and the gestures have it.

/** @import { Gesture } from "./data.js" */

import { byId, data } from "./data.js";
import { state } from "./state.js";

/**
 * @typedef {{ column: number, bead: string | undefined, n: number }} Place
 * @typedef {Place & { node: Element, dx: number, dy: number }} Part a finger, thumb or bead
 * @typedef {Place & { node: Element, way: string | undefined, badge: Element | null }} Hint
 * @typedef {{ drawing: Element, parts: Part[], hints: Hint[], digits: Element[] }} Picture
 */

/**
 * A fresh drawing in `holder`, in the form that is chosen.
 * @param {HTMLElement} holder
 * @returns {Picture}
 */
export function newPicture(holder) {
  const template = /** @type {HTMLTemplateElement} */ (byId(`live-${state.form}`));
  holder.replaceChildren(template.content.cloneNode(true));
  return {
    drawing: /** @type {Element} */ (holder.querySelector("svg")),
    parts: partsIn(holder, ".part").map((node) => {
      const [dx, dy] = (node.dataset.away ?? "").split(" ").map(Number);
      return { node, dx, dy, ...placeOf(node) };
    }),
    hints: partsIn(holder, ".ghost, .mark").map((node) => ({
      node, way: node.dataset.way, badge: node.querySelector(".badge"), ...placeOf(node),
    })),
    digits: partsIn(holder, ".digit").reverse(),
  };
}

/**
 * @param {Element} holder
 * @param {string} selector
 */
function partsIn(holder, selector) {
  return /** @type {SVGElement[]} */ ([...holder.querySelectorAll(selector)]);
}

/**
 * @param {SVGElement} node
 * @returns {Place}
 */
function placeOf(node) {
  const { column, bead, n } = node.dataset;
  return { column: Number(column), bead, n: Number(n) };
}

/**
 * @param {number} value
 * @param {number} column
 */
function digitAt(value, column) {
  return Math.floor(value / 10 ** column) % 10;
}

/**
 * Whether a gesture moves what is at `place`, when its column shows that many ones.
 * @param {Place} place
 * @param {Gesture} gesture
 * @param {number} ones
 */
function moves(place, [column, bead, count], ones) {
  if (place.column !== column || place.bead !== bead) return false;
  if (bead === "five") return true;
  return place.n >= Math.min(ones, ones + count) && place.n < Math.max(ones, ones + count);
}

/**
 * A part's place between away (0) and counting (1), when the frame shows value and its gestures
 * have come this far.
 * @param {Part} part
 * @param {number} value
 * @param {Gesture[]} gestures
 * @param {number[]} come 0 to 1 for each gesture
 */
function standing(part, value, gestures, come) {
  const digit = digitAt(value, part.column);
  const n = gestures.findIndex((gesture) => moves(part, gesture, digit % 5));
  if (n >= 0) return gestures[n][2] > 0 ? come[n] : 1 - come[n];
  return Number(part.bead === "five" ? digit >= 5 : part.n < digit % 5);
}

/**
 * Draw `value` with its gestures come this far; with `hints`, what moves is pointed out.
 * @param {Picture} picture
 * @param {number} value
 * @param {Gesture[]} gestures
 * @param {number[]} come
 * @param {boolean} hints
 */
export function drawValue(picture, value, gestures = [], come = [], hints = false) {
  const digits = picture.digits.map(() => 0);
  for (const part of picture.parts) {
    const here = standing(part, value, gestures, come);
    const ones = digitAt(value, part.column) % 5;
    const [x, y] = [part.dx * (1 - here), part.dy * (1 - here)];
    part.node.setAttribute("transform", `translate(${x.toFixed(2)} ${y.toFixed(2)})`);
    part.node.classList.toggle("counts", here > 0.5);
    part.node.classList.toggle("goes", hints && gestures.some((one) => moves(part, one, ones)));
    if (here > 0.5) digits[part.column] += part.bead === "five" ? 5 : 1;
  }
  picture.digits.forEach((node, column) => {
    const worth = state.form === "hands" ? 10 ** column : 1;
    node.textContent = String(digits[column] * worth);
  });
  for (const hint of picture.hints) drawHint(hint, value, hints ? gestures : []);
}

/**
 * @param {Hint} hint
 * @param {number} value
 * @param {Gesture[]} gestures
 */
function drawHint(hint, value, gestures) {
  const ones = digitAt(value, hint.column) % 5;
  const n = gestures.findIndex((gesture) => moves(hint, gesture, ones));
  const way = n < 0 ? "" : gestures[n][2] > 0 ? "in" : "out";
  hint.node.classList.toggle("shown", n >= 0 && (!hint.way || hint.way === way));
  if (hint.badge) drawBadge(hint, hint.badge, n, gestures, ones);
}

/**
 * Two gestures that go opposite ways are numbered, each at the first part that it moves.
 * @param {Hint} hint
 * @param {Element} badge
 * @param {number} n which gesture moves it; -1: none
 * @param {Gesture[]} gestures
 * @param {number} ones
 */
function drawBadge(hint, badge, n, gestures, ones) {
  const opposite = gestures.length === 2 && gestures[0][2] > 0 !== gestures[1][2] > 0;
  const first = n >= 0 && (hint.bead === "five" || hint.n === Math.min(ones, ones + gestures[n][2]));
  badge.classList.toggle("none", !(opposite && first));
  const number = badge.querySelector("text");
  if (number) number.textContent = String(n + 1);
}

/**
 * Say in words what a picture shows.
 * @param {Picture} picture
 * @param {number} value
 * @param {string} more
 */
export function namePicture(picture, value, more = "") {
  const shows = data.words.shows[state.form].replace("{value}", String(value));
  picture.drawing.setAttribute("aria-label", `${shows} ${more}`.trim());
}
