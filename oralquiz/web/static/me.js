// The pupil's page: one lamp, few words. The lamp is lit when it is time to speak.

/** @import { CommandName, Reading, Show } from "./protocol.js" */
/** @import { PupilWords } from "./words.js" */

import { practisedFor, propose, resting, whenRested } from "./breaks.js";
import { measured } from "./chirp.js";
import { Device } from "./device.js";
import { all, button, byId, field, nameOf, reason, setText, showTrouble } from "./dom.js";
import { Keypad } from "./keypad.js";
import { NOT_IN } from "./link.js";
import { saying } from "./saying.js";
import { microphone, stretch, volume } from "./settings.js";
import { drawStones } from "./stones.js";
import { words } from "./words.js";

const stage = byId("stage"), say = byId("say"), more = byId("more"), place = byId("place");
const away = byId("away"), look = byId("look", HTMLAnchorElement), lamp = byId("lamp", SVGElement);
const ready = button("ready"), go = button("go"), chirp = button("chirp");
const home = stage.dataset.home === "yes";
const commandButtons = all("[data-command]", HTMLButtonElement);
/** @type {PupilWords} */
const spoken = words();
const NO_MICROPHONE = ["NotAllowedError", "NotFoundError", "NotReadableError"];

/** @type {Show} */
let shown = { t: "show", phase: "waiting" };
/** @type {Reading | null} when the terms of this sum sound */
let reading = null;
let streaming = false;
let gone = false; // another page, or nobody, has this place now
/** @type {CommandName[]} */
let commands = [];
let begun = 0;
let lastSum = -1;
let following = false; // the stones follow the sound
let back = false; // the connection has just come back, and has not said yet how things stand

const device = new Device("/ws/me", {
  onShow: (message) => {
    shown = message;
    draw();
    if (back && asked()) keypad.giveAgain();
    back = false;
  },
  onReading: (message) => {
    // the same one comes again with a connection that was away: what was typed after it stays
    if (reading === null || startOf(message) !== startOf(reading)) keypad.rub();
    reading = message;
    draw();
  },
  onState: (on) => {
    away.hidden = on;
    go.disabled = !on;
  },
  onRefused: (why) => {
    away.hidden = true; // it does not come back by itself
    problem(why === NOT_IN ? "You have left." : why);
    gone = true;
    streaming = false;
    draw();
  },
  onStream: (on) => {
    streaming = on;
    if (on) begun = performance.now();
    else reading = null;
    draw();
  },
  onWelcome: () => {
    back = true;
    tellTime();
    draw();
  },
  onBegin: (message) => {
    commands = message.commands;
    go.disabled = false;
    problem("");
  },
  onMessage: (message) => {
    if (message.t !== "note") return;
    go.disabled = false;
    problem(message.text);
  },
});
const keypad = new Keypad((value) => device.typed(value));

/** @param {string} text */
function problem(text) {
  showTrouble(byId("problem"), text);
}

/** @param {Reading} message */
function startOf(message) {
  return `${message.turn} ${message.terms[0]?.[0]}`;
}

// --- settings ---

function tellTime() {
  device.link.send({ t: "time", stretch: Number(stretch.value) });
}

stretch.addEventListener("change", tellTime);
volume.addEventListener("input", () => {
  device.sound.volume = Number(volume.value);
});
microphone.addEventListener("change", async () => {
  if (!device.ready) return;
  if (microphone.checked) await open();
  else device.closeMicrophone();
});

async function open() {
  problem("");
  ready.disabled = true;
  try {
    await openSound();
  } catch (error) {
    problem(`The sound did not start (${reason(error)}).`);
    return;
  } finally {
    ready.disabled = false;
  }
  // it was taken off while the browser still asked
  if (!microphone.checked && device.sound.mic) device.closeMicrophone();
  device.sound.volume = Number(volume.value);
  draw();
}

// Without a microphone the page goes on: answers can be typed.
async function openSound() {
  try {
    await device.open(microphone.checked);
  } catch (error) {
    if (!NO_MICROPHONE.includes(nameOf(error))) throw error;
    problem("There is no microphone. Type your answers.");
    await device.open(false);
  }
}

