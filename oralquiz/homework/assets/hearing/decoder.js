// Vosk as WebAssembly (listen/vosk.py): sound in, hypotheses out.
//
// The library has no call for lists of hypotheses in this build, though they are in it: their number
// is a field of the recogniser. Its place is checked before it is written to, by what lies beside it.

/** @import { Calibration } from "./posterior.js" */

import { AROUND_S, normalised } from "./level.js";
import { RATE } from "./rounding.js";

const ALTERNATIVES = 20;
const MOST_PLACE = 56, WORDS_PLACE = 60, RATE_PLACE = 64; // bytes into the recogniser
const QUIET = -3;

/**
 * @typedef {{ text: string, startS: number, endS: number }} Word
 * @typedef {{ text: string, words: Word[], score: number }} Hypothesis
 *
 * @typedef {object} Decoder
 * @property {Calibration} calibration
 * @property {Set<string>} unknown
 * @property {(samples: Float32Array) => Hypothesis[]} decode
 *
 * @typedef {object} VoskRecognizer
 * @property {{ ptr: number }} $$
 * @property {(on: boolean) => void} SetWords
 * @property {(at: number, count: number) => boolean} AcceptWaveform
 * @property {() => string} FinalResult
 * @property {() => void} delete
 *
 * @typedef {object} VoskLibrary
 * @property {Uint8Array} HEAPU8
 * @property {Int32Array} HEAP32
 * @property {Float32Array} HEAPF32
 * @property {(size: number) => number} _malloc
 * @property {(at: number) => void} _free
 * @property {(level: number) => void} SetLogLevel
 * @property {{ mkdirTree: (path: string) => void, writeFile: (path: string, bytes: Uint8Array) => void }} FS
 * @property {new (folder: string) => object} Model
 * @property {new (model: object, rate: number) => VoskRecognizer} Recognizer
 *
 * @typedef {(given: { wasmBinary: Uint8Array, print: () => void, printErr: () => void })
 *   => Promise<VoskLibrary>} LoadVosk
 *
 * @typedef {{ word: string, start: number, end: number }} TimedWord
 * @typedef {{ confidence: number, result?: TimedWord[] }} Alternative
 *
 * @typedef {object} ModelParts
 * @property {Record<string, Uint8Array>} files by the names that the library reads
 * @property {Calibration} calibration
 * @property {string[]} unknown
 */

/** @implements {Decoder} */
export class VoskDecoder {
  /**
   * @param {VoskLibrary} library
   * @param {ModelParts} parts
   */
  constructor(library, { files, calibration, unknown }) {
    this.library = library;
    this.calibration = calibration;
    this.unknown = new Set(unknown);
    library.SetLogLevel(QUIET);
    for (const [name, bytes] of Object.entries(files)) {
      library.FS.mkdirTree(`/model/${name}`.replace(/\/[^/]*$/, ""));
      library.FS.writeFile(`/model/${name}`, bytes);
    }
    this.model = new library.Model("/model");
    this.checkPlaces();
  }

  // Throws where the recogniser is not laid out as is expected.
  checkPlaces() {
    const recognizer = new this.library.Recognizer(this.model, RATE);
    try {
      const at = recognizer.$$.ptr, { HEAPU8, HEAPF32 } = this.library;
      const before = HEAPU8.slice(at, at + 2 * RATE_PLACE);
      recognizer.SetWords(!before[WORDS_PLACE]);
      const after = this.library.HEAPU8.slice(at, at + 2 * RATE_PLACE);
      const changed = [...after.keys()].filter((n) => after[n] !== before[n]);
      const rate = HEAPF32[(at + RATE_PLACE) / 4];
      if (changed.join() !== String(WORDS_PLACE) || rate !== RATE) {
        throw new Error("the recogniser is not the one that is known");
      }
    } finally {
      recognizer.delete();
    }
  }

  /**
   * The likeliest hypotheses, best first, numbers or not.
   * @param {Float32Array} samples
   * @returns {Hypothesis[]}
   */
  decode(samples) {
    const steps = normalised(samples);
    const { library } = this;
    const recognizer = new library.Recognizer(this.model, RATE);
    const at = library._malloc(4 * steps.length);
    try {
      recognizer.SetWords(true);
      library.HEAP32[(recognizer.$$.ptr + MOST_PLACE) / 4] = ALTERNATIVES;
      library.HEAPF32.set(steps, at / 4);
      recognizer.AcceptWaveform(at, steps.length);
      return hypothesesIn(recognizer.FinalResult());
    } finally {
      library._free(at);
      recognizer.delete();
    }
  }
}

/**
 * @param {string} result
 * @returns {Hypothesis[]}
 */
function hypothesesIn(result) {
  /** @type {{ alternatives: Alternative[] }} */
  const { alternatives } = JSON.parse(result);
  return alternatives.map(({ confidence, result: said = [] }) => ({
    text: said.map(({ word }) => word).join(" "),
    words: said.map(({ word, start, end }) => ({
      text: word, startS: start - AROUND_S, endS: end - AROUND_S,
    })),
    score: confidence,
  }));
}
