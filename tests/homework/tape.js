// A recorded session as microphone, loudspeaker and recogniser of a round that is run again, as
// session/reruns.py has it. Runs in the page's worker, whose classes it uses.

/**
 * The lines of the events that come out.
 * @param {{ pcm: string, lines: string[], head: object, options: object, highest: number }} session
 */
async ({ pcm, lines, head, options, highest }) => {
  const bytes = Uint8Array.from(atob(pcm), (letter) => letter.charCodeAt(0));
  const sound = new Int16Array(bytes.buffer), length = sound.length / 2;
  const events = lines.map((line) => JSON.parse(line));
  const next = (type) => events.filter((event) => event.type === type);
  const [dictated, asked, heard, commands] =
    ["dictated", "asked_again", "heard", "commanded"].map(next);
  const judged = new Set(next("judged").filter(({ typed }) => !typed).map(({ at }) => at));
  const starts = [];
  let position = 0, from = 0, latest = NOTHING;
  const part = (first, end, channel) => Float32Array.from(
    { length: end - first }, (_, n) => (sound[2 * (first + n) + channel] ?? 0) / 32768,
  );
  const seconds = (sample) => (sample === null ? null : (sample - from) / RATE);
  const listener = {
    get speaking() { return !judged.has(position); },
    feed() {
      if (heard[0]?.at !== position) return null;
      const { guesses, words, onset, offset } = heard.shift();
      latest = { candidates: guesses, words, onsetS: seconds(onset), offsetS: seconds(offset) };
      return latest;
    },
    finish: () => latest,
  };
  const recorder = new SessionRecorder(head, true, () => {});
  const runner = new Runner(head.round, options, highest, {
    recorder, filter: null, out: { play: () => starts.shift(), stop() {} },
    recognizer: { listen: () => { [from, latest] = [position, NOTHING]; return listener; } },
    reader: {
      dictation() {
        const { start, end, pace_s, terms } = dictated.shift();
        starts.push(start);
        const spoken = terms.map(({ text, onset, offset }) => ({
          text, onset: onset - start, offset: offset - start,
        }));
        return { samples: part(start, end, 0), pace_s, terms: spoken };
      },
      phrase() {
        const { start, end } = asked.shift();
        starts.push(start);
        return part(start, end, 0);
      },
    },
  }, false);
  while (position + BLOCK <= length) {
    const start = position;
    position += BLOCK;
    while (commands[0]?.at === position) runner.command(commands.shift());
    runner.take(part(start, position, 1));
  }
  const file = new Uint8Array(await (await recorder.finish()).arrayBuffer());
  let letters = "";
  for (const byte of file) letters += String.fromCharCode(byte);
  return btoa(letters);
}
