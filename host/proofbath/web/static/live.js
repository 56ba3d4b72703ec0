/* The connection to a bench: what comes over the websocket, and whether it still comes. */

const SILENT_MS = 2000;
const RETRY_MS = [300, 700, 1500, 3000];
const SIGNED_OUT = 4401;
const STEP_MS = 100;

export class Live {
  /** `tell` has begin(message), more(moments, all), state(state), link(up, silentForSeconds). */
  constructor(bench, tell) {
    this.bench = bench;
    this.tell = tell;
    this.tries = 0;
    this.heard = performance.now();
    this.waiting = [];
    this.asked = null;
    this.connect();
    setInterval(() => this.watch(), 500);
    setInterval(() => this.play(), STEP_MS);
  }

  connect() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const path = encodeURIComponent(this.bench);
    this.socket = new WebSocket(`${scheme}://${location.host}/live/${path}`);
    this.socket.onopen = () => { if (this.asked) this.socket.send(this.asked); };
    this.socket.onmessage = (event) => this.take(JSON.parse(event.data));
    this.socket.onclose = (event) => this.closed(event);
  }

  /** Asks for another part of the record: seconds before the end (null: all), spans across. */
  look(lastS, buckets) {
    this.asked = JSON.stringify({ last_s: lastS, buckets });
    if (this.socket.readyState === WebSocket.OPEN) this.socket.send(this.asked);
  }

  take(message) {
    this.heard = performance.now();
    this.tries = 0;
    this.tell.link(true, 0);
    if (message.kind === "begin") {
      this.waiting = [];
      this.tell.begin(message);
    } else if (message.kind === "more") {
      this.queue(message.history);
    } else {
      this.tell.state(message.state);
    }
  }

  /** Samples come once a second; they are shown one by one, as they were measured. */
  queue(history) {
    for (let i = 0; i < history.t_s.length; i += 1) {
      this.waiting.push({
        t_s: history.t_s[i],
        bath_c: history.bath_c[i],
        setpoint_c: history.setpoint_c[i],
        lift_mm: history.lift_mm.map((column) => column[i]),
        element_a: history.element_a.map((column) => column[i]),
      });
    }
    this.share = Math.max(1, Math.ceil((this.waiting.length * STEP_MS) / 1000));
  }

  play() {
    if (!this.waiting.length) return;
    const count = document.hidden ? this.waiting.length : this.share;
    this.tell.more(this.waiting.splice(0, count), this.waiting.length === 0);
  }

  watch() {
    const silentMs = performance.now() - this.heard;
    if (silentMs > SILENT_MS) this.tell.link(false, silentMs / 1000);
    if (silentMs > 3 * SILENT_MS && this.socket.readyState === WebSocket.OPEN) this.socket.close();
  }

  async closed(event) {
    if (event.code === SIGNED_OUT) return location.reload();
    this.tell.link(false, (performance.now() - this.heard) / 1000);
    this.tries += 1;
    if (this.tries > 1 && await signedOut()) return location.reload();
    const wait = RETRY_MS[Math.min(this.tries, RETRY_MS.length) - 1];
    setTimeout(() => this.connect(), wait);
  }
}

/** Whether the server answers, and sends us to sign in. */
async function signedOut() {
  try {
    const answer = await fetch(location.href, { method: "GET", redirect: "manual" });
    return answer.type === "opaqueredirect";
  } catch {
    return false;
  }
}
