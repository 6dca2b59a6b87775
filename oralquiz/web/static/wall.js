// The projector's page: large, and no answer until it is asked for.

import { Link } from "./link.js";

const $ = (id) => document.getElementById(id);
const STATES = {
  waiting: "Ready?", listen: "Listen", speak: "Your turn", again: "Once more, please",
  done: "Thank you", paused: "A little pause", over: "Well done!", trouble: "One moment, please",
};
let revealed = false;

const link = new Link("/ws/wall", {
  onOpen: () => {},
  onMessage: (message) => message.t === "wall" && draw(message.lesson),
  onLost: () => {},
  onRefused: () => { $("title").textContent = "Come in as the teacher first"; },
});

function draw(lesson) {
  $("round").hidden = lesson === null;
  $("join").hidden = lesson !== null;
  if (lesson === null) return;
  revealed = lesson.revealed;
  $("title").textContent = lesson.title;
  $("where").textContent = lesson.turn < 0 ? "" : `Sum ${lesson.turn + 1} of ${lesson.of}`;
  $("who").textContent = lesson.who;
  const own = lesson.way === "own";
  const state = lesson.phase === "running" ? lesson.state : lesson.phase;
  $("stones").replaceChildren(...Array.from({ length: own ? 0 : lesson.terms }, (_, k) => {
    const stone = document.createElement("i");
    const over = ["speak", "again", "done"].includes(state);
    stone.className = over || k < lesson.term ? "said" : k === lesson.term ? "saying" : "";
    return stone;
  }));
  const words = own && lesson.phase === "running" ? "Everyone calculates" : STATES[state] ?? "Ready?";
  if ($("state").textContent !== words) $("state").textContent = words;
  $("lamp").classList.toggle("lit", !own && (state === "speak" || state === "again"));
  $("count").textContent = lesson.way === "front" ? "" : `${lesson.answered} of ${lesson.pupils} have answered`;
  $("answer").hidden = !lesson.answer && lesson.answer !== 0;
  $("answer").textContent = lesson.sum ? `${lesson.sum} = ${lesson.answer}` : "";
  $("reveal").hidden = own;
  $("reveal").setAttribute("aria-pressed", String(revealed));
}

$("reveal").addEventListener("click", () => link.send({ t: "reveal", on: !revealed }));
