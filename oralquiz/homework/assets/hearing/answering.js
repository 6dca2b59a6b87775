// How one sum is answered: what is heard, until it can be judged (rounds/answering.py).

/** @import { Heard, Judged } from "./events.js" */
/** @import { Hearing } from "./hearing.js" */
/** @import { Next, Policy, Verdict } from "./verdict.js" */

import { combineHearings } from "./attempts.js";
import { latencyS } from "./latency.js";
import { roundSix, samplesIn } from "./rounding.js";
import { decide, judge, probabilityRight } from "./verdict.js";

/**
 * @typedef {object} Options as the session file has them
 * @property {number} pace_s
 * @property {number} lead_s
 * @property {number} answer_within_s
 * @property {number} hear_out_s
 * @property {number} take_back_s
 * @property {number} asks
 * @property {number} gap_s
 * @property {Policy} policy
 *
 * @typedef {object} Listener one answer being heard
 * @property {boolean} speaking
 * @property {(samples: Float32Array) => Hearing | null} feed
 * @property {() => Hearing} finish
 *
 * @typedef {{ listen: () => Listener }} Recognizer
 *
 * @typedef {object} Asked
 * @property {number} index of the turn
 * @property {number} answer
 * @property {number} highest number that the frame shows
 * @property {number} sumEnds the sample after the last spoken term
 */

export class Answering {
  /**
   * @param {Asked} asked
   * @param {Options} options
   * @param {Recognizer} recognizer
   */
  constructor(asked, options, recognizer) {
    this.asked = asked;
    this.options = options;
    this.recognizer = recognizer;
    this.attempt = 0;
    /** @type {Next | null} what follows from the attempt; null while it goes on */
    this.next = null;
    this.deadline = asked.sumEnds + samplesIn(options.answer_within_s);
    /** @type {Listener | null} */
    this.listener = null;
    this.listenFrom = 0;
    this.listenUntil = 0;
    /** @type {Hearing[]} one of each attempt that was judged */
    this.hearings = [];
    /** @type {{ hearing: Hearing, onset: number } | null} said before the sum was over */
    this.early = null;
    /** @type {Hearing | null} may yet be taken back */
    this.wrong = null;
  }

  get sumEnds() {
    return this.asked.sumEnds;
  }

  /** @param {number} at listen from this sample on */
  listen(at) {
    this.next = null;
    this.wrong = null;
    this.listenFrom = at;
    this.listenUntil = this.deadline;
    this.listener = this.recognizer.listen();
  }

  /** @param {number} at */
  listenAgain(at) {
    this.deadline = at + samplesIn(this.options.answer_within_s);
    this.listen(at);
  }

  /**
   * Take the next samples, which end at `at`: what came of the answer with them.
   * @param {Float32Array} samples
   * @param {number} at
   * @returns {(Heard | Judged)[]}
   */
  hear(samples, at) {
    if (this.listener === null) throw new Error("nothing is listened to");
    const hearing = this.listened(this.listener, samples, at);
    if (hearing === null) return [];
    if (this.wrong !== null && this.nothingSince(hearing)) {
      return [this.judged(this.wrong, this.onClock(this.wrong.onsetS))];
    }
    return this.heard(asRecorded(hearing), at);
  }

  /**
   * The verdict on a number given by hand.
   * @param {number} value
   * @param {number} at
   * @returns {Judged}
   */
  typed(value, at) {
    const verdict = value === this.asked.answer ? "right" : "wrong";
    const latency = latencyS(this.sumEnds, at);
    return { ...this.judgement(verdict, value, latency), typed: true };
  }

  end() {
    this.listener = null;
  }

  /**
   * The hearing, as soon as nothing more is waited for.
   * @param {Listener} listener
   * @param {Float32Array} samples
   * @param {number} at
   */
  listened(listener, samples, at) {
    const hearing = listener.feed(samples);
    if (hearing !== null && !this.nothingSince(hearing)) return hearing;
    if (at < this.listenUntil) return null;
    const late = at >= this.listenUntil + samplesIn(this.options.hear_out_s);
    return late || !listener.speaking ? listener.finish() : null;
  }

