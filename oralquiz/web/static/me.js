// The pupil's page: one lamp, few words. The lamp is lit when it is time to speak.

import { measured } from "./chirp.js";
import { Device } from "./device.js";

const $ = (id) => document.getElementById(id);
const stage = $("stage");
const home = stage.dataset.home === "yes";
const lamp = $("lamp"), stones = $("stones"), say = $("say"), more = $("more"), place = $("place");
const typed = $("typed");

let shown = { phase: "waiting" };
let reading = null; // when the terms of this sum sound
let streaming = false;
let gone = false; // another page, or nobody, has this place now
let commands = [];
// ms spent in practice rounds since the last break; looking at a replay is no break
let practised = Number(sessionStorage.getItem("practised") ?? 0);
let begun = 0;
let lastSum = -1;
let given = false; // OK was pressed: what stands in the field is the answer, until the server's word
let back = false; // the connection has just come back, and has not said yet how things stand

const device = new Device("/ws/me", {
  onShow: (message) => {
    shown = message;
    draw();
    if (back && given && asked()) give();
    back = false;
  },
  onReading: (message) => {
    // the same one comes again with a connection that was away: what was typed after it stays
    if (message.turn !== reading?.turn || message.terms[0][0] !== reading.terms[0][0]) {
      rubAll();
    }
    reading = message;
    draw();
  },
  onState: (on) => {
    $("away").hidden = on;
    $("go").disabled = !on;
  },
  onRefused: (why) => {
    $("away").hidden = true; // it does not come back by itself
    problem(why === "Come in first." ? "You have left." : why);
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
  onWelcome: () => { back = true; tellTime(); draw(); },
  onBegin: (message) => {
    commands = message.commands;
    $("go").disabled = false;
    problem("");
  },
  onMessage: (message) => {
    if (message.t !== "note") return;
    $("go").disabled = false;
    problem(message.text);
  },
});

function problem(text) {
  $("problem").textContent = text;
  $("problem").hidden = !text;
}

// --- settings that stay on this tablet ---

const stretch = $("stretch"), volume = $("volume"), microphone = $("microphone");
stretch.value = localStorage.getItem("stretch") ?? "1";
volume.value = localStorage.getItem("volume") ?? "0.8";
microphone.checked = localStorage.getItem("microphone") !== "no";
const tellTime = () => device.link.send({ t: "time", stretch: Number(stretch.value) });
stretch.addEventListener("change", () => {
  localStorage.setItem("stretch", stretch.value);
  tellTime();
});
volume.addEventListener("input", () => {
  localStorage.setItem("volume", volume.value);
  device.sound.volume = Number(volume.value);
});
microphone.addEventListener("change", async () => {
  localStorage.setItem("microphone", microphone.checked ? "yes" : "no");
  if (!device.ready) return;
  if (microphone.checked) await ready();
  else {
    device.sound.closeMicrophone();
    device.link.send({ t: "ready", mic: false });
  }
});

async function ready() {
  problem("");
  $("ready").disabled = true;
  const url = "/static/worklet.js";
  try {
    await device.open(microphone.checked, url);
  } catch (error) {
    if (!["NotAllowedError", "NotFoundError", "NotReadableError"].includes(error.name)) {
      problem(`The sound does not start (${error.message}).`);
      return;
    }
    problem("There is no microphone: type your answers.");
    await device.open(false, url);
  } finally {
    $("ready").disabled = false;
  }
  if (!microphone.checked && device.sound.mic) { // it was taken off while the browser still asked
    device.sound.closeMicrophone();
    device.link.send({ t: "ready", mic: false });
  }
  device.sound.volume = Number(volume.value);
  draw();
}

$("ready").addEventListener("click", ready);

$("chirp").addEventListener("click", async () => {
  $("chirped").textContent = await measured(device.sound);
});

// --- what to see ---

const WAITING = home
  ? ["You are ready.", ""]
  : ["You are ready.", "Wait here: your teacher begins soon."];

function words() {
  const value = shown.value;
  switch (shown.phase) {
    case "listen": return ["Listen", ""];
    case "speak": return ["Your turn", device.sound.mic ? "Say the answer, or type it." : "Type the answer."];
    case "again": return [
      shown.heard ? `Did you say ${shown.heard}?` : "I did not hear it well.",
      "Say it once more, please.",
    ];
    case "answer":
      switch (shown.verdict) {
        case "right": return [`${value}. Right!`, ""];
        case "wrong": return [shown.typed ? `You wrote ${value}.` : `I heard ${value}.`, "Not this time. We look at it together later."];
        case "unclear": return ["Thank you.", "I could not hear it well. Your teacher listens to it."];
        case "silent": return ["No answer this time.", "That is fine. The next one comes."];
        default: return ["The next one comes.", ""];
      }
    case "paused": return ["A little pause", ""];
    case "trouble": return ["Something does not work.", "Tell your teacher."];
    case "over": return over(shown.counts);
    default: return WAITING;
  }
}

function over(counts) {
  const all = counts.right + counts.wrong + counts.unclear + counts.silent;
  if (!all) return ["That was it.", ""];
  const waiting = counts.unclear ? ` ${counts.unclear} for your teacher's ear.` : "";
  const right = counts.right ? `${counts.right} of ${all} right.` : "None right this time: let us look at it.";
  return ["Well done, that was it.", counts.unclear === all ? waiting.trim() : right + waiting];
}

// Whether the last term of this sum has sounded; the server hears of it a moment later, or when
// the connection is back.
function sounded() {
  return followed() && device.sound.until(reading.terms.at(-1)[1]) <= 0;
}

function followed() {
  return reading !== null && streaming && device.sound.first !== null && shown.turn === reading.turn;
}

// It is the pupil's turn: the lamp is lit.
function asked() {
  return shown.phase === "speak" || shown.phase === "again";
}

function draw() {
  if (shown.phase === "listen" && sounded()) shown = { ...shown, phase: "speak" };
  const phase = shown.phase;
  if (phase === "over" && shown.practice && begun) rest();
  const running = streaming && ["listen", "speak", "again", "answer", "paused"].includes(phase);
  $("gone").hidden = !gone;
  $("gate").hidden = device.ready || gone;
  $("chirp").disabled = !device.sound.mic || streaming;
  $("show").hidden = !device.ready || gone;
  $("pad").hidden = !(running && phase !== "paused");
  stage.classList.toggle("answering", !$("pad").hidden);
  for (const part of $("keypad").querySelectorAll("input, button")) part.disabled = !asked();
  const idle = device.ready && !streaming && !gone;
  $("practice").hidden = !idle || $("rest").hidden === false;
  $("tools").hidden = !(running && commands.length);
  for (const button of document.querySelectorAll("[data-command]")) {
    const name = button.dataset.command;
    const wanted = name === "resume" ? phase === "paused" : name === "stop" || phase !== "paused";
    button.hidden = !commands.includes(name) || !wanted;
  }
  const [first, second] = words();
  if (say.textContent !== first) say.textContent = first;
  more.textContent = second;
  place.textContent = running ? `${shown.turn + 1} of ${shown.of}` : "";
  if (shown.turn !== lastSum || !running || phase === "answer") {
    rubAll();
    lastSum = running ? shown.turn : -1;
  }
  const look = $("look");
  look.hidden = !(idle && shown.replay);
  if (shown.replay) look.href = `/me/replay/${shown.replay}`;
  drawStones();
}

function rest() {
  practised += performance.now() - begun;
  begun = 0;
  propose();
}

function propose() {
  sessionStorage.setItem("practised", String(practised));
  $("rest").hidden = practised <= Number(stage.dataset.break) * 60000;
}

$("rested").addEventListener("click", () => {
  practised = 0;
  propose();
  draw();
});

// The stones follow the sound itself, not the messages about it.
function drawStones() {
  const phase = shown.phase;
  const terms = followed() && ["listen", "speak", "again"].includes(phase) ? reading.terms : [];
  if (stones.children.length !== terms.length) {
    stones.replaceChildren(...terms.map(() => document.createElement("i")));
  }
  terms.forEach(([onset, offset], k) => {
    const begins = device.sound.until(onset), ends = device.sound.until(offset);
    stones.children[k].className = begins > 0 ? "" : ends > 0 ? "saying" : "said";
  });
  lamp.classList.toggle("lit", asked());
}

function tick() {
  if (streaming && shown.phase === "listen") {
    if (sounded()) draw();
    else drawStones();
  }
  requestAnimationFrame(tick);
}
requestAnimationFrame(tick);

// --- answering by hand ---

function rubAll() {
  typed.value = "";
  given = false;
}

// A connection may be gone without a word of it, so the number stays until the server's word, and
// goes out again with the next one.
function give() {
  given = true;
  device.typed(Number(typed.value));
}

for (const key of document.querySelectorAll("[data-digit]")) {
  key.addEventListener("click", () => {
    if (given) rubAll(); // another answer
    if (typed.value.length < 9) typed.value += key.dataset.digit;
  });
}
typed.addEventListener("beforeinput", () => { if (given) rubAll(); });
$("rub").addEventListener("click", () => {
  typed.value = typed.value.slice(0, -1);
  given = false;
});
$("keypad").addEventListener("submit", (event) => {
  event.preventDefault();
  if (/^[0-9]+$/.test(typed.value)) give();
  else rubAll();
});
addEventListener("keydown", (event) => {
  // digits go to the answer wherever the focus is; nothing else is taken
  if ($("pad").hidden || typed.disabled || event.ctrlKey || event.metaKey || event.altKey) return;
  if (/^[0-9]$/.test(event.key) && event.target !== typed && !event.target.closest("select, input")) {
    typed.focus();
  }
});

for (const button of document.querySelectorAll("[data-command]")) {
  button.addEventListener("click", () => device.command(button.dataset.command));
}

$("practise").addEventListener("submit", (event) => {
  event.preventDefault();
  problem("");
  $("go").disabled = true; // until it begins, or a note says why it does not
  device.link.send({
    t: "practise", pace_s: Number($("pace").value), count: Number($("count").value),
  });
});

// what can be touched comes alive with the script, so that no tap or setting is lost before it
for (const id of ["ready", "stretch", "volume", "microphone"]) $(id).disabled = false;
propose();
draw();
