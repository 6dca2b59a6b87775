// The projector's page: large, and no answer until it is asked for.

/** @import { WallRound } from "./protocol.js" */
/** @import { ProjectorWords } from "./words.js" */

import { button, byId, setText } from "./dom.js";
import { Link } from "./link.js";
import { drawStones } from "./stones.js";
import { words } from "./words.js";

const reveal = button("reveal"), lamp = byId("lamp", SVGElement);
/** @type {ProjectorWords} */
const said = words();
let revealed = false;

const link = new Link("/ws/wall", {
  onOpen: () => {},
  onMessage: (message) => {
    if (message.t === "wall") draw(message.lesson);
  },
  onLost: () => {},
  onRefused: () => setText(byId("title"), "Log in as the teacher first"),
});

/** @param {WallRound | null} lesson */
function draw(lesson) {
  byId("round").hidden = lesson === null;
  byId("join").hidden = lesson !== null;
  if (lesson === null) return;
  revealed = lesson.revealed;
  const own = lesson.way === "own";
  const state = stateOf(lesson);
  const asked = state === "speak" || state === "again";
  byId("title").textContent = lesson.title;
  byId("where").textContent = lesson.turn < 0 ? "" : `Sum ${lesson.turn + 1} of ${lesson.of}`;
  byId("who").textContent = lesson.who;
  drawTerms(lesson, asked || state === "done");
  setText(byId("state"), said.phase[own && lesson.phase === "running" ? "own" : state]);
  lamp.classList.toggle("lit", !own && asked);
  byId("count").textContent = lesson.way === "front"
    ? "" : `${lesson.answered} of ${lesson.pupils} have answered`;
  drawAnswer(lesson);
  reveal.hidden = own;
}

/** @param {WallRound} lesson */
function stateOf({ phase, state }) {
  if (phase === "running") return state;
  return phase === "preparing" ? "waiting" : phase;
}

/**
 * @param {WallRound} lesson
 * @param {boolean} over all of the sum has been said
 */
function drawTerms({ way, terms, term }, over) {
  drawStones(Array.from({ length: way === "own" ? 0 : terms }, (_, k) => {
    if (over || k < term) return "said";
    return k === term ? "saying" : "";
  }));
}

/** @param {WallRound} lesson */
function drawAnswer({ sum, answer }) {
  byId("answer").hidden = answer === undefined;
  byId("answer").textContent = answer === undefined ? "" : `${sum} = ${answer}`;
  reveal.setAttribute("aria-pressed", String(revealed));
}

reveal.addEventListener("click", () => link.send({ t: "reveal", on: !revealed }));
