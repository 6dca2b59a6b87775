// What may have gone wrong, each slip on the move where it would have happened.

import { data, find, player } from "./data.js";
import { element, itemWithButton, markCurrent } from "./elements.js";
import { drawValue, namePicture } from "./picture.js";
import { pictureOf } from "./pictures.js";
import { state, sumNow } from "./state.js";

/** @param {(card: number) => void} onCard */
export function writeMaybe(onCard) {
  const { maybe, unknown, heard } = sumNow();
  const list = element("ul");
  if (unknown) list.append(element("li", "", unknown));
  for (const slip of maybe) {
    const item = itemWithButton([slip.text[state.form]], () => onCard(slip.steps[0]));
    item.append(" ", element("span", "odds", slip.odds));
    list.append(item);
  }
  const holder = element("div", "pictured");
  holder.dataset.shows = "would";
  const caption = element("figcaption", "", `${data.words.would} `);
  caption.append(element("b"));
  const figure = element("figure");
  figure.append(holder, caption);
  find(".maybe").replaceChildren(element("h3", "", `${data.words.maybe} (${heard})`), figure, list);
}

/** @param {number} card */
export function showMaybe(card) {
  const box = find(".maybe");
  const { maybe, unknown } = sumNow();
  box.hidden = !maybe.length && !unknown;
  player.classList.toggle("unquestioned", box.hidden);
  if (box.hidden) return;
  /** @param {number} n */
  const isHere = (n) => maybe[n]?.steps.includes(card) ?? false;
  markCurrent(box.querySelectorAll("li"), isHere, "true");
  showSlip(maybe.find((_, n) => isHere(n))?.shows ?? null);
}

/** @param {number | null} shows */
function showSlip(shows) {
  find(".maybe figure").hidden = shows === null;
  if (shows === null) return;
  drawValue(pictureOf("would"), shows);
  namePicture(pictureOf("would"), shows);
  find(".maybe figure b").textContent = String(shows);
}
