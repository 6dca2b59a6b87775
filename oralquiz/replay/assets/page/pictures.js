// The pictures of the player by what they show: before, moving, after, would.

/** @import { Picture } from "./picture.js" */

import { player } from "./data.js";
import { newPicture } from "./picture.js";

/** @type {Map<string, Picture>} */
const pictures = new Map();

export function renewPictures() {
  for (const holder of /** @type {Iterable<HTMLElement>} */ (player.querySelectorAll(".pictured"))) {
    const which = holder.dataset.shows;
    if (which) pictures.set(which, newPicture(holder));
  }
}

/** @param {string} which */
export function pictureOf(which) {
  const found = pictures.get(which);
  if (found === undefined) throw new Error(`there is no picture ${which}`);
  return found;
}
