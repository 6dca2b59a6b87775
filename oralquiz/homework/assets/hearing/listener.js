// Hearing answers: where the voice is, its pauses, how sure the number is, when it is over
// (listen/recognizer.py).

/** @import { Decoder, Hypothesis } from "./decoder.js" */
/** @import { Hearing } from "./hearing.js" */
/** @import { Candidate } from "./posterior.js" */
/** @import { Segment } from "./voice.js" */

import { levelsOf, spreadDb } from "./bands.js";
import { CLOSED_S, quietS } from "./ending.js";
import { NOTHING } from "./hearing.js";
import { expectsMore, numberGrowth } from "./numbers.js";
import { numberOnsetS } from "./onset.js";
import { interpolated, splitAtPauses } from "./pauses.js";
import { joinedSound } from "./pieces.js";
import { candidatesOf, numberProbability } from "./posterior.js";
import { quietest, silentRoom } from "./room.js";
import { RATE, roundEven } from "./rounding.js";
import { VoiceDetector, segmentsOf } from "./voice.js";

const LEAD = roundEven(0.3 * RATE); // samples around the voice that are decoded too
const PAUSE = roundEven(0.15 * RATE);
const UNBROKEN = 3 * RATE;
const STEADY_DB = 5.5;
const STEP = roundEven(0.02 * RATE);
const CLOSED = Math.floor(CLOSED_S * RATE);

/** One answer being heard. */
export class AnswerListener {
  /** @param {AnswerRecognizer} recognizer */
  constructor(recognizer) {
    this.recognizer = recognizer;
    this.detector = new VoiceDetector();
    /** @type {Float32Array[]} */
    this.parts = [];
    this.looked = 0; // parts that the detector has
    this.position = 0;
    /** @type {{ quietSince: number, hearing: Hearing, quietS: number, told: boolean } | null} */
    this.heard = null;
  }

  // Whether a voice has begun and not yet ended.
  get speaking() {
    this.look();
    return this.detector.speaking;
  }

  // Samples up to the step after which the answer could be complete.
  get foreseen() {
    const soonest = Math.min(this.overAt(), this.detector.wants(CLOSED));
    return Math.ceil(Math.max(this.position + 1, soonest) / STEP) * STEP - this.position;
  }

  overAt() {
    const { quietSince } = this.detector;
    if (quietSince === null) return Infinity;
    if (this.heard === null || this.heard.quietSince !== quietSince) return quietSince + CLOSED;
    return this.heard.told ? Infinity : quietSince + Math.floor(this.heard.quietS * RATE);
  }

  /**
   * Take the next samples; the final hearing as soon as the answer is complete.
   * @param {Float32Array} samples
   */
  feed(samples) {
    for (let at = 0; at < samples.length;) { // steps on the stream's own grid
      const { foreseen } = this, part = samples.subarray(at, at + foreseen);
      this.parts.push(part);
      this.position += part.length;
      at += foreseen;
      if (part.length < foreseen) continue;
      this.look();
      const final = this.ended();
      if (final !== null) return final;
    }
    return null;
  }

  // The stream is over: what was heard so far.
  finish() {
    this.look();
    this.detector.close();
    if (this.heard !== null && this.heard.quietSince === this.detector.quietSince) return this.heard.hearing;
    return this.hearing();
  }

  look() {
    const parts = this.parts.slice(this.looked);
    this.looked = this.parts.length;
    if (parts.length) this.detector.feed(joinedSound(parts));
  }

  hearing() {
    const { segments } = this.detector, sound = joinedSound(this.parts);
    if (!segments.length) return this.recognizer.hear(sound);
    return this.recognizer.hearSegments(sound, segments);
  }

