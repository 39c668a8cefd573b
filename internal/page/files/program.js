// Loads the program and talks to it.
import { inTime } from "./wait.js";

// In the form of one file the program, and the worker's source, stand in the page itself.
const inline = document.getElementById("program");
const inlineWorker = document.getElementById("worker");

// load unpacks and compiles the program; it comes compressed, so that any plain host will do.
export async function load(url = "shadowread.wasm.gz") {
  if (inline) return compile(new Blob([fromBase64(inline.textContent)]).stream());
  const response = await fetch(url);
  if (!response.ok) throw new Error(`the program cannot be loaded (${response.status})`);
  return compile(response.body);
}

// compile does so while the stream comes in, where the browser can. Some hosts unpack on the way.
async function compile(stream) {
  const [head, whole] = stream.tee();
  const reader = head.getReader();
  const { value } = await reader.read();
  reader.cancel();
  const packed = value && value[0] === 0x1f && value[1] === 0x8b;
  const wasm = new Response(packed ? whole.pipeThrough(new DecompressionStream("gzip")) : whole, { headers: { "Content-Type": "application/wasm" } });
  if (WebAssembly.compileStreaming) return WebAssembly.compileStreaming(wasm);
  return WebAssembly.compile(await wasm.arrayBuffer());
}

function fromBase64(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  return Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
}

function newWorker() {
  if (!inlineWorker) return new Worker("worker.js");
  const url = URL.createObjectURL(new Blob([inlineWorker.textContent], { type: "text/javascript" }));
  const worker = new Worker(url);
  URL.revokeObjectURL(url);
  return worker;
}

const startsWithin = 30; // s, many times what an old telephone takes

// start runs the program in a worker. call resolves to {json, bytes}; end cancels what runs.
export function start(module) {
  const worker = newWorker();
  const waiting = new Map();
  let next = 1;
  const fail = (error) => {
    for (const { reject } of waiting.values()) reject(error);
    waiting.clear();
  };
  const program = {
    call(name, request, bytes = null, progress = null) {
      const id = next++;
      return new Promise((resolve, reject) => {
        waiting.set(id, { resolve, reject, progress });
        worker.postMessage({ id, call: name, json: JSON.stringify(request), bytes }, bytes ? [bytes] : []);
      });
    },
    end(why = "cancelled") {
      worker.terminate();
      fail(new Error(why));
    },
  };
  const started = new Promise((ready, failed) => {
    worker.onerror = (event) => {
      const error = new Error(event.message || "the program failed");
      failed(error);
      fail(error);
    };
    worker.onmessage = ({ data }) => {
      if (data.ready) {
        performance.mark("program ready"); // for those who measure
        return ready(program);
      }
      const asked = waiting.get(data.id);
      if (data.progress) return asked?.progress?.(data.progress);
      waiting.delete(data.id);
      if (data.error === undefined) return asked?.resolve(data);
      const error = new Error(data.error);
      failed(error);
      if (asked) asked.reject(error);
      else fail(error);
    };
    worker.postMessage({ module });
  });
  return inTime(startsWithin, started, "the program does not start").catch((error) => {
    worker.terminate();
    throw error;
  });
}
