// Moving about in a sum: playing it, going to a moment, a move at a time.

import { buttonById, data, player } from "./data.js";
import { show } from "./moment.js";
import { calm, inOrder, state, stepsNow, trackNow } from "./state.js";
import { timeOf } from "./timing.js";

const GESTURE_MS = 450; // one gesture, when a step is taken by hand

/** @type {HTMLAudioElement & { webkitPreservesPitch?: boolean }} */
const audio = new Audio();
audio.preservesPitch = true; // slow motion, same voice
audio.webkitPreservesPitch = true;
let animation = 0; // running number; a new one stops the old
/** @type {{ from: number, at: number } | null} where there is no sound */
let clock = null;

/** @param {number} time */
function startClock(time) {
  clock = { from: time, at: performance.now() };
}

/** @param {string} source empty: there is no sound */
export function setSound(source) {
  if (source) {
    audio.src = source;
    audio.load();
  } else audio.removeAttribute("src");
}

/** @param {number} speed 1: as it was */
export function setSpeed(speed) {
  if (clock) startClock(state.time);
  state.speed = speed;
  audio.playbackRate = speed;
}

/**
 * The sound and the drawing go to the same moment.
 * @param {number} time
 */
function seek(time) {
  const within = Math.min(Math.max(0, time), trackNow().duration);
  animation += 1;
  if (audio.src) audio.currentTime = within;
  if (clock) startClock(within);
  return within;
}

/** @param {number} time */
export function go(time) {
  show(seek(time));
}

/** @param {number} by cards */
export function step(by) {
  pause();
  stepTo(state.card + by, by < 0 || calm.matches);
}

/**
 * @param {number} wanted
 * @param {boolean} atOnce without its gestures
 */
export function stepTo(wanted, atOnce = calm.matches) {
  pause();
  const card = Math.min(stepsNow().length + 1, Math.max(0, wanted));
  const to = seek(timeOf(card));
  if (atOnce || card === 0 || card > stepsNow().length) show(to);
  else animate(card, to);
}

/**
 * @param {number} card
 * @param {number} to
 */
function animate(card, to) {
  const mine = animation;
  const from = trackNow().beats[card - 1][1];
  const lasts = (GESTURE_MS * inOrder(stepsNow()[card - 1]).gestures.length) / state.speed;
  const began = performance.now();
  /** @param {number} at */
  const frame = (at) => {
    if (mine !== animation) return;
    const passed = Math.min(1, Math.max(0, (at - began) / lasts));
    show(passed < 1 ? from + (to - from) * passed : to);
    if (passed < 1) requestAnimationFrame(frame);
  };
  show(from);
  requestAnimationFrame(frame);
}

/** @param {number} n its place in the sum; behind the last term: the answer */
export function toTerm(n) {
  pause();
  const first = stepsNow().findIndex((one) => one.term === n);
  go(first < 0 ? trackNow().answer : trackNow().beats[first][0]);
}

export function toEnd() {
  go(timeOf(stepsNow().length + 1));
}

export function playOrPause() {
  if (state.playing) pause();
  else play();
}

function play() {
  if (state.time >= trackNow().duration - 0.05) go(0);
  animation += 1;
  state.playing = true;
  player.dataset.playing = "true";
  showButton(data.words.pause);
  if (audio.src) {
    audio.playbackRate = state.speed;
    audio.currentTime = state.time;
    audio.play().catch(pause);
  } else startClock(state.time);
  requestAnimationFrame(follow);
}

function now() {
  if (clock === null) return audio.currentTime;
  return clock.from + ((performance.now() - clock.at) / 1000) * state.speed;
}

function follow() {
  if (!state.playing) return;
  const { duration } = trackNow();
  const time = now();
  show(Math.min(time, duration));
  if (time >= duration || (audio.src && audio.ended)) pause();
  else requestAnimationFrame(follow);
}

export function pause() {
  if (!state.playing) return;
  state.playing = false;
  clock = null;
  audio.pause();
  delete player.dataset.playing;
  showButton(data.words.play);
  if (audio.src) show(audio.currentTime);
}

/** @param {string} does */
function showButton(does) {
  buttonById("play").setAttribute("aria-label", does);
  buttonById("play").classList.toggle("on", state.playing);
}

audio.addEventListener("error", () => { // this browser cannot play it: the moves still can
  if (!audio.src) return;
  audio.removeAttribute("src");
  if (!state.playing) return;
  pause();
  play();
});