  ended() {
    const { quietSince } = this.detector;
    if (quietSince === null) return null;
    const quiet = (this.detector.position - quietSince) / RATE;
    if (quiet < CLOSED_S) return null;
    if (this.heard === null || this.heard.quietSince !== quietSince) {
      const hearing = this.hearing(), { lowest, highest } = this.recognizer;
      const growth = numberGrowth(hearing.words, lowest, highest);
      this.heard = { quietSince, hearing, quietS: quietS(hearing, growth), told: false };
    }
    this.heard.told = quiet >= this.heard.quietS;
    return this.heard.told ? this.heard.hearing : null;
  }
}

export class AnswerRecognizer {
  /**
   * @param {Decoder} decoder
   * @param {number} lowest
   * @param {number} highest
   */
  constructor(decoder, lowest, highest) {
    this.decoder = decoder;
    this.lowest = lowest;
    this.highest = highest;
  }

  listen() {
    return new AnswerListener(this);
  }

  /**
   * What is said in a whole recording, to its end.
   * @param {Float32Array} samples
   */
  hear(samples) {
    const levels = levelsOf(samples), short = samples.length <= UNBROKEN;
    const segments = segmentsOf(levels, quietest(levels));
    if (segments.length) return this.hearSegments(samples, segments, short);
    if (!short || spreadDb(levels) < STEADY_DB) return NOTHING;
    const heard = this.hearSegments(samples, segmentsOf(levels, silentRoom()));
    return heard.candidates.length ? heard : NOTHING;
  }

  /**
   * The hearing of a stream up to now, given the segments of voice in it. `whole`: decode all of it.
   * @param {Float32Array} samples
   * @param {Segment[]} segments
   * @param {boolean} whole
   * @returns {Hearing}
   */
  hearSegments(samples, segments, whole = false) {
    if (!segments.length) return NOTHING;
    const end = segments[segments.length - 1].offset ?? samples.length;
    const first = whole ? 0 : Math.max(0, segments[0].onset - LEAD);
    const hypotheses = this.decoder.decode(samples.subarray(first, whole ? samples.length : end + LEAD));
    let found = this.candidates(hypotheses);
    const parts = splitAtPauses(segments, PAUSE);
    if (parts.length > 1) found = this.withLastPart(samples, found, parts);
    const words = found[0]?.words ?? hypotheses[0]?.text ?? "";
    let onsetS = segments[0].onset / RATE;
    if (found.length) {
      const best = hypotheses.find((one) => one.text === words);
      const { unknown } = this.decoder;
      onsetS = best ? numberOnsetS(best, first / RATE, segments, unknown)
        : parts[parts.length - 1][0].onset / RATE; // it was heard in the last part only
    }
    return { candidates: found, words, onsetS, offsetS: end / RATE };
  }

  /** @param {Hypothesis[]} hypotheses */
  candidates(hypotheses) {
    return candidatesOf(hypotheses, this.lowest, this.highest, this.decoder.calibration);
  }

  /**
   * The candidates of the whole, interpolated with those of its last part alone.
   * @param {Float32Array} samples
   * @param {Candidate[]} whole
   * @param {Segment[][]} parts
   */
  withLastPart(samples, whole, parts) {
    const [before, last] = parts.slice(-2);
    const pause = before[before.length - 1].offset ?? 0, ends = last[last.length - 1].offset;
    const stop = ends === null ? samples.length : ends + LEAD;
    const lastPart = samples.subarray(Math.max(pause, last[0].onset - LEAD), stop);
    const alone = this.candidates(this.decoder.decode(lastPart));
    if (!alone.length) return whole;
    const first = Math.max(0, before[0].onset - LEAD);
    const heard = this.decoder.decode(samples.subarray(first, Math.min(last[0].onset, pause + LEAD)));
    return interpolated(whole, alone, this.continues(heard));
  }

  /**
   * The probability that what follows the part before continues a number.
   * @param {Hypothesis[]} before
   */
  continues(before) {
    if (before.length && expectsMore(before[0].text)) return 1;
    return numberProbability(before, this.decoder.calibration);
  }
}