ready.addEventListener("click", open);
chirp.addEventListener("click", async () => {
  byId("chirped").textContent = await measured(device.sound);
});

// --- what to see ---

// The terms of the sum that is being read, while their places on the stream are known.
function followed() {
  if (reading === null || !streaming || device.sound.first === null) return [];
  return "turn" in shown && shown.turn === reading.turn ? reading.terms : [];
}

// Whether the last term of this sum has sounded; the server hears of it a moment later, or when
// the connection is back.
function sounded() {
  const last = followed().at(-1);
  return last !== undefined && device.sound.until(last[1]) <= 0;
}

// It is the pupil's turn: the lamp is lit.
function asked() {
  return shown.phase === "speak" || shown.phase === "again";
}

function draw() {
  if (shown.phase === "listen" && sounded()) shown = { ...shown, phase: "speak" };
  if (shown.phase === "over" && shown.practice && begun) {
    practisedFor(performance.now() - begun);
    begun = 0;
  }
  const running = streaming && !["waiting", "trouble", "over"].includes(shown.phase);
  const idle = device.ready && !streaming && !gone;
  byId("gone").hidden = !gone;
  byId("gate").hidden = device.ready || gone;
  byId("show").hidden = !device.ready || gone;
  byId("practice").hidden = !idle || resting();
  chirp.disabled = !device.sound.mic || streaming;
  const padShown = running && shown.phase !== "paused";
  keypad.show(padShown, asked());
  stage.classList.toggle("answering", padShown);
  drawCommands(running);
  drawWords(running);
  drawLook(idle);
  drawTerms();
}

/** @param {boolean} running */
function drawCommands(running) {
  const paused = shown.phase === "paused";
  byId("tools").hidden = !(running && commands.length);
  for (const one of commandButtons) {
    const name = commandOf(one);
    const wanted = name === "resume" ? paused : name === "stop" || !paused;
    one.hidden = !commands.includes(name) || !wanted;
  }
}

/** @param {HTMLElement} pressed */
function commandOf(pressed) {
  return /** @type {CommandName} */ (pressed.dataset.command);
}

/** @param {boolean} running */
function drawWords(running) {
  const [large, small] = saying(shown, spoken, { home, mic: device.sound.mic });
  setText(say, large);
  more.textContent = small;
  const turn = running && "turn" in shown ? shown.turn : -1;
  place.textContent = "turn" in shown && running ? `${turn + 1} of ${shown.of}` : "";
  if (turn !== lastSum || turn < 0 || shown.phase === "answer") keypad.rub();
  lastSum = turn;
}

/** @param {boolean} idle */
function drawLook(idle) {
  const replay = shown.phase === "over" ? shown.replay : undefined;
  look.hidden = !(idle && replay);
  if (replay) look.href = `/me/replay/${replay}`;
}

// The stones follow the sound itself, not the messages about it.
function drawTerms() {
  const terms = shown.phase === "listen" || asked() ? followed() : [];
  drawStones(terms.map(([onset, offset]) => {
    if (device.sound.until(onset) > 0) return "";
    return device.sound.until(offset) > 0 ? "saying" : "said";
  }));
  lamp.classList.toggle("lit", asked());
  if (!following) follow();
}

// Every frame, but only while a sum is read: a page that waits costs a tablet nothing.
function follow() {
  following = streaming && shown.phase === "listen";
  if (!following) return;
  if (sounded()) draw();
  else drawTerms();
  requestAnimationFrame(follow);
}

// --- doing ---

for (const one of commandButtons) {
  one.addEventListener("click", () => device.command(commandOf(one)));
}

byId("practise").addEventListener("submit", (event) => {
  event.preventDefault();
  problem("");
  go.disabled = true; // until it begins, or a note says why it does not
  const rule = byId("rule", HTMLSelectElement), count = byId("count", HTMLSelectElement);
  const slower = field("slower").checked;
  device.link.send({ t: "practise", count: Number(count.value), rule: rule.value, slower });
});

// what can be touched comes alive with the script, so that no tap or setting is lost before it
for (const control of [ready, stretch, field("volume"), microphone]) control.disabled = false;
whenRested(draw);
propose();
draw();
