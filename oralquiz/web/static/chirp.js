// How long sound takes from this page's clock to the loudspeaker, the air and back: by a chirp.

const SECONDS = 1.2;

// Measures and keeps it; resolves with a sentence for people.
export async function measured(sound) {
  try {
    const buffer = await sound.load("chirp", "/chirp");
    const heard = await sound.record(buffer, SECONDS);
    const response = await fetch("/chirp", {
      method: "POST", body: heard.buffer, headers: { "content-type": "application/octet-stream" },
    });
    const answer = await response.json();
    if (!response.ok) return answer.trouble;
    sound.measured = answer.delay_s;
    sound.watchDelay();
    return `Measured: ${Math.round(1000 * answer.delay_s)} ms. Times count from what is heard.`;
  } catch (error) {
    return `It could not be measured (${error.message}).`;
  }
}
