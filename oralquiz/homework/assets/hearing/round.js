// A round that is held on the page: its packets in, what is to be played and what happened out.

/** @import { Recognizer } from "./answering.js" */
/** @import { RoundEvent } from "./events.js" */
/** @import { Begin, Packet, ToPage } from "./messages.js" */
/** @import { Command } from "./runner.js" */

import { HalfDuplexGate } from "./gate.js";
import { NOTHING } from "./hearing.js";
import { BLOCK } from "./rounding.js";
import { SessionRecorder } from "./recorder.js";
import { Runner } from "./runner.js";
import { PageSpeaker } from "./speaker.js";

const HEAD = 4; // bytes of a packet before its samples

/** Where nothing can be heard, answers are typed. */
const deaf = {
  listen: () => ({ speaking: false, feed: () => null, finish: () => NOTHING }),
};

export class HeldRound {
  /**
   * @param {Begin} begin
   * @param {Recognizer | null} recognizer null: nothing can be heard
   * @param {(message: ToPage) => void} tell
   * @param {() => number} now in seconds
   */
  constructor(begin, recognizer, tell, now) {
    this.tell = tell;
    this.speaker = new PageSpeaker(tell, now);
    this.recorder = new SessionRecorder(begin.head, begin.keeps, (at, event) => this.happened(at, event));
    const { speaker } = this, { sums, phrase } = begin;
    const reader = {
      dictation: (/** @type {number} */ turn) => {
        speaker.next = turn;
        return sums[turn];
      },
      phrase: () => {
        speaker.next = null;
        return phrase;
      },
    };
    this.runner = new Runner(begin.head.round, begin.options, begin.highest, {
      reader, out: speaker, recorder: this.recorder, filter: new HalfDuplexGate(),
      recognizer: recognizer ?? deaf,
    });
  }

  /** @param {Packet} message */
  packet({ packet, delay }) {
    const view = new DataView(packet), count = (packet.byteLength - HEAD) / 2;
    this.speaker.arrived(view.getUint32(0, true) * BLOCK + count, delay);
    for (let first = 0; first < count; first += BLOCK) {
      const block = new Float32Array(BLOCK);
      for (let n = 0; n < BLOCK; n++) block[n] = view.getInt16(HEAD + 2 * (first + n), true) / 32768;
      this.runner.take(block);
    }
  }

  /** @param {Command} command */
  command(command) {
    this.runner.command(command);
  }

  /** @param {number} play the sound that did not start in time */
  late(play) {
    this.speaker.allowMore();
    if (play === this.speaker.dictation) this.runner.command({ name: "repeat" });
  }

  /**
   * @param {number} at
   * @param {RoundEvent} event
   */
  happened(at, event) {
    this.tell({ t: "event", at, event });
    if (event.type === "round_ended") queueMicrotask(() => this.finish());
  }

  async finish() {
    this.tell({ t: "file", file: await this.recorder.finish() });
  }
}
