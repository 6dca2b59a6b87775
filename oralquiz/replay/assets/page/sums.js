// One sum of the page, and which.

/** @import { Track } from "./data.js" */

import { writeChain } from "./chain.js";
import { byId, data, inputById, player } from "./data.js";
import { element, itemWithButton } from "./elements.js";
import { writeMaybe } from "./maybe.js";
import { show } from "./moment.js";
import { renewPictures } from "./pictures.js";
import { go, pause, setSound, stepTo, toTerm } from "./playing.js";
import { state, sumNow, trackNow } from "./state.js";
import { timeOf } from "./timing.js";
import { writeWaves } from "./waves.js";

/** @type {Map<Track, string>} object URLs, made when first asked for */
const sounds = new Map();

/** @param {Track} track */
function soundOf(track) {
  if (!track.pieces.length) return "";
  const made = sounds.get(track) ?? URL.createObjectURL(joined(track.pieces));
  sounds.set(track, made);
  return made;
}

/**
 * An explanation is put together from sentences that come up more than once.
 * @param {string[]} pieces
 */
function joined(pieces) {
  const parts = pieces.map((id) =>
    Uint8Array.from(atob(byId(id).textContent), (letter) => letter.charCodeAt(0)));
  return new Blob(parts, { type: "audio/mpeg" });
}

/** @param {number} which */
export function load(which) {
  pause();
  state.sum = which;
  state.track = isChecked("explained") && sumNow().tracks.explained ? "explained" : "round";
  setSound(soundOf(trackNow()));
  byId("sum-title").textContent = sumNow().title;
  inputById("place").max = String(trackNow().duration);
  document.querySelectorAll(".sums button").forEach((button, n) => {
    button.setAttribute("aria-current", String(n === which));
  });
  writeChain(toTerm);
  writeWaves();
  redraw();
  go(0);
}

/** @param {string} id of a box that a page may lack */
function isChecked(id) {
  const box = document.getElementById(id);
  return box instanceof HTMLInputElement && box.checked;
}

function redraw() {
  writeMaybe(stepTo);
  renewPictures();
  document.body.classList.toggle("mirrored", isChecked("mirror"));
  byId("ones-first-name").textContent = data.words.ones_first[state.form];
  state.card = -1;
}

// The same moment, drawn anew.
export function again() {
  redraw();
  show(state.time);
}

// The same move, heard the other way.
export function switchTrack() {
  const { card } = state;
  load(state.sum);
  go(timeOf(card));
}

export function writeSums() {
  const items = data.sums.map((one, n) => {
    const parts = [
      element("span", "", String(n + 1)), element("span", "glyph", one.glyph),
      element("span", "", one.pupil),
    ];
    const item = itemWithButton(parts, () => load(n));
    item.querySelector("button")?.setAttribute("aria-label", `${one.title}, ${one.verdict}`);
    return item;
  });
  document.querySelector(".sums ol")?.append(...items);
  /** @type {HTMLElement | null} */
  const nav = document.querySelector(".sums");
  if (nav) nav.hidden = data.sums.length < 2;
  player.hidden = false;
}
