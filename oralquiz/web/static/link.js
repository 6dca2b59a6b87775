// A WebSocket that comes back. Messages are JSON objects; sound goes as binary.

const MOST_WAITING = 2_000_000; // bytes: a minute of sound
const SILENCE = 10_000; // ms: the server says something every 4 s; a network may go without a word

export class Link {
  constructor(path, { onOpen, onMessage, onLost, onRefused }) {
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    this.url = `${scheme}//${location.host}${path}`;
    Object.assign(this, { onOpen, onMessage, onLost, onRefused });
    this.tries = 0;
    this.connect();
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
    const socket = this.socket = new WebSocket(this.url);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => {
      this.tries = 0;
      this.onOpen();
    };
    socket.onmessage = (event) => {
      this.heard = performance.now();
      this.onMessage(JSON.parse(event.data));
    };
    socket.onclose = (event) => this.lost(event);
  }

  lost(event) {
    if (this.closed) return;
    this.onLost();
    if (event.code >= 4400) { // the server does not want this page: no use in trying
      this.closed = true;
      const why = event.reason || "this page is not wanted any more";
      this.onRefused(`${why[0].toUpperCase()}${why.slice(1)}.`);
      return;
    }
    const wait = Math.min(5000, 250 * 2 ** this.tries++) * (0.75 + Math.random() / 2);
    this.timer = setTimeout(() => this.connect(), wait);
  }

  watch() {
    if (this.closed || this.socket.readyState === WebSocket.CLOSED) return; // the next try is due
    if (performance.now() - this.heard < SILENCE) return;
    this.giveUp();
  }

  giveUp() {
    this.leave();
    this.heard = performance.now(); // nothing is expected before the next try
    this.lost({ code: 1006 }); // the one that a browser gives a connection that broke (RFC 6455)
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
    this.connect();
  }

  send(message) {
    if (this.open) this.socket.send(JSON.stringify(message));
  }

  // What waits longer than the page keeps it stands in a network that is gone, whatever it says.
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
