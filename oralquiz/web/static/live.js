// The teacher's page while a round is planned, held and over.

/** @import { Live, LiveRound, PageMessage, ServerMessage } from "./protocol.js" */
/** @import { TeacherWords } from "./words.js" */

import { measured } from "./chirp.js";
import { correctionIsOpen, openCorrection, whenCorrected } from "./correction.js";
import { Device } from "./device.js";
import { all, button, byId, field, keep, nameOf, reason, setText, showTrouble } from "./dom.js";
import { NOT_IN } from "./link.js";
import { drawAnswer, drawAsker, drawRow, newAnswer, newAsker, newRow } from "./rows.js";
import { fill, words } from "./words.js";

const way = byId("live").dataset.way ?? "";
const sound = button("sound"), begin = button("begin"), reveal = button("reveal");
const keys = field("keys");
const commands = all("[data-do]", HTMLButtonElement);
/** @type {TeacherWords} */
const said = words();

/** @type {Live | null} */
let news = null;
let beginning = false; // asked for, and neither begun nor refused

const device = new Device("/ws/teacher", {
  onState: (on) => {
    beginning = false;
    trouble(on ? "" : "The connection to the server is lost. It will come back by itself.");
  },
  onAside: (had) => {
    if (had) trouble("The sound has moved to another page. “Sound on here” brings it back.");
    draw();
  },
  onRefused: (why) => trouble(why === NOT_IN ? "You are logged out. Load this page again." : why),
  onMessage: take,
});

/** @param {ServerMessage} message */
function take(message) {
  if (message.t === "note") {
    beginning = false;
    trouble(message.text);
  } else if (message.t === "live") {
    news = message;
    if (going()) beginning = false;
  } else return;
  draw();
}

/** @param {string} text */
function trouble(text) {
  showTrouble(byId("trouble"), text);
}

/**
 * What the teacher does next makes an old line of trouble old; it stays while nothing can be sent.
 * @param {PageMessage} message
 */
function send(message) {
  if (device.link.send(message)) trouble("");
}

function going() {
  return news !== null && news.lesson !== null && news.lesson.phase !== "over";
}

// --- drawing ---

function draw() {
  if (news === null) return;
  const { lesson } = news;
  drawSound(news);
  drawDeck(news);
  drawHere(news);
  drawAsking(news);
  if (lesson?.trouble) trouble(lesson.trouble);
  byId("running").hidden = lesson === null;
  byId("answered").hidden = !lesson?.answers.length;
  setText(byId("state"), stateOf(lesson));
  if (lesson === null) return;
  keep(byId("rows"), lesson.rows, (row) => row.pupil, newRow,
    (item, row) => drawRow(item, row, said, way));
  keep(byId("answers"), [...lesson.answers].reverse(), (one) => String(one.number),
    newAnswer((one) => correct(one.number)), (item, one) => drawAnswer(item, one, said.verdicts));
}

/** @param {Live} live */
function drawSound({ front }) {
  const here = front.ready && device.ready;
  const elsewhere = front.online && front.ready && !device.ready;
  setText(sound, here ? "Sound is on" : elsewhere ? "Sound on here" : "Sound on");
  sound.setAttribute("aria-pressed", String(here));
  byId("elsewhere").hidden = !elsewhere || sound.hidden;
  byId("chirp").hidden = going() || !front.mic || !here;
}

/** @param {Live} live */
function drawDeck({ lesson, whole_class }) {
  const running = going();
  const whom = whole_class && ` with ${whole_class}`;
  begin.hidden = running;
  begin.disabled = beginning;
  setText(begin, `${lesson && !running ? "Begin again" : "Begin"}${whom}`);
  for (const one of commands) one.hidden = !running;
  reveal.hidden = lesson === null || lesson.way === "own";
  reveal.setAttribute("aria-pressed", String(Boolean(lesson?.revealed)));
  const paused = lesson?.phase === "paused";
  const pause = commands.find((one) => one.dataset.key === "p");
  if (pause === undefined) return;
  pause.dataset.do = paused ? "resume" : "pause";
  setText(pause, paused ? "Continue" : "Pause");
}

