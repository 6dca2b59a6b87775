// The dialog in which a teacher listens to an answer again and corrects its verdict.

/** @import { Answer, Correct } from "./protocol.js" */
/** @import { Verdicts } from "./words.js" */

import { all, byId, field, setText } from "./dom.js";
import { outcome, sumOf } from "./rows.js";

const dialog = byId("ear", HTMLDialogElement);
const sound = byId("ear-sound", HTMLAudioElement);
const value = field("ear-value");
let number = 0; // of the answer that is being corrected

/**
 * @param {Answer} answer
 * @param {string} key of the round
 * @param {Verdicts} verdicts
 */
export function openCorrection(answer, key, verdicts) {
  number = answer.number;
  const verdict = answer.corrected ? "" : `${verdicts[answer.verdict].word}, `;
  setText(byId("ear-sum"), `${sumOf(answer)}; ${verdict}${outcome(answer, verdicts)}.`);
  value.value = "";
  sound.hidden = !answer.sound;
  byId("ear-silent").hidden = answer.sound;
  if (answer.sound) {
    sound.src = `/live/${key}/${number}.wav`;
    sound.play().catch(() => {}); // a browser may want a tap first: the controls are there
  }
  if (!dialog.open) dialog.showModal();
}

export function correctionIsOpen() {
  return dialog.open;
}

/** @param {(message: Correct) => void} send */
export function whenCorrected(send) {
  for (const button of all("[data-verdict]")) {
    button.addEventListener("click", () => {
      send(correction(button.dataset.verdict ?? ""));
      dialog.close();
    });
  }
}

/**
 * @param {string} verdict
 * @returns {Correct}
 */
function correction(verdict) {
  const typed = value.value.trim();
  const heard = /^[0-9]{1,9}$/.test(typed) ? { value: Number(typed) } : {};
  return { t: "correct", number, verdict, ...heard };
}

dialog.addEventListener("close", () => sound.pause());
