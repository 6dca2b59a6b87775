// FLAC (RFC 9639) as it is made: 16-bit stereo at 16 kHz, blocks of 4096, the fixed predictors.

import { RATE } from "./rounding.js";

const SIZE = 4096; // samples of a block
const MOST_RICE = 14, MOST_ORDER = 4;
const STREAM_INFO = 34; // bytes

/** Bits, the first of each byte its highest. */
class BitWriter {
  constructor() {
    this.bytes = new Uint8Array(1 << 15);
    this.length = 0; // whole bytes
    this.held = 0; // bits that do not fill a byte yet
    this.count = 0;
  }

  /**
   * The lowest `count` bits of `value`, up to 32.
   * @param {number} value
   * @param {number} count
   */
  write(value, count) {
    for (let left = count; left > 0;) {
      const some = Math.min(left, 8 - this.count);
      left -= some;
      this.held = (this.held << some) | ((value >>> left) & ((1 << some) - 1));
      this.count += some;
      if (this.count === 8) this.flush();
    }
  }

  /** @param {number} zeros and then a one */
  writeUnary(zeros) {
    for (let left = zeros; left > 0; left -= 24) this.write(0, Math.min(left, 24));
    this.write(1, 1);
  }

  fill() {
    if (this.count) this.write(0, 8 - this.count);
  }

  flush() {
    if (this.length === this.bytes.length) {
      const grown = new Uint8Array(2 * this.length);
      grown.set(this.bytes);
      this.bytes = grown;
    }
    this.bytes[this.length++] = this.held;
    this.held = 0;
    this.count = 0;
  }

  written() {
    return this.bytes.slice(0, this.length);
  }
}

export class FlacWriter {
  constructor() {
    /** @type {Uint8Array<ArrayBuffer>[]} */
    this.frames = [];
    this.pending = [new Int32Array(SIZE), new Int32Array(SIZE)];
    this.filled = 0;
    this.samples = 0;
  }

  /**
   * Both channels' next samples, in -1 .. 1 and already in steps of 16 bits.
   * @param {Float32Array} left
   * @param {Float32Array} right
   */
  add(left, right) {
    for (let n = 0; n < left.length; n++) {
      this.pending[0][this.filled] = left[n] * 32768;
      this.pending[1][this.filled] = right[n] * 32768;
      if (++this.filled === SIZE) this.endBlock();
    }
  }

  endBlock() {
    if (this.filled === 0) return;
    const channels = this.pending.map((channel) => channel.subarray(0, this.filled));
    this.frames.push(frameOf(channels, this.frames.length));
    this.samples += this.filled;
    this.filled = 0;
  }

  // The whole file; nothing is added after it.
  finish() {
    this.endBlock();
    return [streamInfo(this.samples), ...this.frames];
  }
}

/** @param {number} samples */
function streamInfo(samples) {
  const out = new BitWriter();
  for (const letter of "fLaC") out.write(letter.charCodeAt(0), 8);
  out.write(0x80, 8); // the only block about the stream
  out.write(STREAM_INFO, 24);
  out.write(SIZE, 16);
  out.write(SIZE, 16);
  out.write(0, 24);
  out.write(0, 24); // sizes of frames: not told
  out.write(RATE, 20);
  out.write(1, 3); // two channels
  out.write(15, 5); // 16 bits
  out.write(0, 4);
  out.write(samples, 32);
  for (let n = 0; n < 4; n++) out.write(0, 32); // checksum of the sound: not told
  return out.written();
}

/**
 * @param {Int32Array[]} channels
 * @param {number} number of the frame
 */
function frameOf(channels, number) {
  const out = new BitWriter(), size = channels[0].length;
  out.write(0xfff8, 16); // blocks of one size
  out.write(size === SIZE ? 12 : 7, 4);
  out.write(5, 4); // 16 kHz
  out.write(1, 4); // two channels, each by itself
  out.write(4, 3); // 16 bits
  out.write(0, 1);
  writeNumber(out, number);
  if (size !== SIZE) out.write(size - 1, 16);
  out.write(crc(out.written(), 0x07, 8), 8);
  for (const channel of channels) writeChannel(out, channel);
  out.fill();
  out.write(crc(out.written(), 0x8005, 16), 16);
  return out.written();
}

