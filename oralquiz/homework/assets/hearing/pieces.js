// Bytes and sound put together, and bytes out of the page's own packing.

/** @param {Uint8Array[]} parts */
export function joinedBytes(parts) {
  return joined(parts, new Uint8Array(lengthOf(parts)));
}

/** @param {Float32Array[]} parts */
export function joinedSound(parts) {
  return joined(parts, new Float32Array(lengthOf(parts)));
}

/** @param {{ length: number }[]} parts */
function lengthOf(parts) {
  return parts.reduce((sum, part) => sum + part.length, 0);
}

/**
 * @template {Uint8Array | Float32Array} T
 * @param {ArrayLike<number>[]} parts
 * @param {T} whole
 */
function joined(parts, whole) {
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

/** @param {Uint8Array<ArrayBuffer>} packed by gzip */
export async function unpacked(packed) {
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}
