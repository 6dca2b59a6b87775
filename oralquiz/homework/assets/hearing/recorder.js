// What happens in a round, kept in memory and written as a session file (session/recorder.py).

/** @import { Entry, RoundEvent } from "./events.js" */

import { captions } from "./captions.js";
import { lineOf } from "./events.js";
import { FlacWriter } from "./flac.js";
import { joinedBytes } from "./pieces.js";
import { zipped } from "./zip.js";

export class SessionRecorder {
  /**
   * @param {object} head what session.json says of the round
   * @param {boolean} keepsSound without it both channels are silent
   * @param {(at: number, event: RoundEvent) => void} watch
   */
  constructor(head, keepsSound, watch) {
    this.head = head;
    this.keepsSound = keepsSound;
    this.watch = watch;
    /** @type {Entry[]} */
    this.entries = [];
    this.flac = new FlacWriter();
  }

  /**
   * @param {number} at
   * @param {RoundEvent} event
   */
  event(at, event) {
    this.entries.push({ seq: this.entries.length, at, event });
    this.watch(at, event);
  }

  /**
   * @param {Float32Array} said
   * @param {Float32Array} heard
   */
  sound(said, heard) {
    const silence = new Float32Array(said.length);
    this.flac.add(this.keepsSound ? said : silence, this.keepsSound ? heard : silence);
  }

  // The session file; the round is over.
  finish() {
    const text = (/** @type {string} */ its) => new TextEncoder().encode(its);
    const lines = this.entries.map((entry) => `${lineOf(entry)}\n`).join("");
    return zipped([
      { name: "session.json", bytes: text(`${JSON.stringify(this.head, null, 1)}\n`), packs: true },
      { name: "events.jsonl", bytes: text(lines), packs: true },
      { name: "audio.flac", bytes: joinedBytes(this.flac.finish()), packs: false },
      { name: "captions.vtt", bytes: text(captions(this.entries)), packs: true },
    ]);
  }
}