  /** @param {Hearing} hearing */
  nothingSince(hearing) {
    return this.wrong !== null && hearing.offsetS === this.wrong.offsetS;
  }

  /**
   * @param {Hearing} hearing
   * @param {number} at
   * @returns {(Heard | Judged)[]}
   */
  heard(hearing, at) {
    const onset = this.onClock(hearing.onsetS), offset = this.onClock(hearing.offsetS);
    const early = onset !== null && onset < this.sumEnds;
    /** @type {Heard} */
    const heard = {
      type: "heard", turn: this.asked.index, attempt: this.attempt, words: hearing.words,
      guesses: hearing.candidates, onset, offset, early,
    };
    const verdict = this.verdictSoFar(hearing);
    if (onset !== null && early && verdict !== "right") { // perhaps a total said to oneself
      this.early = { hearing, onset };
      this.listen(at);
      return [heard];
    }
    const wrong = hearing.candidates.length > 0 && verdict === "wrong";
    if (wrong && this.mayBeTakenBack(hearing, offset, at)) return [heard];
    return [heard, this.judged(hearing, onset)];
  }

  /**
   * Whether to listen on before a wrong number is marked.
   * @param {Hearing} hearing
   * @param {number | null} offset
   * @param {number} at
   */
  mayBeTakenBack(hearing, offset, at) {
    const until = (offset ?? at) + samplesIn(this.options.take_back_s);
    const tooLate = at >= this.deadline + samplesIn(this.options.hear_out_s);
    if (until <= at || tooLate) return false;
    this.wrong = hearing;
    this.listenUntil = until;
    return true;
  }

  /**
   * @param {Hearing} hearing
   * @param {number | null} onset
   * @returns {Judged}
   */
  judged(hearing, onset) {
    this.end();
    const counts = hearing.onsetS === null && this.early !== null ? this.early : { hearing, onset };
    this.early = null;
    this.hearings.push(counts.hearing);
    const { policy, asks } = this.options, { answer } = this.asked;
    const decision = decide(this.hearings, answer, policy, asks, this.numbers);
    const latency = this.attempt ? null : latencyS(this.sumEnds, counts.onset);
    const right = probabilityRight(decision.hearing, answer, policy, this.numbers);
    const value = decision.hearing.candidates[0]?.value ?? null;
    const judgement = this.judgement(decision.verdict, value, latency);
    this.next = decision.next;
    if (this.next === "ask_again") this.attempt++;
    return { ...judgement, right_probability: roundSix(right) };
  }

  /**
   * @param {Verdict} verdict
   * @param {number | null} value
   * @param {number | null} latency
   * @returns {Judged}
   */
  judgement(verdict, value, latency) {
    const place = { turn: this.asked.index, attempt: this.attempt };
    return { type: "judged", ...place, verdict, value, latency_s: latency };
  }

  /** @param {Hearing} hearing */
  verdictSoFar(hearing) {
    const attempts = combineHearings([...this.hearings, hearing], this.numbers);
    return judge(attempts, this.asked.answer, this.options.policy, this.numbers);
  }

  get numbers() {
    return this.asked.highest + 1;
  }

  /** @param {number | null} seconds */
  onClock(seconds) {
    return seconds === null ? null : this.listenFrom + samplesIn(seconds);
  }
}

/**
 * With confidences to 6 decimals: what the file says is what is judged.
 * @param {Hearing} hearing
 * @returns {Hearing}
 */
function asRecorded(hearing) {
  const candidates = hearing.candidates.map(({ value, words, confidence }) => ({
    value, words, confidence: roundSix(confidence),
  }));
  return { ...hearing, candidates };
}
