// The computing part: the same Go code as the command, in workers of their own, so that the
// page answers while it reads. It is unpacked once.
import { byId } from "./dom.js";

// single tells the one-file form of the page, which carries its parts in itself.
export const single = () => byId("single-wasm") !== null;

const isGzip = (bytes) => bytes[0] === 0x1f && bytes[1] === 0x8b;

async function packed() {
  if (single()) {
    const text = atob(byId("single-wasm").textContent.trim());
    return Uint8Array.from(text, (c) => c.charCodeAt(0));
  }
  const answer = await fetch("shadowread.wasm.gz");
  if (!answer.ok) throw new Error("the computing part is not there (" + answer.status + ")");
  return new Uint8Array(await answer.arrayBuffer());
}

// Some hosts unpack a .gz on the way, so the bytes are looked at.
async function compiled() {
  const bytes = await packed();
  if (!isGzip(bytes)) return WebAssembly.compile(bytes);
  if (!globalThis.DecompressionStream) throw new Error("this browser is too old to unpack the page");
  const open = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return WebAssembly.compileStreaming(new Response(open, { headers: { "Content-Type": "application/wasm" } }));
}

let theModule = null;
const moduleOnce = () => (theModule ??= compiled());

function newWorker() {
  if (!single()) return new Worker("worker.js");
  const address = URL.createObjectURL(new Blob([byId("single-worker").textContent], { type: "text/javascript" }));
  const worker = new Worker(address);
  URL.revokeObjectURL(address);
  return worker;
}

export const cancelled = { code: "cancelled", message: "cancelled", hint: "" };
const broken = (message) => ({ code: "internal_error", message, hint: "try again; if it stays, load the page anew" });

// An engine is a worker that answers one call after another, and is replaced when it breaks.
class Engine {
  #worker = null;
  #ready = null;
  #giveUp = null; // ends a start that is under way
  #waiting = new Map();
  #next = 1;

  async #started() {
    this.#ready ??= this.#start();
    try {
      return await this.#ready;
    } catch (error) {
      this.#ready = null;
      throw error;
    }
  }

  async #start() {
    const given = new Promise((_, reject) => { this.#giveUp = reject; });
    return Promise.race([given, this.#launch()]);
  }

  async #launch() {
    const wasm = await moduleOnce().catch((error) => {
      theModule = null; // the network may be back at the next call
      throw error;
    });
    const worker = newWorker();
    this.#worker = worker;
    return new Promise((resolve, reject) => {
      worker.onmessage = ({ data }) => {
        if (data.ready) resolve(worker);
        else if (data.error && !this.#waiting.has(data.id)) {
          reject(new Error(data.error));
          if (this.#worker === worker) this.#replace(broken(data.error));
        } else this.#answered(data);
      };
      worker.onerror = (event) => {
        event.preventDefault();
        const error = new Error(event.message || "the computing part could not start");
        reject(error);
        if (this.#worker === worker) this.#replace(broken(error.message));
      };
      worker.postMessage({ module: wasm });
    });
  }

  #answered(data) {
    const one = this.#waiting.get(data.id);
    if (!one) return;
    if (data.progress) {
      one.onProgress?.(data.progress.stage);
      return;
    }
    this.#waiting.delete(data.id);
    if (data.error) {
      one.resolve({ answer: { error: broken(data.error) }, bytes: null });
      this.#replace(broken(data.error));
      return;
    }
    const answer = JSON.parse(data.json);
    one.resolve({ answer, bytes: data.bytes ?? null });
    if (answer.error?.code === "internal_error") this.#replace(answer.error);
  }

  #replace(error) {
    this.#worker?.terminate();
    this.#worker = null;
    this.#ready = null;
    this.#giveUp?.(new Error(error.message));
    const left = [...this.#waiting.values()];
    this.#waiting.clear();
    for (const one of left) one.resolve({ answer: { error }, bytes: null });
  }

  start() { return this.#started(); }

  // ask never fails: what goes wrong is an answer with an error.
  async ask(call, request, bytes = null, onProgress = null) {
    let worker;
    try {
      worker = await this.#started();
    } catch (error) {
      return { answer: { error: broken(error.message) }, bytes: null };
    }
    return new Promise((resolve) => {
      const id = this.#next++;
      this.#waiting.set(id, { resolve, onProgress });
      worker.postMessage({ id, call, json: JSON.stringify(request), bytes }, bytes ? [bytes] : []);
    });
  }

  // cancel ends what runs at once, by ending the worker; a new one is begun for the next call.
  cancel() {
    this.#replace(cancelled);
    this.start().catch(() => {});
  }
}

export const reader = new Engine(); // photos: may be ended in the midst
export const helm = new Engine(); // all else
