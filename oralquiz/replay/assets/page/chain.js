// The sum on the board: a button for each term and one for the answer, and the verdict.

import { data, find, player } from "./data.js";
import { element, itemWithButton, markCurrent } from "./elements.js";
import { sumNow } from "./state.js";

/** @param {(n: number) => void} onTerm */
export function writeChain(onTerm) {
  const { terms, totals, answer, glyph, heard, detail } = sumNow();
  const items = terms.map((term, n) => itemWithButton(
    [element("span", "number", term), element("span", "total", `= ${totals[n]}`)], () => onTerm(n),
  ));
  const end = itemWithButton(
    [element("span", "number", `= ${answer}`), element("span", "total", data.words.answer)],
    () => onTerm(terms.length),
  );
  const verdict = element("li", "verdict");
  const said = element("span");
  said.append(element("span", "glyph", `${glyph} `), heard);
  verdict.append(said, element("span", "total", detail));
  find(".chain").replaceChildren(...items, end, verdict);
}

/** @param {number} term */
export function markTerm(term) {
  markCurrent(player.querySelectorAll(".chain button"), (n) => n === term, "step");
}
