// The computing part, twice: one instance reads photos and may be ended in the midst, one
// answers all else. Either is replaced when it breaks.
import { load, start } from "./program.js";
import { inTime } from "./wait.js";

let theModule = null;

function moduleOnce() {
  theModule ??= load().catch((error) => {
    theModule = null; // the network may be back at the next call
    throw error;
  });
  return theModule;
}

export const cancelled = { code: "cancelled", message: "cancelled", hint: "" };
const broken = (error) => ({ code: "internal_error", message: error.message, hint: "try again; if it stays, load the page anew" });

// A device that is short of memory ends a worker without a word: one that is silent for so long
// is taken for dead. What reads photos may take long, and is cancelled by the person.
const answersWithin = 30; // s
const silent = "the program does not answer";

class Engine {
  #most; // s that a call may take
  #running = null; // a promise of the program
  #cancelled = new WeakSet(); // of what was running
  #asked = 0; // calls that are not answered yet

  constructor(most) { this.#most = most; }

  start() {
    this.#running ??= moduleOnce().then(start).catch((error) => {
      this.#running = null;
      throw error;
    });
    return this.#running;
  }

  // ask never fails: what goes wrong is an answer with an error.
  async ask(call, request, bytes = null, onProgress = null) {
    const running = this.start();
    this.#asked++;
    try {
      const program = await running;
      const { json, bytes: out } = await inTime(this.#most, program.call(call, request, bytes, onProgress), silent);
      const answer = JSON.parse(json);
      if (answer.error?.code === "internal_error") this.#drop(running);
      return { answer, bytes: out };
    } catch (error) {
      if (this.#cancelled.has(running)) return { answer: { error: cancelled }, bytes: null };
      this.#drop(running, error.message);
      return { answer: { error: broken(error) }, bytes: null };
    } finally {
      this.#asked--;
    }
  }

  #drop(running, why) {
    if (this.#running === running) this.#running = null;
    running?.then((program) => program.end(why), () => {});
  }

  get busy() { return this.#asked > 0; }

  // cancel ends what runs at once; another instance is begun for the next call.
  cancel() {
    if (this.#running) this.#cancelled.add(this.#running);
    this.#drop(this.#running);
    this.start().catch(() => {});
  }
}

export const reader = new Engine(Infinity);
export const helm = new Engine(answersWithin);
