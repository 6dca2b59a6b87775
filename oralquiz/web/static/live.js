// The teacher's page while a round is planned, held and over.

import { measured } from "./chirp.js";
import { Device } from "./device.js";

const $ = (id) => document.getElementById(id);
const way = $("live").dataset.way;
const SIGNS = { right: "✓", wrong: "✗", unclear: "?", silent: "…" };
const WORDS = { right: "right", wrong: "not right", unclear: "not clear", silent: "no answer" };
const PHASES = {
  waiting: "waits", listen: "listens", speak: "thinks", again: "asked again", done: "answered",
  paused: "paused", over: "finished", trouble: "trouble",
};

let news = null;
let beginning = false; // asked for, and neither begun nor refused
let ear = null; // the number of the answer that is being corrected

const device = new Device("/ws/teacher", {
  onShow: () => {},
  onReading: () => {},
  onState: (on) => {
    beginning = false;
    trouble(on ? "" : "The connection to the server is gone. It comes back by itself.");
  },
  onAside: (had) => {
    if (had) trouble("The sound went to another page. “Sound on here” brings it back.");
    draw();
  },
  onRefused: (why) => trouble(why === "Come in first." ? "Come in again: load this page." : why),
  onMessage: (message) => {
    if (message.t === "note") {
      beginning = false;
      trouble(message.text);
      draw();
    } else if (message.t === "live") {
      news = message;
      if (going()) beginning = false;
      draw();
    }
  },
});

function trouble(text) {
  $("trouble").textContent = text;
  $("trouble").hidden = !text;
}

function send(message) {
  if (device.link.send(message)) trouble("");
}

function going() {
  return news !== null && news.lesson !== null && news.lesson.phase !== "over";
}

// --- drawing ---

function text(element, value) {
  if (element.textContent !== value) element.textContent = value;
}

function draw() {
  if (news === null) return;
  const lesson = news.lesson;
  const running = going();
  const elsewhere = news.front.online && news.front.ready && !device.ready;
  const front = news.front.ready && device.ready;
  text($("sound"), front ? "Sound is on" : elsewhere ? "Sound on here" : "Sound on");
  $("sound").setAttribute("aria-pressed", String(front));
  $("elsewhere").hidden = !elsewhere || $("sound").hidden;
  $("begin").hidden = running;
  $("begin").disabled = beginning;
  const whom = news.whole_class ? ` with ${news.whole_class}` : "";
  text($("begin"), lesson && !running ? `Begin anew${whom}` : `Begin${whom}`);
  for (const button of document.querySelectorAll("[data-do]")) button.hidden = !running;
  $("reveal").hidden = lesson === null || lesson.way === "own";
  $("reveal").setAttribute("aria-pressed", String(Boolean(lesson?.revealed)));
  const pause = document.querySelector('[data-key="p"]');
  pause.dataset.do = lesson?.phase === "paused" ? "resume" : "pause";
  text(pause, lesson?.phase === "paused" ? "Go on" : "Pause");
  if (lesson?.trouble) trouble(lesson.trouble);
  drawHere();
  if (running) $("waiting").hidden = true;
  $("chirp").hidden = running || !news.front.mic || !front;
  $("running").hidden = lesson === null;
  $("answered").hidden = !lesson?.answers.length;
  if (lesson === null || beginning) text($("state"), beginning ? "One moment: the sums are made." : "");
  if (lesson === null) return;
  const done = lesson.rows.filter((row) => ["done", "over"].includes(row.phase)).length;
  if (!beginning) text($("state"), {
    running: `${done} of ${lesson.rows.length} have answered.`,
    paused: "Paused.",
    over: "The round is over.",
  }[lesson.phase]);
  keep($("rows"), lesson.rows, (row) => row.pupil, newRow, drawRow);
  keep($("answers"), [...lesson.answers].reverse(), (a) => String(a.number), newAnswer, drawAnswer);
}

function drawHere() {
  const list = news.here.map(({ pupil, ready, mic }) => ({ pupil, ready, mic }));
  $("waiting").hidden = way === "front" && list.length === 0;
  keep($("here"), list, (one) => one.pupil, () => document.createElement("li"), (item, one) => {
    item.className = one.ready ? "ready" : "";
    const how = one.ready ? (one.mic ? "ready" : "ready, types") : "not ready yet";
    text(item, `${one.ready ? "✓ " : ""}${one.pupil}, ${how}`);
  });
  $("here").hidden = !list.length;
  $("nobody").hidden = Boolean(list.length);
}

// The elements stay where they are while their content changes: focus and reading are not lost.
function keep(parent, list, keyOf, make, fill) {
  const old = new Map([...parent.children].map((child) => [child.dataset.key, child]));
  if (!old.size) parent.textContent = "";
  list.forEach((one, k) => {
    const key = keyOf(one);
    let item = old.get(key);
    if (item === undefined) {
      item = make(one);
      item.dataset.key = key;
    }
    old.delete(key);
    fill(item, one);
    if (parent.children[k] !== item) parent.insertBefore(item, parent.children[k] ?? null);
  });
  for (const item of old.values()) item.remove();
}

function newRow(row) {
  const item = document.createElement("tr");
  const name = document.createElement("th");
  name.scope = "row";
  item.append(name);
  for (const kind of ["sum", "chain", "heard", "verdict", "after", "counts"]) {
    const cell = document.createElement("td");
    cell.className = kind;
    item.append(cell);
  }
  return item;
}

