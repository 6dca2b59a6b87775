// One moment of a sum: the drawing is a function of the time, so that it cannot drift from the sound.

/** @import { Step } from "./data.js" */

import { buttonById, byId, data, find, inputById, player } from "./data.js";
import { markTerm } from "./chain.js";
import { showMaybe } from "./maybe.js";
import { drawValue, namePicture } from "./picture.js";
import { pictureOf } from "./pictures.js";
import { inOrder, state, stepsNow, sumNow, trackNow } from "./state.js";
import { cardAt, fractionsAt, termNow } from "./timing.js";
import { moveHead } from "./waves.js";

/** @param {number} time */
export function show(time) {
  state.time = time;
  const card = cardAt(time);
  if (card !== state.card) showCard(card);
  const step = stepsNow()[card - 1];
  if (step) {
    const { gestures } = inOrder(step);
    drawValue(pictureOf("moving"), step.before, gestures, fractionsAt(card, time), true);
  }
  moveHead(time);
  showCaption(time);
  player.dataset.time = String(time);
}

/** @param {number} time */
function showCaption(time) {
  const { cues, pieces } = trackNow();
  const cue = cues.find(([from, to]) => from <= time && time < to);
  const who = cue && data.words.who[cue[2]];
  find(".caption .who").textContent = who ? `${who}:` : "";
  find(".caption .what").textContent = cue ? cue[3] : pieces.length ? "" : data.words.no_sound;
}

/** @param {number} card */
function showCard(card) {
  state.card = card;
  const step = stepsNow()[card - 1] ?? null;
  const words = wordsOf(card, step);
  showWords(card, words);
  if (step) showMove(step, words[2]);
  else showRest(card);
  markTerm(termNow());
  showMaybe(card);
  buttonById("previous").disabled = card === 0;
  buttonById("next").disabled = card === stepsNow().length + 1;
  const value = step ? step.after : valueAt(card);
  Object.assign(player.dataset, { sum: state.sum, card, value });
}

/**
 * Where, why and how of a card.
 * @param {number} card
 * @param {Step | null} step
 */
function wordsOf(card, step) {
  const { words } = data, { form } = state;
  if (step) return [step.where[form], ...inOrder(step).words[form]];
  if (card === 0) return [words.start_where, words.start[form], ""];
  return [words.end_where, sumNow().end[form], sumNow().result];
}

/**
 * @param {number} card
 * @param {string[]} words
 */
function showWords(card, words) {
  [".where", ".why", ".do"].forEach((name, n) => {
    find(`.words ${name}`).textContent = words[n];
  });
  const count = stepsNow().length;
  find(".words .count").textContent = card > 0 && card <= count
    ? data.words.step_of.replace("{n}", String(card)).replace("{count}", String(count)) : "";
  inputById("place").setAttribute("aria-valuetext", `${words[0]}: ${words[1]}`);
  if (!state.playing) byId("status").textContent = words.join(". ");
}

/**
 * A move: before it, in it, after it.
 * @param {Step} step
 * @param {string} how
 */
function showMove(step, how) {
  showFigures({ before: true, after: true });
  for (const [which, value] of /** @type {const} */ ([["before", step.before], ["after", step.after]])) {
    drawValue(pictureOf(which), value);
    namePicture(pictureOf(which), value);
    writeValue(which, value);
  }
  drawValue(pictureOf("moving"), step.before);
  namePicture(pictureOf("moving"), step.before, how);
  writeValue("moving", "");
  find('[data-title="after"]').textContent = data.words.after;
}

/**
 * The start or the answer, beside which stands what was heard.
 * @param {number} card
 */
function showRest(card) {
  const value = valueAt(card);
  const said = card > 0 ? sumNow().said : null;
  showFigures({ before: false, after: said !== null });
  for (const which of ["before", "moving"]) namePicture(pictureOf(which), value);
  drawValue(pictureOf("moving"), value);
  drawValue(pictureOf("after"), said ?? value);
  namePicture(pictureOf("after"), said ?? value);
  writeValue("moving", value);
  writeValue("after", "");
  find('[data-title="after"]').textContent = sumNow().heard;
}

/** @param {number} card */
function valueAt(card) {
  return card === 0 ? 0 : sumNow().answer;
}

/** @param {{ before: boolean, after: boolean }} shown */
function showFigures({ before, after }) {
  figureOf("before").hidden = !before;
  figureOf("after").hidden = !after;
  find(".stage").classList.toggle("alone", !before && !after);
}

/** @param {string} which */
function figureOf(which) {
  return /** @type {HTMLElement} */ (find(`[data-shows="${which}"]`).parentElement);
}

/**
 * @param {string} which
 * @param {number | string} value
 */
function writeValue(which, value) {
  find(`[data-value="${which}"]`).textContent = String(value);
}
