// The worker that hears and judges: it has the decoder and the round, the page has the rest.

/** @import { LoadVosk as Loader } from "./decoder.js" */
/** @import { Load, ToPage, ToWorker } from "./messages.js" */

import { VoskDecoder } from "./decoder.js";
import { NOTHING } from "./hearing.js";
import { AnswerRecognizer } from "./listener.js";
import { unpacked } from "./pieces.js";
import { HeldRound } from "./round.js";

/** @type {AnswerRecognizer | null} */
let recognizer = null;
/** @type {HeldRound | null} */
let held = null;

/** @param {ToPage} message */
function tell(message) {
  self.postMessage(message);
}

/** @param {Load} message */
async function load({ wasm, files, calibration, unknown, highest: most }) {
  const { LoadVosk } = /** @type {{ LoadVosk: Loader }} */ (/** @type {unknown} */ (self));
  const nothing = () => {};
  const library = await LoadVosk({ wasmBinary: await unpacked(wasm), print: nothing, printErr: nothing });
  /** @type {Record<string, Uint8Array>} */
  const plain = {};
  for (const [name, packed] of Object.entries(files)) plain[name] = await unpacked(packed);
  const decoder = new VoskDecoder(library, { files: plain, calibration, unknown });
  recognizer = new AnswerRecognizer(decoder, 0, most);
  tell({ t: "loaded" });
}

/** @param {unknown} error */
function fail(error) {
  tell({ t: "broken", why: String(error) });
}

/** @param {ToWorker} message */
function take(message) {
  if (message.t === "load") load(message).catch(fail);
  else if (message.t === "hear") {
    tell({ t: "heard", hearing: recognizer?.hear(message.samples) ?? NOTHING });
  } else if (message.t === "begin") {
    const now = () => (performance.timeOrigin + performance.now()) / 1000;
    held = new HeldRound(message, message.hears ? recognizer : null, tell, now);
  } else if (message.t === "packet") held?.packet(message);
  else if (message.t === "late") held?.late(message.play);
  else held?.command({ name: message.name, value: message.value });
}

self.addEventListener("message", ({ data }) => {
  try {
    take(data);
  } catch (error) {
    fail(error);
  }
});
