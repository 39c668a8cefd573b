// The program in a worker of its own, so that the page stays responsive. Two of it run: one
// reads photos and may be ended to cancel, one answers all else.
//   to:   {module: WebAssembly.Module}, then {id, call, json, bytes}
//   from: {ready: true}; {id, progress: {stage}}, with {answer}, its JSON, before the picture is drawn; {id, json, bytes} or {id, error}
"use strict";

importScripts("wasm_exec.js");

let asked = null; // the id of the call that runs

globalThis.shadowreadProgress = (stage, answer) => postMessage({ id: asked, progress: answer ? { stage, answer } : { stage } });
globalThis.shadowreadReady = () => postMessage({ ready: true });

let memory = null;

async function start(module) {
  const go = new Go();
  const instance = await WebAssembly.instantiate(module, go.importObject);
  memory = instance.exports.mem;
  await go.run(instance); // it ends only if the program fails
  postMessage({ id: asked, error: "the program ended" });
}

onmessage = (event) => {
  const { module, id, call, json, bytes } = event.data;
  if (module) {
    start(module).catch((error) => postMessage({ id: asked, error: String(error) }));
    return;
  }
  asked = id;
  try {
    if (call === "memory") { // for those who measure
      postMessage({ id, json: JSON.stringify({ bytes: memory.buffer.byteLength }), bytes: null });
      return;
    }
    const answer = globalThis.shadowread.call(call, json, bytes ? new Uint8Array(bytes) : null);
    const out = answer.bytes ? answer.bytes.buffer : null;
    postMessage({ id, json: answer.json, bytes: out }, out ? [out] : []);
  } catch (error) {
    postMessage({ id, error: String(error) });
  }
};
