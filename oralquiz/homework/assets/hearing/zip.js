// A zip of a few files, each packed or as it is (PKWARE APPNOTE 4.3).

const LOCAL = 0x04034b50, CENTRAL = 0x02014b50, END_OF_ZIP = 0x06054b50;
const VERSION = 20, EPOCH = 0x0021; // 1 January 1980

/** @typedef {{ name: string, bytes: Uint8Array<ArrayBuffer>, packs: boolean }} Part */

/**
 * @param {Part[]} parts
 * @returns {Promise<Blob>}
 */
export async function zipped(parts) {
  /** @type {Uint8Array<ArrayBuffer>[]} */
  const pieces = [], central = [];
  let at = 0;
  for (const { name, bytes, packs } of parts) {
    const held = packs ? await deflated(bytes) : bytes;
    const letters = new TextEncoder().encode(name);
    const told = [
      VERSION, 0, packs ? 8 : 0, 0, EPOCH, ...halves(checksum(bytes)), ...halves(held.length),
      ...halves(bytes.length), letters.length, 0,
    ];
    pieces.push(words([...halves(LOCAL), ...told]), letters, held);
    central.push(words([...halves(CENTRAL), VERSION, ...told, 0, 0, 0, 0, 0, ...halves(at)]), letters);
    at += 30 + letters.length + held.length;
  }
  const size = central.reduce((sum, one) => sum + one.length, 0), count = parts.length;
  const end = words([...halves(END_OF_ZIP), 0, 0, count, count, ...halves(size), ...halves(at), 0]);
  return new Blob([...pieces, ...central, end], { type: "application/zip" });
}

/** @param {Uint8Array<ArrayBuffer>} bytes */
async function deflated(bytes) {
  const packed = new Blob([bytes]).stream().pipeThrough(new CompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(packed).arrayBuffer());
}

/**
 * The lower and the upper 16 bits.
 * @param {number} value
 */
function halves(value) {
  return [value & 0xffff, value >>> 16];
}

/** @param {number[]} values of 16 bits each */
function words(values) {
  const bytes = new Uint8Array(2 * values.length), view = new DataView(bytes.buffer);
  values.forEach((value, n) => view.setUint16(2 * n, value, true));
  return bytes;
}

const SUMS = Uint32Array.from({ length: 256 }, (_, byte) => {
  let sum = byte;
  for (let n = 0; n < 8; n++) sum = sum & 1 ? (sum >>> 1) ^ 0xedb88320 : sum >>> 1;
  return sum;
});

/** @param {Uint8Array} bytes */
function checksum(bytes) {
  let sum = 0xffffffff;
  for (const byte of bytes) sum = (sum >>> 8) ^ SUMS[(sum ^ byte) & 0xff];
  return ~sum >>> 0;
}
