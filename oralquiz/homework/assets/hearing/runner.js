// The round runner: a state machine that takes the microphone block by block (rounds/runner.py).
//
//     start -> dictating -> listening -> (asking -> listening) -> gap -> dictating ... -> done

/** @import { Options, Recognizer } from "./answering.js" */
/** @import { CommandName, RoundEvent } from "./events.js" */
/** @import { AudioOut, EchoFilter } from "./playback.js" */

import { Answering } from "./answering.js";
import { Playback } from "./playback.js";
import { samplesIn } from "./rounding.js";

/**
 * @typedef {{ pupil: string, terms: number[], consent: boolean }} Turn
 * @typedef {{ name: string, turns: Turn[] }} Round
 * @typedef {{ text: string, onset: number, offset: number }} SpokenTerm in samples of the dictation
 * @typedef {{ samples: Float32Array, terms: SpokenTerm[], pace_s: number }} Dictation
 * @typedef {{ dictation: (turn: number) => Dictation, phrase: () => Float32Array }} Reader
 * @typedef {{ name: CommandName, value?: number, why?: string }} Command
 * @typedef {"start" | "dictating" | "listening" | "asking" | "gap" | "paused" | "done"} State
 *
 * @typedef {object} Recorder
 * @property {(at: number, event: RoundEvent) => void} event
 * @property {(said: Float32Array, heard: Float32Array) => void} sound
 *
 * @typedef {object} Ports
 * @property {Reader} reader
 * @property {AudioOut} out
 * @property {Recognizer} recognizer
 * @property {Recorder} recorder
 * @property {EchoFilter | null} filter
 */

export class Runner {
  /**
   * @param {Round} round
   * @param {Options} options
   * @param {number} highest number that the frame shows
   * @param {Ports} ports
   * @param {boolean} typedWaits a number typed while the sum is read counts when it is over
   */
  constructor(round, options, highest, { reader, out, recognizer, recorder, filter }, typedWaits = true) {
    this.round = round;
    this.options = options;
    this.highest = highest;
    this.reader = reader;
    this.recognizer = recognizer;
    this.recorder = recorder;
    this.playback = new Playback(out, filter);
    this.typedWaits = typedWaits;
    /** @type {Command[]} */
    this.commands = [];
    this.position = 0; // the sample after the last block taken
    this.index = -1; // of the present turn
    /** @type {Answering | null} */
    this.present = null;
    /** @type {Command | null} counts when the sum is over */
    this.typedEarly = null;
    this.waitUntil = 0;
    /** @type {State} */
    this.pausedIn = "start";
    /** @type {State} */
    this.state = "start";
  }

  /** @param {Command} command takes effect at the next block */
  command(command) {
    this.commands.push(command);
  }

  /**
   * Take the next block of the microphone, in whole steps of 16 bits.
   * @param {Float32Array} heard
   */
  take(heard) {
    if (this.state === "done") return;
    const start = this.position;
    if (this.state === "start") this.begin();
    const said = this.playback.mixed(start, heard.length);
    this.position = start + heard.length;
    const consent = this.round.turns[this.index]?.consent ?? false;
    this.recorder.sound(said, consent ? heard : new Float32Array(heard.length));
    this.advance(this.playback.cleaned(start, heard));
    this.obeyWhatWaited();
    while (this.commands.length) this.obey(/** @type {Command} */ (this.commands.shift()));
  }

  /**
   * End the round now; what was not answered stays unanswered.
   * @param {string} why
   */
  close(why) {
    if (this.state === "done") return;
    this.playback.stop(this.position);
    if (this.running) this.dropAnswer();
    this.event({ type: "round_ended", why, turns: this.index });
    this.state = "done";
  }

  // --- the turns ---

  get answering() {
    if (this.present === null) throw new Error("nothing was asked yet");
    return this.present;
  }

  /** @param {Float32Array} heard */
  advance(heard) {
    if (this.state === "listening") this.hear(heard);
    else if (this.position < this.waitUntil) return;
    else if (this.state === "gap") this.nextTurn();
    else if (this.state === "dictating") {
      this.answering.listen(this.position);
      this.state = "listening";
    } else if (this.state === "asking") {
      this.answering.listenAgain(this.position);
      this.state = "listening";
    }
  }

