// What is pressed, swiped and typed.

import { byId, find, inputById } from "./data.js";
import { go, pause, playOrPause, setSpeed, step, toEnd, toTerm } from "./playing.js";
import { state, sumNow, trackNow } from "./state.js";
import { again, switchTrack } from "./sums.js";
import { termNow } from "./timing.js";

const SWIPE = 40; // px that are meant

/**
 * @param {string} id
 * @param {() => void} act
 */
function onPress(id, act) {
  byId(id).addEventListener("click", act);
}

/**
 * @param {string} id of a box that a page may lack
 * @param {(on: boolean) => void} act
 */
function onCheck(id, act) {
  const box = document.getElementById(id);
  box?.addEventListener("change", () => act(inputById(id).checked));
}

onPress("previous", () => step(-1));
onPress("next", () => step(1));
onPress("play", playOrPause);
onCheck("mirror", again);
onCheck("explained", switchTrack);
onCheck("ones-first", (on) => {
  state.order = Number(on);
  again();
});
onCheck("beads", (on) => {
  state.form = on ? "frame" : "hands";
  again();
});
byId("speed").addEventListener("change", (event) => {
  if (event.target instanceof HTMLInputElement) setSpeed(Number(event.target.value));
});
byId("place").addEventListener("input", () => {
  const time = Number(inputById("place").value); // pausing puts it elsewhere
  pause();
  go(time);
});
find(".waves").addEventListener("click", (event) => {
  const box = find(".waves").getBoundingClientRect();
  go((trackNow().duration * (event.clientX - box.left)) / box.width);
});

// --- on paper: the step sheet is what a browser without scripts shows ---

function fillSheet() {
  const sheet = byId("sheet");
  const kept = sheet.querySelector("noscript");
  if (kept) sheet.innerHTML = kept.textContent;
}

onPress("print", () => {
  fillSheet();
  window.print();
});
window.addEventListener("beforeprint", fillSheet);

// --- swipes ---

/** @type {PointerEvent | null} */
let touch = null;
find(".stage").addEventListener("pointerdown", (event) => {
  touch = event;
});
find(".stage").addEventListener("pointerup", (event) => {
  if (!touch) return;
  const [dx, dy] = [event.clientX - touch.clientX, event.clientY - touch.clientY];
  touch = null;
  if (Math.abs(dx) > SWIPE && Math.abs(dx) > 2 * Math.abs(dy)) step(dx < 0 ? 1 : -1);
});

// --- keys ---

/** @type {Record<string, () => void>} */
const KEYS = {
  ArrowRight: () => step(1),
  ArrowLeft: () => step(-1),
  ArrowDown: () => toTerm(Math.min(sumNow().terms.length, termNow() + 1)),
  ArrowUp: () => {
    if (termNow() > 0) toTerm(termNow() - 1);
    else go(0);
  },
  Home: () => go(0),
  End: toEnd,
  " ": playOrPause,
};

/**
 * Whether a part of the page has its own use for a key.
 * @param {EventTarget | null} target
 * @param {string} key
 */
function isTaken(target, key) {
  const type = target && "type" in target ? String(target.type) : "";
  if (key === " ") return /^(button|submit|radio|checkbox)$/.test(type);
  return type === "radio" && key.startsWith("Arrow");
}

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || isTaken(event.target, event.key)) return;
  const act = KEYS[event.key];
  if (!act) return;
  event.preventDefault();
  if (event.key !== " ") pause();
  act();
});
