// Bytes put together, and out of the page's own packing.

/** @param {Uint8Array[]} parts */
export function joinedBytes(parts) {
  const bytes = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    bytes.set(part, at);
    at += part.length;
  }
  return bytes;
}

/** @param {Uint8Array<ArrayBuffer>} packed by gzip */
export async function unpacked(packed) {
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}