function drawRow(item, row) {
  const [name, sum, chain, heard, verdict, after, counts] = item.children;
  text(name, row.online || way === "front" ? row.pupil : `${row.pupil} (gone)`);
  name.className = row.online ? "" : "gone";
  text(sum, row.turn < 0 ? "–" : `${Math.floor(row.turn) + 1} of ${row.of}`);
  drawChain(chain, row);
  text(heard, row.value !== null ? String(row.value) : row.heard ? `“${row.heard}”` : "");
  verdict.className = `verdict ${row.verdict}`;
  text(verdict, row.verdict ? `${SIGNS[row.verdict]} ${WORDS[row.verdict]}` : PHASES[row.phase]);
  text(after, row.latency_s === null ? "" : `${row.latency_s.toFixed(2)} s`);
  text(counts, Object.entries(row.counts).filter(([, n]) => n).map(([v, n]) => `${SIGNS[v]} ${n}`).join("  "));
}

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

// The number, else the words; by the teacher's ear the verdict comes first.
function outcome(answer) {
  const number = answer.value === null ? "" : String(answer.value);
  if (answer.corrected) {
    return `${WORDS[answer.verdict]} by your ear${number && answer.verdict !== "right" ? `, heard ${number}` : ""}`;
  }
  const said = number || (answer.words && `“${answer.words}”`);
  return said ? `${answer.typed ? "typed" : "heard"} ${said}` : "nothing heard";
}

function newAnswer(answer) {
  const item = document.createElement("li");
  const what = document.createElement("span");
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain";
  button.addEventListener("click", () => openEar(answer.number));
  item.append(what, button);
  return item;
}

function drawAnswer(item, answer) {
  const [what, button] = item.children;
  text(what, `${SIGNS[answer.verdict]} ${answer.pupil}: ${answer.sum} = ${answer.right_value}, ${outcome(answer)}`);
  text(button, "Correct");
  button.setAttribute("aria-label", `Correct ${answer.pupil}, ${answer.sum}`);
}

// --- doing ---

$("begin").addEventListener("click", () => {
  beginning = device.link.open;
  send({ t: "do", name: "begin" });
  draw();
});
$("sound").addEventListener("click", async () => {
  $("sound").disabled = true;
  try {
    await device.open($("sound").dataset.mic === "yes", "/static/worklet.js");
    trouble("");
  } catch (error) {
    trouble(error.name === "NotFoundError" || error.name === "NotAllowedError"
      ? "No microphone was given: pupils cannot answer aloud at this computer."
      : `The sound does not start (${error.message}).`);
  } finally {
    $("sound").disabled = false;
  }
});
$("chirp").addEventListener("click", async () => trouble(await measured(device.sound)));
for (const button of document.querySelectorAll("[data-do]")) {
  button.addEventListener("click", () => send({ t: "do", name: button.dataset.do }));
}
$("reveal").addEventListener("click", () => send({ t: "reveal", on: !news?.lesson?.revealed }));

function openEar(number) {
  const answer = news?.lesson?.answers[number];
  if (!answer) return;
  ear = number;
  text($("ear-sum"), `${answer.pupil}: ${answer.sum} = ${answer.right_value}; ${answer.corrected ? "" : `${WORDS[answer.verdict]}, `}${outcome(answer)}.`);
  $("ear-value").value = "";
  $("ear-sound").hidden = !answer.sound;
  $("ear-silent").hidden = answer.sound;
  if (answer.sound) {
    $("ear-sound").src = `/live/${news.lesson.key}/${number}.wav`;
    $("ear-sound").play().catch(() => {}); // a browser may want a tap first: the controls are there
  }
  if (!$("ear").open) $("ear").showModal();
}

function judge(verdict) {
  const typed = $("ear-value").value.trim();
  const message = { t: "correct", number: ear, verdict };
  if (/^[0-9]{1,9}$/.test(typed)) message.value = Number(typed);
  send(message);
  $("ear").close();
}

$("ear").addEventListener("close", () => $("ear-sound").pause());

for (const button of document.querySelectorAll("[data-verdict]")) {
  button.addEventListener("click", () => judge(button.dataset.verdict));
}

const keys = $("keys");
keys.checked = localStorage.getItem("single keys") !== "no";
keys.addEventListener("change", () => localStorage.setItem("single keys", keys.checked ? "yes" : "no"));

addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !keys.checked) return;
  if (event.repeat) return; // a book on the keyboard
  const typing = event.target.closest("input:not([type=checkbox], [type=radio]), textarea, select");
  if ($("ear").open) {
    const button = typing ? null : document.querySelector(`dialog [data-key="${event.key}"]`);
    if (button) button.click();
    return;
  }
  if (typing) return;
  const button = document.querySelector(`.deck [data-key="${event.key.toLowerCase()}"]`);
  if (button && !button.hidden) {
    event.preventDefault();
    button.click();
  } else if (event.key.toLowerCase() === "c" && news?.lesson?.answers.length) {
    event.preventDefault();
    const waiting = news.lesson.answers.findLast((a) => a.verdict === "unclear" && !a.corrected);
    openEar((waiting ?? news.lesson.answers.at(-1)).number);
  }
});

// buttons come alive with the script, so that no tap is lost before it
for (const id of ["sound", "keys"]) $(id).disabled = false;
