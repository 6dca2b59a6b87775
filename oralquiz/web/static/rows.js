// The table of a round that is being held, one row for each pupil; the list of its answers; who asks.

/** @import { Answer, Asking, Row, Verdict } from "./protocol.js" */
/** @import { TeacherWords, Verdicts } from "./words.js" */

import { setText } from "./dom.js";

const CELLS = ["sum", "chain", "heard", "verdict", "after", "counts"];

export function newRow() {
  const item = document.createElement("tr");
  const name = document.createElement("th");
  name.scope = "row";
  item.append(name, ...CELLS.map((kind) => {
    const cell = document.createElement("td");
    cell.className = kind;
    return cell;
  }));
  return item;
}

/**
 * @param {HTMLElement} item as `newRow` made it
 * @param {Row} row
 * @param {TeacherWords} words
 * @param {string} way
 */
export function drawRow(item, row, words, way) {
  const [name, sum, chain, heard, verdict, after, counts] = cellsOf(item);
  setText(name, row.online || way === "front" ? row.pupil : `${row.pupil} (gone)`);
  name.className = row.online ? "" : "gone";
  setText(sum, row.turn < 0 ? "–" : `${row.turn + 1} of ${row.of}`);
  drawChain(chain, row);
  setText(heard, row.value !== null ? String(row.value) : row.heard && `“${row.heard}”`);
  verdict.className = `verdict ${row.verdict}`;
  const its = row.verdict && words.verdicts[row.verdict];
  setText(verdict, its ? `${its.sign} ${its.word}` : words.phase[row.phase]);
  setText(after, row.latency_s === null ? "" : `${row.latency_s.toFixed(2)} s`);
  setText(counts, countsOf(row, words.verdicts));
}

/**
 * @typedef {[HTMLElement, HTMLElement, HTMLElement, HTMLElement, HTMLElement, HTMLElement, HTMLElement]} Cells
 * @param {HTMLElement} item as `newRow` made it
 */
function cellsOf(item) {
  return /** @type {Cells} */ (/** @type {unknown} */ ([...item.children]));
}

/**
 * @param {Row} row
 * @param {Verdicts} verdicts
 */
function countsOf(row, verdicts) {
  const counts = /** @type {[Verdict, number][]} */ (Object.entries(row.counts));
  const some = counts.filter(([, n]) => n);
  return some.map(([verdict, n]) => `${verdicts[verdict].sign} ${n}`).join("  ");
}

/**
 * @param {HTMLElement} cell
 * @param {Row} row
 */
function drawChain(cell, row) {
  const state = `${row.turn} ${row.term} ${row.phase}`;
  if (cell.dataset.state === state) return;
  cell.dataset.state = state;
  const over = ["speak", "again", "done", "over"].includes(row.phase);
  cell.replaceChildren(...row.terms.flatMap((term, k) => {
    const part = document.createElement("span");
    const sign = term < 0 ? "− " : k ? "+ " : "";
    part.textContent = `${sign}${Math.abs(term)}`;
    part.className = over || k < row.term ? "said" : k === row.term ? "saying" : "unsaid";
    return [part, " "];
  }));
  if (row.phase === "done" || row.phase === "over") cell.append(`= ${row.right_value ?? ""}`);
}

/** @param {(answer: Answer) => void} onCorrect */
export function newAnswer(onCorrect) {
  /** @param {Answer} answer */
  return (answer) => {
    const item = document.createElement("li");
    const button = document.createElement("button");
    button.type = "button";
    button.className = "plain";
    button.textContent = "Change the verdict";
    button.addEventListener("click", () => onCorrect(answer));
    item.append(document.createElement("span"), button);
    return item;
  };
}

/**
 * @param {HTMLElement} item as `newAnswer` made it
 * @param {Answer} answer
 * @param {Verdicts} verdicts
 */
export function drawAnswer(item, answer, verdicts) {
  const [what, button] = item.children;
  if (!what || !button) return;
  setText(what, `${verdicts[answer.verdict].sign} ${sumOf(answer)}, ${outcome(answer, verdicts)}`);
  button.setAttribute("aria-label", `Change the verdict: ${answer.pupil}, ${answer.sum}`);
}

/** @param {Answer} answer */
export function sumOf(answer) {
  return `${answer.pupil}: ${answer.sum} = ${answer.right_value}`;
}

/**
 * The number, else the words; where the teacher has corrected it the verdict comes first.
 * @param {Answer} answer
 * @param {Verdicts} verdicts
 */
export function outcome(answer, verdicts) {
  const number = answer.value === null ? "" : String(answer.value);
  if (answer.corrected) {
    const heard = number && answer.verdict !== "right" ? `, heard ${number}` : "";
    return `${verdicts[answer.verdict].word}, corrected by you${heard}`;
  }
  const said = number || (answer.words && `“${answer.words}”`);
  return said ? `${answer.typed ? "typed" : "heard"} ${said}` : "nothing heard";
}

/** @param {(asking: string, yes: boolean) => void} answer */
export const newAsker = (answer) => () => {
  const item = document.createElement("li");
  item.append(document.createElement("span"), ...["Yes", "No"].map((word) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "plain";
    button.textContent = word;
    button.addEventListener("click", () => answer(item.dataset.asking ?? "", word === "Yes"));
    return button;
  }));
  return item;
};

/**
 * @param {HTMLElement} item as `newAsker` made it
 * @param {Asking} one
 */
export function drawAsker(item, { pupil, asking }) {
  const [name, yes, no] = [...item.children];
  item.dataset.asking = asking;
  setText(name, `${pupil} `);
  yes.setAttribute("aria-label", `Let ${pupil} see earlier rounds`);
  no.setAttribute("aria-label", `Do not let ${pupil} see earlier rounds`);
}
