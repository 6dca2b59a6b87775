// The recording as it is drawn: how loud both are, where terms and answers lie, where one is now.

import { find, inputById, player } from "./data.js";
import { element, svg } from "./elements.js";
import { sumNow, trackNow } from "./state.js";

const WIDTH = 1000, TEACHER = 25, PUPIL = 75; // of the drawing, and the middle of each lane

/** @param {number} time */
function across(time) {
  return (WIDTH * time) / trackNow().duration;
}

export function writeWaves() {
  const { terms, answers, outlines, beats } = trackNow();
  const spans = [
    ...terms.map(([onset, offset]) => spanAt(onset, offset, 3, "span")),
    ...answers.map(([onset, offset]) => spanAt(onset, offset, 53, "span heard")),
  ];
  const labels = [
    ...terms.map(([onset, offset], n) => labelAt(sumNow().terms[n], (onset + offset) / 2)),
    ...answers.map(([onset, offset, text]) => labelAt(text, (onset + offset) / 2)),
  ];
  const marks = beats.map(([, start, end]) => svg("rect", {
    x: across(start), y: 48.5, width: across(end - start), height: 3, class: "beat",
  }));
  const heads = ["head-edge", "head"].map((name) => svg("line", {
    x1: 0, y1: 0, x2: 0, y2: 100, class: name,
  }));
  find(".labels").replaceChildren(...labels);
  find(".waves").replaceChildren(...spans, ...outlines.map(outlineOf), ...marks, ...heads);
}

/**
 * @param {string} text
 * @param {number} time
 */
function labelAt(text, time) {
  const node = element("span", "", text);
  node.style.left = `${Math.min(97, Math.max(3, across(time) / 10))}%`;
  return node;
}

/**
 * @param {number} onset
 * @param {number} offset
 * @param {number} top
 * @param {string} className
 */
function spanAt(onset, offset, top, className) {
  return svg("rect", {
    x: across(onset), y: top, width: across(offset - onset), height: 44, rx: 4, class: className,
  });
}

/**
 * @param {number[]} loud 0 to 100
 * @param {number} lane 0: the teacher's
 */
function outlineOf(loud, lane) {
  const middle = lane ? PUPIL : TEACHER;
  /** @param {number} way */
  const edge = (way) => loud.map((value, n) => {
    const x = (n * WIDTH) / loud.length, y = middle + (way * value) / 5;
    return `${x.toFixed(1)},${y.toFixed(1)}`;
  });
  return svg("polygon", {
    points: [...edge(-1), ...edge(1).reverse()].join(" "), class: lane ? "pupil" : "teacher",
  });
}

/** @param {number} time */
export function moveHead(time) {
  for (const line of player.querySelectorAll(".head, .head-edge")) {
    line.setAttribute("transform", `translate(${across(time).toFixed(2)} 0)`);
  }
  inputById("place").value = String(time);
}
