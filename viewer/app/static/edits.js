// Changes on their way to the program: one preview at a time, the latest wins; refusals are told in place.

export class Edits extends EventTarget {
  #busy = false;
  #next = null;
  #serial = 0;
  #asked = 0; // changes that are not answered yet
  #ahead = ""; // what is typed or tried and not shown: "computing", or "refused"
  #typed = false; // whether a field says something else than what was kept last
  #foreign = false; // while what another browser did is drawn
  #drawing = false; // while fields are drawn anew: those that go say that they have changed
  #line = Promise.resolve();

  constructor(link, store) {
    super();
    Object.assign(this, { link, store });
  }

  // Whether the numbers on screen are behind the present input: "computing", "refused", or "" where they are not.
  get lag() {
    return this.#asked ? "computing" : this.#ahead;
  }

  #lags(ahead, asked = 0) {
    this.#ahead = ahead;
    this.#asked += asked;
    this.dispatchEvent(new Event("lag"));
  }

  // A field begins to say something else; it is tried in a moment.
  typed() {
    this.#typed = true;
    this.#lags("computing");
  }

  // One after the other: each counts from the answer to the one before. `numbers`: whether it changes them.
  inTurn(act, numbers = 1) {
    this.#lags(numbers ? "" : this.#ahead, numbers);
    const turn = this.#line.then(act).finally(() => this.#lags(this.#ahead, -numbers));
    this.#line = turn.catch(() => {});
    return turn;
  }

  // Keep a change; the answer is true, or the words of the refusal. Given a function, what it says when the
  // turn has come is sent, or nothing.
  send(message) {
    if (this.#drawing) return Promise.resolve(true); // half typed, in a field that goes
    this.#drop();
    this.#typed = false;
    this.#serial += 1;
    return this.inTurn(() => this.#send(typeof message === "function" ? message() : message));
  }

  async #send(message) {
    if (!message) return true;
    try {
      await this.link.ask({ revision: this.store.state.revision, ...message });
      this.#said("");
      return true;
    } catch (error) {
      if (this.store.preview) this.store.setPreview(null);
      this.#said(error.message, message);
      return error.message;
    }
  }

  row(name, fields) {
    return this.send({ type: "row", row: name, fields });
  }

  set(table, field, value) {
    return this.send({ type: "set", table, field, value });
  }

  // Whether what is drawn is another browser's change, with which what is half typed here goes.
  get foreign() {
    return this.#foreign;
  }

  // Try a change out without keeping it; the answer is true, the words of the refusal, or null where a later
  // one has taken its place.
  try(message) {
    return new Promise((done) => {
      this.#next?.done(null);
      this.#next = { message, done };
      this.#lags("computing");
      if (!this.#busy) this.#run();
    });
  }

  #drop() {
    this.#next?.done(null);
    this.#next = null;
  }

  tryRow(name, fields) {
    return this.try({ type: "row", row: name, fields });
  }

  async #run() {
    this.#busy = true;
    while (this.#next) {
      const { message, done } = this.#next, serial = this.#serial, revision = this.store.state.revision;
      this.#next = null;
      try {
        const asked = performance.now();
        const answer = await this.link.ask({ revision, ...message, preview: true });
        this.lastPreview = performance.now() - asked;
        if (serial === this.#serial && revision === this.store.state.revision) {
          this.store.setPreview(answer);
          this.#said("");
          if (!this.#next) this.#lags("");
          done(true);
        } else this.#overtaken(serial, done);
      } catch (error) {
        if (serial !== this.#serial || revision !== this.store.state.revision) {
          this.#overtaken(serial, done);
          continue;
        }
        if (!this.#next && this.store.preview) this.store.setPreview(null);
        if (!this.#next) this.#lags("refused");
        this.#said(error.message, message);
        done(error.message);
      }
    }
    this.#busy = false;
  }

  // What was tried on an older state is not shown: the numbers on screen are those of what is there now.
  #overtaken(serial, done) {
    done(null);
    if (serial === this.#serial && !this.#next && !this.#typed) this.#lags("");
  }

  // Draw another state, and its fields with it: what was typed into those before is gone, and not kept because
  // somebody else changed something.
  drawAnew(draw) {
    this.#foreign = !this.#asked;
    this.#drawing = true;
    try {
      draw();
    } finally {
      this.#foreign = this.#drawing = false;
    }
    if (this.#typed || (!this.#busy && !this.#next)) this.forget();
  }

  // Give up what was tried out.
  forget() {
    this.#drop();
    this.#typed = false;
    this.#serial += 1;
    this.#lags("");
    this.#said("");
    if (this.store.preview) this.store.setPreview(null);
  }

  #said(text, message = null) {
    this.dispatchEvent(new CustomEvent("said", { detail: { text, message } }));
  }
}
