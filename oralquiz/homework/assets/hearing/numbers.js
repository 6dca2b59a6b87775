// English number words to values, and whether a number can still grow (listen/languages/en.py).

const ONES = "one two three four five six seven eight nine";
const TEN_TO_NINETEEN = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen";
const TWENTY_TO_NINETY = "twenty thirty forty fifty sixty seventy eighty ninety";
const ZEROS = new Set(["zero", "oh", "o", "nought", "naught"]);
/** @type {Map<string, number>} */
const DIGITS = new Map([
  ...ONES.split(" ").map((word, n) => /** @type {[string, number]} */ ([word, n + 1])),
  ...[...ZEROS].map((word) => /** @type {[string, number]} */ ([word, 0])),
]);
/** @type {Map<string, number>} */
const TEENS = new Map(TEN_TO_NINETEEN.split(" ").map((word, n) => [word, n + 10]));
/** @type {Map<string, number>} */
const TENS = new Map(TWENTY_TO_NINETY.split(" ").map((word, n) => [word, 10 * (n + 2)]));
const SIGNS = new Set(["minus", "negative"]);
const GLUE = new Set(["a", "and", ...SIGNS]);
const SCALES = new Set(["hundred", "thousand"]);
const COUNTING = new Set([...DIGITS.keys(), ...TEENS.keys(), ...TENS.keys(), ...SCALES]);
const FILLERS = new Set(["um", "uh", "er", "erm", "ah", "eh", "hm", "hmm", "mm", "mhm"]);
const MOST_DIGITS = 9;

/** @typedef {"closed" | "digits" | "open"} Growth what a number may still become */

/** @param {string} word */
function isNumberWord(word) {
  return COUNTING.has(word) || GLUE.has(word);
}

/**
 * @param {string} words
 * @returns {string[]}
 */
function tokens(words) {
  return words.toLowerCase().match(/[\p{L}\p{N}_'[\]<>]+/gu) ?? [];
}

/**
 * The one number that `words` say; the last one counts.
 * @param {string} words
 */
export function numberIn(words) {
  const last = lastNumber(words);
  return last === null ? null : signed(last);
}

/** @param {string} words */
export function hasNumber(words) {
  return tokens(words).some((word) => COUNTING.has(word));
}

/** @param {string} words */
export function digitByDigit(words) {
  const spoken = (lastNumber(words) ?? []).filter((word) => !GLUE.has(word));
  return spoken.length > 1 && spoken.every((word) => DIGITS.has(word));
}

/** @param {string} words */
export function expectsMore(words) {
  return GLUE.has(tokens(words).at(-1) ?? "");
}

/**
 * What the number that `words` end in may still become within lowest .. highest.
 * @param {string} words
 * @param {number} lowest
 * @param {number} highest
 * @returns {Growth}
 */
export function numberGrowth(words, lowest, highest) {
  const last = lastNumber(words);
  if (last === null || !isNumberWord(tokens(words).at(-1) ?? "")) return "open";
  const negative = SIGNS.has(last[0]), run = negative ? last.slice(1) : last;
  const most = negative ? -lowest : highest, value = cardinal(run);
  if (value === null || mayGoOn(run, value, most)) return "open";
  const digits = value > 0 && run.every((word) => DIGITS.has(word)) && 10 * value <= most;
  return digits ? "digits" : "closed";
}

/**
 * Whether a usual number of the range begins like this.
 * @param {string[]} run
 * @param {number} value
 * @param {number} most
 */
function mayGoOn(run, value, most) {
  const last = run[run.length - 1], thousand = run.includes("thousand");
  const hundred = run.includes("hundred");
  if ((TENS.has(last) || SCALES.has(last)) && value + 1 <= most) return true;
  if (value > 0 && !thousand && !hundred && 100 * value <= most) return true;
  if (value > 0 && !thousand && value < 1000 && 1000 * value <= most) return true;
  return thousand && mayHaveHundreds(run, value, most);
}

/**
 * Whether "one thousand two" may go on as "one thousand two hundred".
 * @param {string[]} run
 * @param {number} value
 * @param {number} most
 */
function mayHaveHundreds(run, value, most) {
  const rest = value % 1000;
  if (run.includes("hundred") || run.includes("and")) return false;
  return rest > 0 && rest < 10 && value + 99 * rest <= most;
}

/**
 * The last run of number words that is more than glue, from its sign or first number on.
 * @param {string} words
 */
function lastNumber(words) {
  let last = null;
  for (const run of runs(tokens(words).filter((word) => !FILLERS.has(word)))) {
    let from = 0;
    while (run[from] === "and" || (run[from] === "a" && !SCALES.has(run[from + 1] ?? ""))) from++;
    const kept = run.slice(from);
    if (kept.some((word) => !GLUE.has(word))) last = kept;
  }
  return last;
}

/** @param {string[]} spoken */
function runs(spoken) {
  /** @type {string[][]} */
  const found = [[]];
  for (const word of spoken) {
    if (isNumberWord(word)) found[found.length - 1].push(word);
    else found.push([]);
  }
  return found.filter((run) => run.length);
}

/** @param {string[]} run */
function signed(run) {
  if (SIGNS.has(run[0])) {
    const most = cardinal(run.slice(1));
    return most === null ? null : most === 0 ? 0 : -most;
  }
  const value = cardinal(run), half = run.length / 2;
  if (value !== null || !Number.isInteger(half)) return value;
  const once = run.slice(0, half);
  return once.every((word, n) => word === run[half + n]) ? cardinal(once) : null; // said twice
}

/**
 * @param {string[]} run
 * @returns {number | null}
 */
function cardinal(run) {
  if (run.length === 1 && ZEROS.has(run[0])) return 0;
  if (run.length >= 2 && run.length <= MOST_DIGITS && run.every((word) => DIGITS.has(word))) {
    return Number(run.map((word) => DIGITS.get(word)).join(""));
  }
  if (run.includes("thousand")) return scaled(run, "thousand", 1000, belowThousand);
  return scaled(run, "hundred", 100, belowHundred);
}

/** @param {string[]} run */
function belowThousand(run) {
  const value = scaled(run, "hundred", 100, belowHundred);
  return value !== null && value < 1000 ? value : null;
}

/**
 * [how many] scale [and] rest, or what `below` makes of a run without the scale.
 * @param {string[]} run
 * @param {string} scale
 * @param {number} factor
 * @param {(run: string[]) => number | null} below
 */
function scaled(run, scale, factor, below) {
  const at = run.indexOf(scale);
  if (at < 0) return below(run);
  const many = at === 0 || (at === 1 && run[0] === "a") ? 1 : below(run.slice(0, at));
  const rest = run.slice(at + 1);
  const under = rest[0] === "and" ? below(rest.slice(1)) : rest.length ? below(rest) : 0;
  return many === null || under === null ? null : factor * many + under;
}

/**
 * 1..99 in one or two words.
 * @param {string[]} run
 */
function belowHundred(run) {
  const [first, second] = run;
  if (run.length === 1) return TEENS.get(first) || TENS.get(first) || DIGITS.get(first) || null;
  const tens = TENS.get(first), ones = DIGITS.get(second);
  return run.length === 2 && tens && ones ? tens + ones : null;
}