/** @param {LiveRound | null} lesson */
function stateOf(lesson) {
  if (beginning) return said.round.preparing;
  if (lesson === null) return "";
  const done = lesson.rows.filter((row) => ["done", "over"].includes(row.phase)).length;
  return fill(said.round[lesson.phase], { done, all: lesson.rows.length });
}

/** @param {Live} live */
function drawHere({ here }) {
  byId("waiting").hidden = going() || (way === "front" && here.length === 0);
  keep(byId("here"), here, (one) => one.pupil, () => document.createElement("li"), (item, one) => {
    item.className = one.ready ? "ready" : "";
    const how = one.ready ? (one.mic ? "ready" : "ready, typing") : "not ready yet";
    setText(item, `${one.ready ? "✓ " : ""}${one.pupil}, ${how}`);
  });
  byId("here").hidden = !here.length;
  byId("nobody").hidden = Boolean(here.length);
}

/** @param {Live} live */
function drawAsking({ asking }) {
  byId("asking").hidden = !asking.length;
  keep(byId("askers"), asking, (one) => one.asking, newAsker(allow), drawAsker);
}

// --- doing ---

/**
 * @param {string} asking
 * @param {boolean} yes
 */
function allow(asking, yes) {
  send({ t: "allow", asking, yes });
}

begin.addEventListener("click", () => {
  beginning = device.link.open;
  send({ t: "do", name: "begin" });
  draw();
});
sound.addEventListener("click", async () => {
  sound.disabled = true;
  try {
    await device.open(sound.dataset.mic === "yes");
    trouble("");
  } catch (error) {
    trouble(["NotFoundError", "NotAllowedError"].includes(nameOf(error))
      ? "There is no microphone: pupils cannot answer aloud at this computer."
      : `The sound did not start (${reason(error)}).`);
  } finally {
    sound.disabled = false;
  }
});
byId("chirp").addEventListener("click", async () => trouble(await measured(device.sound)));
for (const one of commands) {
  one.addEventListener("click", () => send({ t: "do", name: one.dataset.do ?? "" }));
}
reveal.addEventListener("click", () => send({ t: "reveal", on: !news?.lesson?.revealed }));
whenCorrected(send);

/** @param {number} number */
function correct(number) {
  const lesson = news?.lesson;
  const answer = lesson?.answers[number];
  if (lesson && answer) openCorrection(answer, lesson.key, said.verdicts);
}

// The answer that waits for the teacher, else the last one.
function correctNext() {
  const answers = news?.lesson?.answers ?? [];
  const waiting = answers.findLast((one) => one.verdict === "unclear" && !one.corrected);
  const answer = waiting ?? answers.at(-1);
  if (answer) correct(answer.number);
  return answer !== undefined;
}

// --- single keys ---

keys.checked = localStorage.getItem("single keys") !== "no";
keys.addEventListener("change", () => localStorage.setItem("single keys", keys.checked ? "yes" : "no"));

/** @param {EventTarget | null} at */
function isTyping(at) {
  const fields = "input:not([type=checkbox], [type=radio]), textarea, select";
  return at instanceof Element && at.closest(fields) !== null;
}

addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !keys.checked) return;
  if (event.repeat || isTyping(event.target)) return; // repeated: a book on the keyboard
  const key = event.key.toLowerCase();
  const pressed = all(`${correctionIsOpen() ? "dialog" : ".deck"} [data-key]`, HTMLButtonElement)
    .find((one) => one.dataset.key === key && !one.hidden);
  if (pressed) pressed.click();
  else if (correctionIsOpen() || key !== "c" || !correctNext()) return;
  event.preventDefault();
});

// buttons come alive with the script, so that no tap is lost before it
for (const control of [sound, keys]) control.disabled = false;
