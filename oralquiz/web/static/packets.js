// The stream's last packets, kept until the server has them. A packet is named by its first block.

export const BLOCK = 320; // samples: 20 ms
export const PACKET = 3; // blocks in a packet
const MOST = 1000; // packets: a minute

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
    this.next = number + PACKET;
    this.kept.set(number, packet);
    if (this.kept.size > MOST) this.kept.delete(this.oldest);
    return true;
  }

  /**
   * The server has everything before the block `next`.
   * @param {number} next
   */
  receipt(next) {
    for (const number of this.kept.keys()) {
      if (number + PACKET > next) break;
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
    return [...this.kept].filter(([number]) => number + PACKET > next).map(([, packet]) => packet);
  }
}