/**
 * As UTF-8 writes a letter of that number.
 * @param {BitWriter} out
 * @param {number} number
 */
function writeNumber(out, number) {
  if (number < 0x80) return out.write(number, 8);
  let more = 1;
  while (number >= 2 ** (6 * more + 6 - more)) more++;
  out.write((0xff00 >> (more + 1)) & 0xff | (number >> (6 * more)), 8);
  for (let n = more - 1; n >= 0; n--) out.write(0x80 | ((number >> (6 * n)) & 0x3f), 8);
}

/**
 * @param {BitWriter} out
 * @param {Int32Array} samples
 */
function writeChannel(out, samples) {
  if (samples.every((one) => one === samples[0])) {
    out.write(0, 8);
    out.write(samples[0], 16);
    return;
  }
  const { order, residual } = predicted(samples);
  out.write(0b001000 | order, 7);
  out.write(0, 1);
  for (let n = 0; n < order; n++) out.write(samples[n], 16);
  writeResidual(out, residual, samples.length, order);
}

/**
 * The order of the fixed predictor that leaves least, and what it leaves.
 * @param {Int32Array} samples
 */
function predicted(samples) {
  let left = samples, best = { order: 0, residual: samples, size: sizeOf(samples) };
  for (let order = 1; order <= Math.min(MOST_ORDER, samples.length - 1); order++) {
    const next = new Int32Array(left.length - 1);
    for (let n = 0; n < next.length; n++) next[n] = left[n + 1] - left[n];
    left = next;
    const size = sizeOf(left);
    if (size < best.size) best = { order, residual: left, size };
  }
  return best;
}

/** @param {Int32Array} values */
function sizeOf(values) {
  let sum = 0;
  for (const value of values) sum += Math.abs(value);
  return sum;
}

/**
 * In eighths where the block can be divided so, each with its own Rice parameter.
 * @param {BitWriter} out
 * @param {Int32Array} residual
 * @param {number} size of the block
 * @param {number} order
 */
function writeResidual(out, residual, size, order) {
  const halvings = size === SIZE ? 3 : 0, part = size >> halvings;
  out.write(0, 2);
  out.write(halvings, 4);
  for (let end = part - order, first = 0; first < residual.length; first = end, end += part) {
    writePart(out, residual.subarray(first, end));
  }
}

/**
 * @param {BitWriter} out
 * @param {Int32Array} values
 */
function writePart(out, values) {
  const mean = (2 * sizeOf(values)) / Math.max(1, values.length);
  const rice = Math.min(MOST_RICE, Math.max(0, Math.floor(Math.log2(Math.max(1, mean * 0.7)))));
  out.write(rice, 4);
  for (const value of values) {
    const folded = value >= 0 ? 2 * value : -2 * value - 1;
    out.writeUnary(folded >>> rice);
    if (rice) out.write(folded, rice);
  }
}

/**
 * @param {Uint8Array} bytes
 * @param {number} polynomial
 * @param {8 | 16} width in bits
 */
function crc(bytes, polynomial, width) {
  const table = tableOf(polynomial, width), mask = width === 8 ? 0xff : 0xffff;
  let sum = 0;
  for (const byte of bytes) sum = ((sum << 8) & mask) ^ table[(sum >> (width - 8)) ^ byte];
  return sum;
}

/** @type {Map<number, Uint16Array>} */
const tables = new Map();

/**
 * @param {number} polynomial
 * @param {8 | 16} width
 */
function tableOf(polynomial, width) {
  const had = tables.get(polynomial);
  if (had !== undefined) return had;
  const high = 1 << (width - 1), mask = width === 8 ? 0xff : 0xffff;
  const table = Uint16Array.from({ length: 256 }, (_, byte) => {
    let sum = byte << (width - 8);
    for (let n = 0; n < 8; n++) sum = ((sum << 1) ^ (sum & high ? polynomial : 0)) & mask;
    return sum;
  });
  tables.set(polynomial, table);
  return table;
}
