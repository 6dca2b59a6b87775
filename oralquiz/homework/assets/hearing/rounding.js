// Numbers as the program's Python rounds and writes them, so that equal events are equal bytes.

export const RATE = 16000; // samples of a session in a second
export const BLOCK = 320; // samples of a block: 20 ms

/**
 * The nearest whole number; halves go to the even one.
 * @param {number} x
 */
export function roundEven(x) {
  const below = Math.floor(x), over = x - below;
  if (over !== 0.5) return over < 0.5 ? below : below + 1;
  return below % 2 === 0 ? below : below + 1;
}

/**
 * `x` to 6 decimals; halves go to the even digit. Only odd multiples of 1/128 lie halfway exactly.
 * @param {number} x
 */
export function roundSix(x) {
  const halfway = Math.abs(x * 128) % 2 === 1;
  return halfway ? roundEven(x * 1e6) / 1e6 : Number(x.toFixed(6));
}

/** @param {number} seconds */
export function samplesIn(seconds) {
  return roundEven(seconds * RATE);
}

/**
 * A number with a point, as Python writes it: 1.0, 0.25, 5e-05.
 * @param {number} x
 */
export function decimalText(x) {
  if (Number.isInteger(x)) return `${x}.0`;
  if (Math.abs(x) >= 1e-4) return String(x);
  return x.toExponential().replace(/e-(\d)$/, "e-0$1");
}
