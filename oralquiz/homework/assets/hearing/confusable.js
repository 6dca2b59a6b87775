// Numbers easily mistaken for one another by ear (judge/confusable.py, listen/languages/en.py).

/**
 * 30 for 13, 13 for 30, 130 for 113; null where there is none.
 * @param {number} value
 */
function soundAlike(value) {
  const hundreds = Math.floor(Math.abs(value) / 100), rest = Math.abs(value) % 100;
  const tens = Math.floor(rest / 10), ones = rest % 10;
  const teen = tens === 1 && ones >= 3, ten = tens >= 3 && ones === 0;
  if (!teen && !ten) return null;
  return Math.sign(value) * (100 * hundreds + (teen ? 10 * ones : 10 + tens));
}

/**
 * Whether the two are a teen and a ten that sound alike.
 * @param {number} one
 * @param {number} other
 */
export function confusable(one, other) {
  return soundAlike(one) === other;
}

/**
 * Whether `value` may be what is left of `whole` when some of its words are not heard.
 * @param {number} value
 * @param {number} whole
 */
function heardInPart(value, whole) {
  if (value === whole || value < 0) return false;
  const digits = [...String(Math.abs(whole))].reverse().map(Number);
  if (digits.includes(value)) return true;
  for (let first = 0; first < digits.length; first++) {
    let run = 0;
    for (let last = first; last < digits.length; last++) {
      run += digits[last] * 10 ** last;
      if (run === value) return true;
    }
  }
  return false;
}

/**
 * Whether one may be heard for the other because words were lost or added.
 * @param {number} one
 * @param {number} other
 */
export function overlapping(one, other) {
  return heardInPart(one, other) || heardInPart(other, one);
}
