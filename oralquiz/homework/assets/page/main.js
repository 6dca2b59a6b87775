// The page that goes home with a pupil: reads its sums aloud, hears the answers, saves what came of them.

/** @import { Clips } from "./clips.js" */
/** @import { Judged, RoundEvent } from "../hearing/events.js" */
/** @import { ToPage } from "../hearing/messages.js" */

import { bufferOf, readClips } from "./clips.js";
import { bytesOf, data } from "./data.js";
import { all, button, byId, reason, setText, showTrouble } from "./dom.js";
import { Ears } from "./ears.js";
import { Keypad } from "./keypad.js";
import { saveFile } from "./save.js";
import { phraseAfter, showPhrase, showPlace } from "./show.js";
import { Sound } from "./sound.js";
import { showWalk } from "./walk.js";

const { words } = data;
const ready = button("ready");

/** @type {Clips | null} */
let clips = null;
let hears = false; // the decoder answered its test
/** @type {Map<number, Judged>} the verdict that counts, by turn */
const verdicts = new Map();
let turn = -1;
/** @type {number | null} */
let heard = null;
let over = false;
/** @type {number | undefined} */
let lampTimer = undefined;

const ears = new Ears(take);
const sound = new Sound({
  onPacket: (packet) => ears.tell({ t: "packet", packet, delay: sound.delay }),
  onDelay: () => {},
  worklet: `data:text/javascript;base64,${btoa(String.fromCharCode(...bytesOf("worklet")))}`,
});
const keypad = new Keypad((value) => ears.tell({ t: "command", name: "typed", value }));

/** @param {string} text */
function problem(text) {
  showTrouble(byId("problem"), text);
}

// --- before the round ---

async function prepare() {
  try {
    clips = await readClips();
    hears = await ears.start(clips);
    if (!hears) problem(words.no_hearing);
    ready.disabled = false;
    setText(byId("waiting"), "");
  } catch (error) {
    problem(`${words.broken} (${reason(error)})`);
  }
}

ready.addEventListener("click", async () => {
  ready.disabled = true;
  try {
    await openSound();
  } catch (error) {
    ready.disabled = false;
    problem(`${words.no_sound} (${reason(error)})`);
    return;
  }
  begin();
});

// With the microphone where there is one: without it, answers are tapped.
async function openSound() {
  await sound.open(false);
  if (!hears) return;
  try {
    await sound.open(true);
  } catch {
    problem(words.no_microphone);
  }
}

function begin() {
  if (clips === null) return;
  const head = {
    ...data.head, id: crypto.randomUUID().replaceAll("-", ""), created: new Date().toISOString(),
  };
  const keeps = head.round.turns.every(({ consent }) => consent);
  const { sums, phrase } = clips, { options, highest } = data;
  ears.tell({ t: "begin", head, options, highest, hears: sound.mic, keeps, sums, phrase });
  byId("stage").classList.add("answering");
  byId("gate").hidden = true;
  for (const part of all("#show, #tools")) part.hidden = false;
  keypad.show(true, true);
  sound.start(0);
}

// --- the round ---

/** @param {ToPage} message */
function take(message) {
  if (message.t === "event") happened(message.event);
  else if (message.t === "play") play(message.play, message.sum, message.at);
  else if (message.t === "hush") sound.hush();
  else if (message.t === "file") finished(message.file);
  else if (message.t === "broken") problem(`${words.broken} (${message.why})`);
}

/**
 * @param {number} number
 * @param {number | null} sum
 * @param {number} at
 */
function play(number, sum, at) {
  if (clips === null) return;
  const samples = sum === null ? clips.phrase : clips.sums[sum].samples;
  const buffer = bufferOf(sound.graph.context, samples);
  if (!sound.play(buffer, at, sum === null)) ears.tell({ t: "late", play: number });
}

/** @param {RoundEvent} event */
function happened(event) {
  if (event.type === "sum_begun") {
    turn = event.turn;
    heard = null;
    verdicts.delete(turn);
    keypad.rub();
    showPlace(turn);
  } else if (event.type === "judged") {
    verdicts.set(event.turn, event);
    heard = event.value;
  } else if (event.type === "dictated") lightWhenOver(event.terms[event.terms.length - 1].offset);
  const shown = phraseAfter(event, heard);
  if (shown !== null) showPhrase(...shown);
  if (shown !== null && event.type !== "dictated") clearTimeout(lampTimer);
  showTools(event);
  document.body.dataset.event = event.type;
}

/** @param {number} offset of the last term */
function lightWhenOver(offset) {
  clearTimeout(lampTimer);
  lampTimer = setTimeout(() => showPhrase("speak"), Math.max(0, 1000 * sound.until(offset)));
}

/** @param {RoundEvent} event */
function showTools(event) {
  const paused = event.type === "commanded" && event.name === "pause";
  for (const one of all("[data-command]", HTMLButtonElement)) {
    one.hidden = (one.dataset.command === "resume") !== paused;
  }
}

for (const one of all("[data-command]", HTMLButtonElement)) {
  one.addEventListener("click", () => {
    const name = one.dataset.command;
    if (name === "pause" || name === "resume" || name === "repeat" || name === "skip" || name === "stop") {
      ears.tell({ t: "command", name });
    }
  });
}

// --- after the round ---

/** @param {Blob} file */
async function finished(file) {
  over = true;
  byId("stage").classList.remove("answering");
  sound.stop();
  sound.closeMicrophone();
  clearTimeout(lampTimer);
  keypad.show(false, false);
  byId("tools").hidden = true;
  const turns = data.head.round.turns.map((_, n) => ({ turn: n, judged: verdicts.get(n) ?? null }));
  const right = turns.filter(({ judged }) => judged?.verdict === "right").length;
  showPhrase("over");
  const count = String(turns.length);
  setText(byId("more"), words.right_of.replace("{right}", String(right)).replace("{all}", count));
  byId("over").hidden = false;
  saveFile(file, button("save"));
  button("save").focus();
  await showWalk(turns.filter((one) => one.turn <= turn));
}

addEventListener("beforeunload", (event) => {
  if (turn >= 0 && !(over && button("save").dataset.saved)) event.preventDefault();
});

prepare();
