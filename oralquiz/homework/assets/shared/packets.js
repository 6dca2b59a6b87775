// The stream's last packets, kept until the server has them. A packet is named by its first block.

export const BLOCK = 320; // samples: 20 ms
const MOST = 3000; // blocks: a minute

/**
 * How many blocks a packet holds.
 * @param {ArrayBuffer} packet
 */
export function blocksIn(packet) {
  return (packet.byteLength - 4) / (2 * BLOCK);
}

export class Packets {
  constructor() {
    /** @type {Map<number, ArrayBuffer>} */
    this.kept = new Map();
    this.next = 0; // the block that comes next from the microphone
  }

  /** @param {number} next */
  restart(next) {
    this.kept.clear();
    this.next = next;
  }

  clear() {
    this.kept.clear();
  }

  /**
   * Keep a packet; false for one that is not the next.
   * @param {number} number
   * @param {ArrayBuffer} packet
   */
  add(number, packet) {
    if (number !== this.next) return false;
    this.next = number + blocksIn(packet);
    this.kept.set(number, packet);
    while (this.next - this.oldest > MOST) this.kept.delete(this.oldest);
    return true;
  }

  /**
   * The server has everything before the block `next`.
   * @param {number} next
   */
  receipt(next) {
    for (const [number, packet] of this.kept) {
      if (number + blocksIn(packet) > next) break;
      this.kept.delete(number);
    }
  }

  get oldest() {
    return this.kept.keys().next().value ?? this.next;
  }

  /**
   * The kept packets from the block `next` on.
   * @param {number} next
   */
  from(next) {
    const wanted = [...this.kept].filter(([number, packet]) => number + blocksIn(packet) > next);
    return wanted.map(([, packet]) => packet);
  }
}
