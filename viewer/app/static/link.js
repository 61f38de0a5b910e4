// The line to the program: one message, one answer; what others did comes by itself.

function token() {
  const given = location.hash.slice(1);
  if (/^[\w-]{20,}$/.test(given)) {
    sessionStorage.setItem("token", given);
    history.replaceState(null, "", location.pathname);
  }
  return sessionStorage.getItem("token") ?? "";
}

export class Refused extends Error {}

export class Link extends EventTarget {
  #token = token();
  #socket = null;
  #waiting = new Map();
  #next = 1;
  #refusal = "";

  open() {
    this.#socket = new WebSocket(`ws://${location.host}/ws`);
    this.#socket.addEventListener("open", () => {
      this.#socket.send(JSON.stringify({ type: "hello", token: this.#token }));
      this.#tell("opened");
    });
    this.#socket.addEventListener("message", (event) => this.#hear(JSON.parse(event.data)));
    this.#socket.addEventListener("close", (event) => {
      for (const { reject } of this.#waiting.values()) reject(new Refused("the program has ended"));
      this.#waiting.clear();
      this.#tell("closed", { refused: event.code === 4403, why: this.#refusal });
    });
  }

  get known() {
    return this.#token !== "";
  }

  #tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  #hear(message) {
    if (message.type === "refused") this.#refusal = message.message;
    const waiting = this.#waiting.get(message.id);
    if (waiting) {
      this.#waiting.delete(message.id);
      if (message.type === "error") waiting.reject(new Refused(message.message));
      else {
        if (message.type === "state") this.#tell("state", message);
        waiting.resolve(message);
      }
      return;
    }
    this.#tell(message.type, message);
  }

  ask(message) {
    const id = this.#next++;
    return new Promise((resolve, reject) => {
      if (this.#socket?.readyState !== WebSocket.OPEN) {
        reject(new Refused("the program has ended; start it again in the terminal"));
        return;
      }
      this.#waiting.set(id, { resolve, reject });
      this.#socket.send(JSON.stringify({ id, ...message }));
    });
  }

  cancel() {
    this.#socket.send(JSON.stringify({ id: this.#next++, type: "cancel" }));
  }

  // A description and its buffers; see viewer/app/surface.py.
  async block(place) {
    const answer = await fetch(place, { headers: { "X-Eavewright-Token": this.#token } });
    if (!answer.ok) throw new Refused(await answer.text());
    const bytes = await answer.arrayBuffer();
    const size = new DataView(bytes).getUint32(0, true);
    const about = JSON.parse(new TextDecoder().decode(new Uint8Array(bytes, 4, size)));
    const kinds = { float32: Float32Array, int32: Int32Array, uint8: Uint8Array };
    const buffers = {};
    for (const [name, { at, count, type }] of Object.entries(about.buffers)) {
      buffers[name] = new kinds[type](bytes, 4 + size + at, count);
    }
    return { ...about, ...buffers };
  }
}
