// A WebSocket that comes back. Messages are JSON objects; sound goes as binary.

/** @import { PageMessage, ServerMessage } from "./protocol.js" */

const MOST_WAITING = 2_000_000; // bytes: a minute of sound
const SILENCE = 10_000; // ms: the server says something every 4 s; a network may go without a word

export const NOT_IN = "Sign in first."; // why a page is refused whose cookie opens nothing any more

/**
 * @typedef {object} LinkHooks
 * @property {() => void} onOpen
 * @property {(message: ServerMessage) => void} onMessage
 * @property {() => void} onLost
 * @property {(why: string) => void} onRefused the server does not want this page
 */

export class Link {
  /**
   * @param {string} path
   * @param {LinkHooks} hooks
   */
  constructor(path, hooks) {
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    this.url = `${scheme}//${location.host}${path}`;
    this.hooks = hooks;
    this.tries = 0;
    this.closed = false;
    this.heard = 0;
    /** @type {number | undefined} */
    this.timer = undefined;
    this.socket = this.connect();
    setInterval(() => this.watch(), 1000);
    addEventListener("online", () => this.hurry());
    addEventListener("pagehide", () => this.close());
    addEventListener("pageshow", (event) => event.persisted && location.reload());
  }

  get open() {
    return this.socket.readyState === WebSocket.OPEN;
  }

  connect() {
    this.closed = false;
    this.heard = performance.now();
    const socket = new WebSocket(this.url);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => {
      this.tries = 0;
      this.hooks.onOpen();
    };
    socket.onmessage = (event) => {
      this.heard = performance.now();
      this.hooks.onMessage(JSON.parse(event.data));
    };
    socket.onclose = (event) => this.lost(event.code, event.reason);
    return socket;
  }

  reconnect() {
    this.socket = this.connect();
  }

  /**
   * @param {number} code
   * @param {string} reason
   */
  lost(code, reason) {
    if (this.closed) return;
    this.hooks.onLost();
    if (code >= 4400) { // the server does not want this page: no use in trying
      this.closed = true;
      const why = reason || "the server has closed this page";
      this.hooks.onRefused(`${why.slice(0, 1).toUpperCase()}${why.slice(1)}.`);
      return;
    }
    const wait = Math.min(5000, 250 * 2 ** this.tries++) * (0.75 + Math.random() / 2);
    this.timer = setTimeout(() => this.reconnect(), wait);
  }

  watch() {
    if (this.closed || this.socket.readyState === WebSocket.CLOSED) return; // the next try is due
    if (performance.now() - this.heard < SILENCE) return;
    this.giveUp();
  }

  giveUp() {
    this.leave();
    this.heard = performance.now(); // nothing is expected before the next try
    this.lost(1006, ""); // the code that a browser gives a connection that broke (RFC 6455)
  }

  // End the connection without waiting for the other end to agree.
  leave() {
    const { socket } = this;
    socket.onopen = socket.onmessage = socket.onclose = null;
    socket.close();
  }

  hurry() {
    if (this.closed || this.open || this.socket.readyState === WebSocket.CONNECTING) return;
    clearTimeout(this.timer);
    this.leave();
    this.reconnect();
  }

  /**
   * Whether it was sent: there must be a connection.
   * @param {PageMessage} message
   */
  send(message) {
    const { open } = this;
    if (open) this.socket.send(JSON.stringify(message));
    return open;
  }

  /**
   * What has waited longer than the page keeps it is stuck in a dead network, whatever its state says.
   * @param {ArrayBuffer} packet
   */
  sendSound(packet) {
    if (!this.open) return;
    if (this.socket.bufferedAmount > MOST_WAITING) this.giveUp();
    else this.socket.send(packet);
  }

  close() {
    this.closed = true;
    this.socket.close();
  }
}