  begin() {
    this.event({ type: "round_begun", name: this.round.name, turns: this.round.turns.length });
    this.nextTurn();
  }

  nextTurn() {
    this.index++;
    const turn = this.round.turns[this.index];
    if (turn === undefined) {
      this.event({ type: "round_ended", why: "finished", turns: this.index });
      this.state = "done";
      return;
    }
    this.event({ type: "sum_begun", turn: this.index, pupil: turn.pupil, terms: turn.terms });
    this.dictate();
  }

  dictate() {
    const { samples, terms: spoken, pace_s } = this.reader.dictation(this.index);
    const start = this.playback.play(samples, this.position + samplesIn(this.options.lead_s));
    const terms = spoken.map(({ text, onset, offset }) => ({
      text, onset: start + onset, offset: start + offset,
    }));
    const end = start + samples.length, last = terms[terms.length - 1];
    this.event({ type: "dictated", turn: this.index, start, end, pace_s, terms });
    this.beginAnswer(last.offset);
    this.waitUntil = last.onset;
    this.state = "dictating";
  }

  /** @param {number} sumEnds */
  beginAnswer(sumEnds) {
    this.typedEarly = null;
    const answer = this.round.turns[this.index].terms.reduce((sum, term) => sum + term, 0);
    const asked = { index: this.index, answer, highest: this.highest, sumEnds };
    this.present = new Answering(asked, this.options, this.recognizer);
  }

  /** @param {Float32Array} heard */
  hear(heard) {
    for (const event of this.answering.hear(heard, this.position)) this.event(event);
    if (this.answering.next === "ask_again") this.askAgain();
    else if (this.answering.next !== null) this.finishTurn();
  }

  askAgain() {
    const phrase = this.reader.phrase(), { attempt } = this.answering;
    const start = this.playback.play(phrase, this.position);
    this.waitUntil = start + phrase.length;
    this.event({ type: "asked_again", turn: this.index, attempt, start, end: this.waitUntil });
    this.state = "asking";
  }

  finishTurn() {
    this.dropAnswer();
    this.event({ type: "sum_ended", turn: this.index });
    this.waitUntil = this.position + samplesIn(this.options.gap_s);
    this.state = "gap";
  }

  dropAnswer() {
    this.typedEarly = null;
    this.answering.end();
  }

  // --- commands ---

  get running() {
    return this.state === "dictating" || this.state === "listening" || this.state === "asking";
  }

  /** @param {Command} command */
  obey(command) {
    if (this.state === "start" || this.state === "done") return;
    const { name, value, why } = command;
    const early = this.running && this.position < this.answering.sumEnds;
    if (name === "typed" && early && this.typedWaits) {
      this.typedEarly = command;
      return;
    }
    this.event({ type: "commanded", name, turn: this.index, value, why: why || undefined });
    if (name === "stop") this.close("stopped");
    else if (name === "pause" && this.state !== "paused") this.pause();
    else if (name === "resume" && this.state === "paused") this.resume();
    else if (this.running) this.changeSum(name, value);
  }

  obeyWhatWaited() {
    const typed = this.typedEarly;
    if (typed === null || this.position < this.answering.sumEnds) return;
    this.typedEarly = null;
    this.obey(typed);
  }

  pause() {
    this.playback.stop(this.position);
    this.dropAnswer();
    this.pausedIn = this.state;
    this.state = "paused";
  }

  resume() {
    if (this.pausedIn === "gap") this.state = "gap";
    else this.dictate();
  }

  /**
   * @param {CommandName} name
   * @param {number | undefined} value
   */
  changeSum(name, value) {
    if (name === "repeat") {
      this.playback.stop(this.position);
      this.dictate();
    } else if (name === "skip") {
      this.playback.stop(this.position);
      this.finishTurn();
    } else if (name === "typed" && value !== undefined) {
      this.playback.stop(this.position);
      this.event(this.answering.typed(value, this.position));
      this.finishTurn();
    }
  }

  /** @param {RoundEvent} event */
  event(event) {
    this.recorder.event(this.position, event);
  }
}
